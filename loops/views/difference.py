"""What differs between two contents of a loop, in words: by tags, not by row numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.utils.translation import gettext as _

from loops.entries import LoopEntry
from loops.models import Loop
from registry.models.base import Child
from registry.reading import EntryForm, RecordField
from registry.views.comparing import beside

Text = dict[str, str]
TICKS = ("fisco", "two_wise", "no_cable")
HIDDEN = frozenset({"id", "archived_at"})


def described(content: Mapping[str, Any], model: type[models.Model] = Loop, prefix: str = "") -> Text:
    """A loop's content (a revision's snapshot or nested text) as one text for each labelled field.

    Rows are named by their circuit and tag, so that a row that moves is no difference.
    """
    found: Text = {}
    for name, value in content.items():
        if name in HIDDEN:
            continue
        if isinstance(value, list):
            child = child_model(model, name)
            for index, row in enumerate(value):
                if child is None or not isinstance(row, Mapping):
                    continue
                title = str(row.get("name") or row.get("tag") or (_("row %(index)s") % {"index": index + 1}))
                inner = f"{prefix}{title} · "
                if inner in {label[: len(inner)] for label in found}:
                    inner = f"{prefix}{title} ({index + 1}) · "
                found |= described(row, child, inner)
        else:
            found[prefix + label_of(model, name)] = words(model, name, value)
    return found


def child_model(model: type[models.Model], name: str) -> type[Child] | None:
    """The model of the rows under a reverse relation of `model`."""
    if name not in getattr(model, "revision_children", ()):
        return None
    related: type[Child] = model._meta.get_field(name).related_model  # type: ignore[assignment]
    return related


def label_of(model: type[models.Model], name: str) -> str:
    """How people call a field."""
    if name == "archived":
        return _("Archived")
    if name.endswith("_revision"):
        return (
            _("%(replace)s as registered") % {"replace": name.removesuffix("_revision").replace("_", " ")}
        ).capitalize()
    text = {
        "load_ohm": _("load resistance"),
        "safe_voltage_max_v": _("highest safe-area voltage"),
        "length_m": "length",
    }
    try:
        verbose = str(model._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
    except (LookupError, AttributeError, FieldDoesNotExist):
        verbose = name.replace("_", " ")
    return text.get(name, verbose).capitalize()


def words(model: type[models.Model], name: str, value: Any) -> str:
    """One value in words."""
    if value is None or value == "":
        return ""
    if isinstance(value, Mapping):
        return str(value.get("text", value.get("name", "")))
    if isinstance(value, bool) or name in TICKS:
        return "yes" if value not in (False, "", "False", "false", "off", "0") else "no"
    try:
        choices = dict(model._meta.get_field(name).flatchoices)  # type: ignore[union-attr]
    except (LookupError, AttributeError, FieldDoesNotExist):
        choices = {}
    return str(choices.get(value, value))


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, str]]:
    """Fields that differ between two snapshots, each with its text before and after."""
    old, new = described(before), described(after)
    return [
        {"label": label, "before": old.get(label, ""), "after": new.get(label, "")}
        for label in dict.fromkeys([*old, *new])
        if old.get(label, "") != new.get(label, "")
    ]


def three_ways(
    original: Mapping[str, Any], theirs: Mapping[str, Any], yours: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Rows for components/theirs_yours.html: what you or they changed since you opened the loop."""
    opened, other, mine = described(original), described(theirs), described(with_boxes(yours))
    rows = []
    for label in dict.fromkeys([*opened, *other, *mine]):
        was, is_now, typed = opened.get(label, ""), other.get(label, ""), mine.get(label, "")
        if len({was, is_now, typed}) > 1:
            rows.append(beside(label, was, is_now, typed))
    return rows


def with_boxes(data: Mapping[str, Any]) -> dict[str, Any]:
    """Nested text of a form with the boxes that were not ticked: a browser sends nothing for them."""
    circuits = [dict.fromkeys(TICKS, False) | row for row in data.get("circuits", []) if isinstance(row, dict)]
    return {**data, "circuits": circuits}


def snapshot_names(content: Any, entry: type[EntryForm] = LoopEntry) -> Any:
    """A revision's snapshot as the nested text of its form, relations by the names that people pick."""
    found: dict[str, Any] = {}
    for name, reader in entry.base_fields.items():
        value = content.get(name)
        if isinstance(reader, RecordField):
            found[name] = reader.name_for(str(value["id"])) if value else ""
        elif isinstance(value, Mapping):
            found[name] = value.get("text", "")
        else:
            found[name] = "" if value is None else value
    for name, child in entry.children.items():
        found[name] = [snapshot_names(row, child) for row in content.get(name, [])]
    return found
