"""What differs between two contents of a record, and how an edit is laid over somebody else's.

Contents are nested text: of a form, of registry.selectors.record_text or of a revision's snapshot. Rows that carry
their key are matched by it, so that a row that moves is no difference.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from registry.fields import Reading
from registry.parameters import label_of, shown
from registry.quantities import QuantityError
from registry.reading import EntryForm, ReadingField, RecordField
from registry.showing import same_text
from registry.words import lazily

Leaf = tuple[str, str, str, bool]
"""Place in words, label, value in words, whether the row itself is meant."""

ROW_TITLES = {
    "terminals": (lazily("Sets of terminals"), lazily("Terminals")),
    "permitted": (lazily("Permitted values"), lazily("Permitted")),
    "temperature_classes": (lazily("Temperature classes"), lazily("Class")),
    "circuits": (lazily("Circuits"), lazily("Circuit")),
    "members": (lazily("Connected items"), "Item"),
    "cables": (lazily("Cable runs"), lazily("Cable")),
    "terminators": (lazily("Terminators"), lazily("Terminator")),
}


@dataclass(frozen=True)
class Change:
    """One difference: where, which field, its words before and after."""

    place: str
    label: str
    before: str
    after: str


def snapshot_text(content: Any) -> Any:
    """A revision's snapshot as nested text: readings by their typed text, relations by their key."""
    if isinstance(content, Mapping):
        if "text" in content and set(content) <= {"text", "si"}:
            return content["text"]
        if set(content) == {"id", "name"}:
            return content["id"]
        return {
            key: snapshot_text(value)
            for key, value in content.items()
            if key != "archived" and not key.endswith("_revision")
        }
    if isinstance(content, list):
        return [snapshot_text(value) for value in content]
    return "" if content is None else content


def canonical(
    entry_class: type[EntryForm], data: Mapping[str, Any], names: dict[tuple[str, int], str] | None = None
) -> dict[str, Any]:
    """Nested text in one spelling, to be compared and laid into a form again: every field present, relations by their
    name, ticks as "on"."""
    names = {} if names is None else names
    found: dict[str, Any] = {"id": str(data["id"])} if data.get("id") else {}
    for name, reader in entry_class.base_fields.items():
        value = data.get(name)
        if isinstance(reader, RecordField) and isinstance(value, int):
            key = (f"{entry_class.__name__}.{name}", value)
            if key not in names:
                names[key] = reader.name_for(str(value))
            found[name] = names[key]
        elif isinstance(reader, forms.BooleanField):
            found[name] = "" if value in ("", None, False, "false", "False", "off", "0") else "on"
        else:
            plain = "" if value is None or isinstance(value, Mapping | list) else str(value)
            found[name] = plain.replace("\r\n", "\n").strip()
    for name, child in entry_class.children.items():
        rows = data.get(name)
        found[name] = [
            canonical(child, row, names)
            for row in (rows if isinstance(rows, list | tuple) else ())
            if isinstance(row, Mapping)
        ]
    return found


def leaves(entry_class: type[EntryForm], content: Mapping[str, Any], key: str = "", place: str = "") -> dict[str, Leaf]:
    """All fields of canonical text by a key that follows a row wherever it stands."""
    found: dict[str, Leaf] = {}
    for name, reader in entry_class.base_fields.items():
        found[key + name] = (place, label_of(entry_class.model, name), in_words(reader, content.get(name, "")), False)
    for name, child in entry_class.children.items():
        for index, row in enumerate(content.get(name, [])):
            row_key = f"{key}{name}[{'#' + row['id'] if row.get('id') else index}]"
            row_place = f"{place}, {row_name(name, row)}" if place else row_name(name, row)
            found[row_key] = (place, row_name(name, row), _("present"), True)
            found |= leaves(child, row, row_key + ".", row_place)
    return found


def row_name(name: str, row: Mapping[str, Any]) -> str:
    """How a row is called: by its name, tag, group or class."""
    singular = ROW_TITLES.get(name, ("", name.replace("_", " ").capitalize()))[1]
    return f"{singular} {called(row)}".strip()


def called(row: Mapping[str, Any]) -> str:
    """What tells a row from others of its list; an empty text where it has no name."""
    columns = ("name", "tag", "group", "temperature_class")
    return str(next((row[column] for column in columns if row.get(column)), ""))


def in_words(reader: forms.Field, value: str) -> str:
    """One canonical value as people read it."""
    if isinstance(reader, ReadingField):
        return quantity_words(reader, value)
    if isinstance(reader, forms.BooleanField):
        return _("yes") if value else _("no")
    if isinstance(reader, forms.ChoiceField):
        pairs: Any = reader.choices
        for key, text in pairs:
            if str(key) == value and value:
                return str(text)
    return value


def quantity_words(reader: ReadingField, value: str) -> str:
    """A quantity as typed, with what was read where that reads otherwise."""
    if not value:
        return _("unknown")
    try:
        found = Reading.of(value, reader.kind)
    except QuantityError:
        return value
    if found.value_si is None:
        return found.text
    text = shown(found.value_si, reader.kind)
    return value if same_text(value, text) else f"{value} ({text})"


def changes(
    entry_class: type[EntryForm],
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    names: dict[tuple[str, int], str] | None = None,
) -> list[Change]:
    """What differs between the snapshots of two revisions, in the order of the form."""
    old = leaves(entry_class, canonical(entry_class, snapshot_text(before), names))
    new = leaves(entry_class, canonical(entry_class, snapshot_text(after), names))
    return [*differing(old, new), *archived_or_not(before, after)]


def differing(old: Mapping[str, Leaf], new: Mapping[str, Leaf]) -> Iterator[Change]:
    nothing = ("", _("unknown"), _("no"))
    whole_rows = [key for side, other in ((old, new), (new, old)) for key in side if side[key][3] and key not in other]
    for key in dict.fromkeys([*new, *old]):
        place, label, _kind, is_row = new.get(key) or old[key]
        before = old[key][2] if key in old else ""
        after = new[key][2] if key in new else ""
        if before == after or (is_row and key in old and key in new):
            continue
        inside = any(key.startswith(row + ".") for row in whole_rows)
        if is_row:
            if any(key.startswith(row + ".") for row in whole_rows):
                continue
            yield Change(place, label, before, after or _("removed"))
        elif not inside or (before or after) not in nothing:
            yield Change(place, label, before, after)


def archived_or_not(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Change]:
    was, now = bool(before.get("archived")), bool(after.get("archived"))
    if was != now:
        words = {True: _("archived"), False: _("in use")}
        yield Change("", _("Record"), words[was], words[now])


def lay_over(
    entry_class: type[EntryForm],
    original: Mapping[str, Any] | None,
    theirs: Mapping[str, Any],
    yours: Mapping[str, Any],
) -> dict[str, Any]:
    """Your edit on top of theirs, all three canonical: what you did not touch is taken from them.

    Without the original, yours as it is. A row that one side removed and the other left alone is gone; one that the
    other side changed stays.
    """
    merged = {"id": yours["id"]} if yours.get("id") else {}
    for name in entry_class.base_fields:
        untouched = original is not None and yours.get(name) == original.get(name)
        merged[name] = theirs.get(name, "") if untouched else yours.get(name, "")
    for name, child in entry_class.children.items():
        opened = None if original is None else original[name]
        merged[name] = list(lay_rows(child, opened, theirs.get(name, []), yours.get(name, [])))
    return merged


def lay_rows(
    entry_class: type[EntryForm],
    original: list[Mapping[str, Any]] | None,
    theirs: list[Mapping[str, Any]],
    yours: list[Mapping[str, Any]],
) -> Iterator[dict[str, Any]]:
    opened = {row["id"]: row for row in original or [] if row.get("id")}
    standing = standing_rows(opened, theirs)
    for row in yours:
        key = row.get("id", "")
        if key in standing:
            yield lay_over(entry_class, opened.get(key), standing[key], row) | {"id": standing[key]["id"]}
        elif key not in opened or row != opened[key]:
            yield {name: value for name, value in row.items() if name != "id"}
    mine = {row.get("id") for row in yours}
    for key, row in standing.items():
        if original is not None and key not in mine and row != opened.get(key):
            yield dict(row)


def standing_rows(
    opened: Mapping[str, Mapping[str, Any]], theirs: list[Mapping[str, Any]]
) -> dict[str, Mapping[str, Any]]:
    """Their rows by the key that the row had when it was opened, else by their own.

    A save that sent no keys (a table, the API) made every row anew: then the name tells which row it was.
    """
    found = {row["id"]: row for row in theirs if row.get("id")}
    gone = [row for key, row in opened.items() if key not in found]
    fresh = [row for key, row in found.items() if key not in opened]
    for row in gone:
        name = called(row)
        same = [item for item in fresh if name and called(item) == name]
        if len(same) == 1 and [called(item) for item in gone].count(name) == 1:
            found[row["id"]] = found.pop(same[0]["id"])
    return found
