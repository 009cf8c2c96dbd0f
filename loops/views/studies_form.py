"""The fields of a study: one for each thing that may be changed, in each column; empty is as it stands now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _

from loops.entries import CableEntry, LoopEntry
from loops.models import Loop
from loops.picks import facts_by_name, suggestions
from loops.selectors import areas_of
from loops.services.studies import BUILT_IN, NONE, Changes, Field
from loops.views.editor_form import as_lists, pick_attributes
from registry.models import Basis, User
from registry.signs import with_signs
from registry.views.forms import SELECT_LIMIT, field_dict

QUANTITY = {"length_m": CableEntry, "load_ohm": LoopEntry, "safe_voltage_max_v": LoopEntry}


def form_columns(
    loop: Loop,
    user: User,
    fields: Sequence[Field],
    columns: Sequence[Changes],
    errors: Sequence[Mapping[str, list[str]]],
) -> list[dict[str, Any]]:
    """The fields of each column, its faults, and what it changes that is no longer in the loop."""
    texts = [
        value for changes in columns for key, value in changes.items() if key.endswith((".terminals", ".cable_type"))
    ]
    facts = facts_by_name(texts, texts)
    areas = [
        (f"{area.site.code}: {area.name}", f"{area.name} ({with_signs(area.classification)})")
        for area in areas_of([loop.site_id]).order_by("name")
    ]
    found = []
    for letter, changes, faults in zip("BCD", columns, errors, strict=True):
        shown = [
            shown_field(
                loop, one, f"{letter}.{one.key}", changes.get(one.key, ""), faults.get(one.key, []), areas, facts
            )
            for one in fields
        ]
        known = {one.key for one in fields}
        told = [
            {"id": row["id"], "label": f"{letter}, {row['label']}", "text": text}
            for row in shown
            for text in row["errors"]
        ]
        told += [
            {"id": "", "label": letter, "text": text}
            for key, texts in faults.items()
            if key not in known
            for text in texts
        ]
        found.append(
            {
                "letter": letter,
                "fields": shown,
                "faults": told,
                "gone": [(f"{letter}.{key}", value) for key, value in changes.items() if key not in known],
                "changed": bool(changes),
                "open": bool(changes) or letter == "B",
            }
        )
    return found


def shown_field(
    loop: Loop,
    one: Field,
    name: str,
    value: str,
    errors: list[str],
    areas: Sequence[tuple[str, str]],
    facts: Mapping[str, str],
) -> dict[str, Any]:
    """One field for components/field.html."""
    nothing = {"area": _("safe area"), "cable_type": _("unknown: default values")}
    now = one.now or nothing.get(one.name, _("not given"))
    if one.name == "safe_voltage_max_v" and not one.now and loop.site.safe_voltage_max_v_text:
        now = _("%s, of the site") % loop.site.safe_voltage_max_v_text
    shown: dict[str, Any] = {
        "name": name,
        "id": "f-" + name.replace(".", "-"),
        "label": one.label,
        "value": value,
        "errors": errors,
        "required": False,
        "either": True,
        "kind": "text",
        "placeholder": now,
        "help": "",
        "attrs": {},
    }
    if one.name in QUANTITY:
        entry = QUANTITY[one.name]
        base = field_dict(entry, one.name, entry.base_fields[one.name], value, errors, "", {})
        base |= {key: shown[key] for key in ("name", "id", "label", "placeholder", "errors", "either")}
        base["attrs"] = dict(base["attrs"]) | {"hx-target": f"#{shown['id']}-read"}
        return base | {"help": "", "unit_hint": ""}
    if one.name in ("terminals", "cable_type"):
        shown["attrs"] = pick_attributes(one.side)
        shown |= {"facts": facts.get(value, ""), "has_facts": True}
        if one.name == "cable_type" and one.now:
            shown["help"] = _("A hyphen (-) stands for an unknown cable: default values.")
        return shown
    choices: list[tuple[str, str]] = []
    if one.name == "area":
        choices = [*areas, *([(NONE, _("Safe area"))] if one.now else [])]
    elif one.name == "basis":
        choices = [(key, str(label)) for key, label in Basis.choices if key != one.now]
        now = dict(Basis.choices)[one.now]
    elif one.name == "tables":
        choices, now = [(BUILT_IN, _("The built-in tables"))], _("those of the site")
    choices = [(key, label) for key, label in choices if key != one.now]
    if value and value not in {key for key, _label in choices}:
        choices.append((value, value))
    return shown | {"kind": "select", "choices": [("", _("As now: %s") % now), *choices]}


def data_lists(user: User) -> list[tuple[str, list[tuple[str, str]]]]:
    """Suggestions for browsers without scripts: the beginning of the register."""
    return as_lists(suggestions(user, SELECT_LIMIT))
