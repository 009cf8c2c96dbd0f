"""The text of a loop as the editor shows it: circuits, and on each the sources, cables and devices of the wire."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from loops.entries import NOT_CHOSEN, CableEntry, LoopEntry, MemberEntry, TerminatorEntry
from loops.models import Member
from loops.picks import CABLE, Pick, facts_by_name, suggestions
from loops.selectors import areas_of
from loops.views.editor_rows import CABLES, DEVICES, FOLLOWS, SOURCES, TERMINATORS, new_device
from registry import access
from registry.models import Site, Terminals, User
from registry.reading import EntryForm
from registry.signs import with_signs
from registry.views.forms import SELECT_LIMIT, FormNode, error_list, form_tree

Pairs = list[tuple[str, str]]
FRESH_START = {SOURCES: 1000, CABLES: 2000, DEVICES: 3000, TERMINATORS: 1000}
"""Rows that a script adds are numbered from here, apart for sources and devices, which share one list."""

TITLES = {
    SOURCES: (
        _("Sources"),
        "source",
        _("Add a source"),
        _("What gives energy: associated apparatus, or a transmitter’s output."),
    ),
    CABLES: (
        _("Cable runs"),
        _("cable run"),
        _("Add a cable run"),
        _("Every run between source and device, in the order of the wire."),
    ),
    DEVICES: (
        _("Field devices"),
        "device",
        _("Add a device"),
        _(
            "What takes energy: field devices, simple apparatus such as junction boxes, inline items such as surge "
            "protection. Made on: the date of manufacture, wanted where a certificate has ended."
        ),
    ),
    TERMINATORS: (
        _("Terminators"),
        "terminator",
        _("Add a terminator"),
        _("Of a FISCO segment: one at each end of the trunk, 90 to 102 ohm with 0 to 2.2 uF."),
    ),
}
COLUMNS = {
    SOURCES: ("tag", "terminals", "area", "made_on"),
    CABLES: ("tag", "from_point", "to_point", "cable_type", "length_m", "separation", "role"),
    DEVICES: ("tag", "role", "terminals", "area", "made_on"),
    TERMINATORS: ("tag", "resistance_ohm", "capacitance_f"),
}
LABELS = {
    "tag": _("Tag"),
    "terminals": _("Type and terminals"),
    "area": _("Area"),
    "made_on": _("Made on"),
    "from_point": _("From"),
    "to_point": _("To"),
    "cable_type": _("Cable type"),
    "length_m": _("Length"),
    "separation": _("Circuits in the cable"),
    "role": _("Kind"),
    "load_ohm": _("Load in the loop"),
    "safe_voltage_max_v": _("Highest voltage in the safe area"),
    "drawing": _("Loop drawing"),
    "name": _("Name"),
    "interconnection": _("With more than one source"),
    "fisco": _("Judge as a FISCO segment"),
    "two_wise": _("Judge as a 2-WISE circuit"),
    "no_cable": _("No cable: the items stand together"),
    "resistance_ohm": _("Resistance"),
    "capacitance_f": _("Capacitance"),
}
HEADINGS = {(TERMINATORS, "tag"): _("Place"), (CABLES, "role"): _("Trunk or spur")}
LISTS: dict[str, tuple[str, type[EntryForm]]] = {
    CABLES: ("cables", CableEntry),
    TERMINATORS: ("terminators", TerminatorEntry),
}
NOTHING_CHOSEN = {"area": _("Safe area"), "site": _("Choose …")}
SEARCH = {"terminals": _("Type, value or tag"), "cable_type": _("Unknown: default values")}
HELP = {
    "load_ohm": _("All resistance in series that is no cable, for the function verdict: for example 250 ohm."),
    "safe_voltage_max_v": _("For the check of Um; empty: the value of the site. For example 250 V."),
    "tag": "",
}


def editor_form(
    data: Mapping[str, Any], errors: Mapping[str, list[str]], user: User, focus: str = ""
) -> dict[str, Any]:
    """What the editor's template needs: the fields of the loop and, for each circuit, its groups of rows."""
    picks = Picks(user, data)
    tree = form_tree(LoopEntry, data, errors, choices=picks.choices())
    circuits = [
        circuit_form(node, picks, number, focus) for number, node in enumerate(tree.rows.get("circuits", []), start=1)
    ]
    names = ("site", "tag", "service", "drawing", "load_ohm", "safe_voltage_max_v")
    fields = [shown(tree.fields[name], name, picks, focus=focus) for name in names]
    notes = shown(tree.fields["notes"], "notes", picks, focus=focus) | {"rows": 3}
    every = [*fields, notes]
    for circuit in circuits:
        every += circuit["fields"]
        every += [cell for group in circuit["groups"] for row in group["rows"] for cell in row["cells"]]
    labels = {field["name"]: field.get("full_label", field["label"]) for field in every}
    summary = error_list(errors, labels)
    return {
        "fields": fields,
        "notes": notes,
        "circuits": circuits,
        "circuit_errors": tree.errors.get("circuits", []),
        "errors": summary,
        "data_lists": picks.lists(),
    }


def circuit_form(node: FormNode, picks: Picks, number: int, focus: str) -> dict[str, Any]:
    """One circuit: its own fields and the three groups in the order of the wire."""
    members = node.rows.get("members", [])
    sources = [row for row in members if row.fields["role"]["value"] == Member.Role.SOURCE]
    devices = [row for row in members if row.fields["role"]["value"] != Member.Role.SOURCE]
    title = gettext("Circuit %(number)s") % {"number": number}
    groups = [
        group_form(SOURCES, node, sources, picks, title, focus),
        group_form(CABLES, node, node.rows.get("cables", []), picks, title, focus),
        group_form(DEVICES, node, devices, picks, title, focus),
        group_form(TERMINATORS, node, node.rows.get(TERMINATORS, []), picks, title, focus),
    ]
    groups[0]["errors"] = node.errors.get("members", [])
    groups[1]["errors"] = node.errors.get("cables", [])
    groups[3]["errors"] = node.errors.get(TERMINATORS, [])
    return {
        "path": node.path,
        "number": number,
        "title": title,
        "identity_name": node.identity_name,
        "identity": node.identity,
        "fields": [
            shown(node.fields[name], name, picks, title=title, focus=focus)
            for name in ("name", "interconnection", "fisco", "two_wise", "no_cable")
        ],
        "groups": groups,
    }


def group_form(
    kind: str, circuit: FormNode, rows: list[FormNode], picks: Picks, title: str, focus: str
) -> dict[str, Any]:
    """One group of rows: sources, cable runs or devices."""
    heading, one, add, hint = TITLES[kind]
    list_name, entry = LISTS.get(kind, ("members", MemberEntry))
    list_path = circuit.row_path(list_name)
    fresh_row = {SOURCES: {"role": "source"}, DEVICES: new_device()}.get(kind, {})
    fresh = form_tree(entry, fresh_row, {}, f"{list_path}.__n__", picks.choices())
    role = {SOURCES: ":source", DEVICES: ":device"}.get(kind, "")
    return {
        "kind": kind,
        "heading": heading,
        "one": one,
        "add_words": add,
        "add": f"{list_path}{role}",
        "hint": hint,
        "id": "f-" + list_path.replace(".", "-") + ("-devices" if kind == DEVICES else ""),
        "columns": [(name, HEADINGS.get((kind, name), LABELS[name])) for name in COLUMNS[kind]],
        "rows": [
            row_form(kind, row, picks, f"{title}, {one} {index}", focus) | {"may_rise": index > 1}
            for index, row in enumerate(rows, 1)
        ],
        "fresh": row_form(kind, fresh, picks, f"{title}, new {one}", ""),
        "count": FRESH_START[kind] + len(rows),
        "errors": [],
    }


def row_form(kind: str, node: FormNode, picks: Picks, title: str, focus: str) -> dict[str, Any]:
    """One row with its cells."""
    side = {SOURCES: Terminals.Side.SOURCE, DEVICES: Terminals.Side.DEVICE}.get(kind, "")
    cells = [shown(node.fields[name], name, picks, side=side, title=title, focus=focus) for name in COLUMNS[kind]]
    for cell in cells:
        if follows := FOLLOWS.get((kind, cell["column"])):
            cell["attrs"]["data-follows"] = follows
    if kind == DEVICES:
        role = next(cell for cell in cells if cell["name"].endswith(".role"))
        role["choices"] = [("device", gettext("Device")), ("inline", gettext("Inline item"))]
        keep_choice(role)
    hidden = [(node.fields["role"]["name"], "source")] if kind == SOURCES else []
    if node.identity:
        hidden.append((node.identity_name, node.identity))
    return {"path": node.path, "title": title, "cells": cells, "hidden": hidden, "may_chain": kind == DEVICES}


def shown(
    field: dict[str, Any], name: str, picks: Picks, *, side: str = "", title: str = "", focus: str = ""
) -> dict[str, Any]:
    """One field for components/field.html: its label, its picker, and the quantity as the reader understood it."""
    label = LABELS.get(name) or field["label"][:1].upper() + field["label"][1:]
    found = field | {"label": label, "full_label": f"{title}: {label}" if title else label, "column": name}
    found["attrs"] = dict(field.get("attrs") or {})
    if name in HELP:
        found["help"] = HELP[name]
    if found["kind"] == "quantity":
        found["unit_hint"] = ""
        if name == "length_m":
            found["placeholder"] = "300 m"
    elif "picker" in found:
        picks.offer(found, name, side)
    elif found["kind"] == "select":
        keep_choice(found)
    if not isinstance(found["value"], str | bool):
        found["value"] = str(found["value"])
    if focus and focus == found["name"]:
        found["attrs"]["autofocus"] = "autofocus"
    return found


def keep_choice(field: dict[str, Any]) -> None:
    """Keep what was sent among the choices, so that a refused choice is shown with its message."""
    value = str(field["value"])
    if value and value not in {str(key) for key, _ in field["choices"]}:
        field["choices"] = [*field["choices"], (value, value)]


class Picks:
    """What may be chosen on this page, by this person: read once, shared by all rows."""

    def __init__(self, user: User, data: Mapping[str, Any]) -> None:
        sites = [
            site
            for site in Site.objects.filter(pk__in=access.sites_of(user), archived_at=None).order_by("code")
            if access.may(user, "loop.edit", site)
        ]
        self.sites = [site.code for site in sites]
        areas = areas_of([site.pk for site in sites]).order_by("site__code", "name")
        self.areas: Pairs = [
            (
                f"{area.site.code}: {area.name}",
                f"{area.site.code + ': ' if len(sites) > 1 else ''}{area.name} ({with_signs(area.classification)})",
            )
            for area in areas
        ]
        self.facts = facts_by_name(texts_of(data, "members", "terminals"), texts_of(data, "cables", "cable_type"))
        self.suggested = suggestions(user, SELECT_LIMIT)

    def choices(self) -> dict[str, Pairs]:
        """Choices for registry.views.forms.form_tree, which else would read all sites and all areas."""
        return {
            "LoopEntry.site": [(code, code) for code in self.sites],
            "MemberEntry.area": [],
            "MemberEntry.terminals": [],
            "CableEntry.cable_type": [],
        }

    def offer(self, field: dict[str, Any], name: str, side: str) -> None:
        """Make a field a search of the register with the facts of what is chosen, a select of all choices, or with many
        of them a text with suggestions."""
        if name in {"terminals", "cable_type"}:
            field |= {"kind": "text", "choices": [], "placeholder": SEARCH[name]}
            field["facts"] = self.facts.get(str(field["value"]), "")
            field["attrs"] |= pick_attributes(side)
            field["has_facts"] = True
            return
        pairs = [(code, code) for code in self.sites] if name == "site" else self.areas
        if len(pairs) > SELECT_LIMIT:
            field |= {"kind": "text", "choices": []}
            field["attrs"]["list"] = f"options-{name}"
            field["placeholder"] = NOTHING_CHOSEN[name]
        else:
            yet = [(NOT_CHOSEN, _("Choose …"))] if field["value"] == NOT_CHOSEN else []
            field |= {"kind": "select", "choices": [*yet, ("", NOTHING_CHOSEN[name]), *pairs]}
            keep_choice(field)

    def lists(self) -> list[tuple[str, Pairs]]:
        """Suggestions for browsers without scripts: the beginning of the register, and places too many for a select."""
        places = [("options-site", [(code, code) for code in self.sites]), ("options-area", self.areas)]
        return as_lists(self.suggested) + [(key, pairs) for key, pairs in places if len(pairs) > SELECT_LIMIT]


def pick_attributes(side: str) -> dict[str, str]:
    """What makes an input a search of the register: for terminals of a side; without one, for cable types."""
    what = side or CABLE
    return {"list": f"options-{what}", "data-pick": reverse("loop_pick", args=[what])}


def as_lists(suggested: Mapping[str, Sequence[Pick]]) -> list[tuple[str, Pairs]]:
    """Suggestions as data lists for browsers without scripts."""
    return [
        (f"options-{what}", [(pick.name, f"{pick.name}: {pick.facts}") for pick in picks])
        for what, picks in suggested.items()
    ]


def texts_of(data: Mapping[str, Any], rows: str, name: str) -> list[str]:
    """What stands in one column of all rows of a kind, in all circuits."""
    circuits = data.get("circuits")
    found = []
    for circuit in circuits if isinstance(circuits, list) else []:
        inner = circuit.get(rows) if isinstance(circuit, Mapping) else None
        found += [row.get(name) for row in inner or [] if isinstance(row, Mapping)] if isinstance(inner, list) else []
    return [text for text in found if isinstance(text, str)]
