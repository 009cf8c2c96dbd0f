"""How the fields of a form are arranged: what is asked of every record of a kind, and what folds away."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _

from registry.models import EquipmentKind, Site, Terminals, User
from registry.models.equipment import EPLS
from registry.parameters import PARAMETERS
from registry.querysets import visible
from registry.reading import EntryForm
from registry.views.forms import FormNode, form_tree, row_title
from registry.views.pages import KindPage
from registry.words import lazily

Field = dict[str, Any]

SIDES = {
    EquipmentKind.SOURCE: Terminals.Side.SOURCE,
    EquipmentKind.FIELD_DEVICE: Terminals.Side.DEVICE,
    EquipmentKind.SIMPLE_APPARATUS: Terminals.Side.DEVICE,
    EquipmentKind.INLINE: Terminals.Side.DEVICE,
}
STARTS: tuple[tuple[str, str], ...] = (
    (EquipmentKind.SOURCE, lazily("Source")),
    (EquipmentKind.FIELD_DEVICE, lazily("Field device")),
    (EquipmentKind.SIMPLE_APPARATUS, lazily("Simple apparatus")),
    (EquipmentKind.INLINE, lazily("Inline item")),
)
"""What a new item of equipment may begin as."""

ABOUT_SETS = lazily(
    "One set for each set of terminals with parameters of its own, and a further set where another certificate issue "
    "gives other values."
)
TERMINALS_FIRST = ("name", "side", "certificate", "level", "gas_group", "dust_group", *EPLS, "isolation", "unconfirmed")
AMBIENT = ("ambient_min_degc", "ambient_max_degc")
SECTIONS: dict[str, list[tuple[str, tuple[str, ...], bool]]] = {
    # title, columns, whether it folds away while nothing is typed in it
    "certificate": [
        ("", ("scheme", "number", "issue", "holder"), False),
        (lazily("Dates and status"), ("issued_on", "valid_to", "status"), False),
        (lazily("What it says"), ("standards", "specific_conditions", "control_drawing"), False),
    ],
    "scheme": [
        ("", ("name", "description", "needs_control_drawing"), False),
        (lazily("Numbers"), ("number_form", "number_example"), False),
        (lazily("Certificates that end"), ("lead_days",), False),
    ],
    "cable_type": [
        ("", ("name", "maker", "description"), False),
        (
            lazily("Values for each length"),
            (
                "capacitance_f_per_m",
                "inductance_h_per_m",
                "inductance_is",
                "resistance_ohm_per_m",
                "resistance_is",
                "conductor",
                "inductance_per_resistance_h_per_ohm",
            ),
            False,
        ),
        (lazily("Capacitance by core figures"), ("core_core_f_per_m", "core_screen_f_per_m", "screen"), True),
        (lazily("Construction"), ("strand_m", "insulation_m", "test_v"), True),
    ],
    "site": [
        ("", ("code", "name", "basis", "schemes", "time_zone", "length_unit", "live_pages", "second_factor"), False),
        (lazily("Safe area"), ("safe_ambient_max_degc", "safe_voltage_max_v"), False),
        (lazily("Inspection"), ("visual_months", "close_months", "detailed_months"), False),
    ],
    "area": [
        ("", ("site", "name", "drawing"), False),
        (lazily("Classification"), ("zone", "nec_class", "division", "group", "temperature_class"), False),
        (lazily("Ambient temperature"), AMBIENT, False),
    ],
}


def preset(kind: KindPage, asked: Mapping[str, str], user: User) -> dict[str, Any]:
    """What the form of a new record shows before anything is typed, as the address asks for."""
    if kind.kind == "equipment":
        chosen = asked.get("kind", "")
        known = chosen in EquipmentKind.values
        row: dict[str, Any] = {"side": SIDES[EquipmentKind(chosen)].value} if known else {}
        if chosen == EquipmentKind.SOURCE:
            row |= {"permitted": [{}]}
        elif known:
            row |= {"temperature_classes": [{}]}
        if asked.get("certificate"):
            row |= {"certificate": asked["certificate"][:120]}
        return ({"kind": chosen} if known else {}) | {"terminals": [row]}
    if kind.kind == "area":
        sites = [site for site in visible(Site, user).filter(archived_at=None) if kind.may_edit_at(user, site)]
        wanted = [site.code for site in sites if str(site.pk) == asked.get("site", "")]
        if wanted or len(sites) == 1:
            return {"site": wanted[0] if wanted else sites[0].code}
    if kind.kind == "certificate":
        return {name: asked[name][:60] for name in ("scheme", "number", "issue") if asked.get(name)}
    return {}


def form_layout(kind: KindPage, tree: FormNode, focus: str, user: User) -> dict[str, Any]:
    """What templates/registry/edit.html shows: sections of fields and, for equipment, its sets of terminals."""
    if kind.kind == "equipment":
        layout = equipment_layout(kind.entry, tree, user)
    else:
        layout = {"sections": [section(tree, *wanted) for wanted in SECTIONS[kind.kind]], "sets": None}
    take_focus(layout, tree, focus)
    return layout


def section(node: FormNode, title: str, columns: Iterable[str], folds: bool, hint: str = "") -> dict[str, Any]:
    """A titled group of fields. One that folds is open while it holds text or a message."""
    fields = [node.fields[name] for name in columns]
    holds = any(field["errors"] or (field["value"] and field["kind"] != "checkbox") for field in fields)
    return {"title": title, "fields": fields, "folds": folds, "open": holds, "hint": hint, "grids": []}


def equipment_layout(entry: type[EntryForm], tree: FormNode, user: User) -> dict[str, Any]:
    simple = tree.fields["kind"]["value"] == EquipmentKind.SIMPLE_APPARATUS
    first = ("kind", "maker", "type_name", "function", "marking", "description")
    more = section(tree, _("Notes"), ("notes",), True)
    child = entry.children["terminals"]
    rows = tree.rows["terminals"]
    return {
        "sections": [section(tree, "", first, False), more],
        "sets": [terminals_layout(child, row, number, simple, user) for number, row in enumerate(rows, 1)],
        "sets_id": "f-terminals",
        "sets_errors": tree.errors.get("terminals", []),
        "about_sets": ABOUT_SETS,
    }


def columns_of(name: str) -> tuple[str, ...]:
    """The columns of terminals in one section of registry.parameters."""
    return tuple(item.column for item in PARAMETERS if item.model is Terminals and item.section == name)


def terminals_layout(entry: type[EntryForm], node: FormNode, number: int, simple: bool, user: User) -> dict[str, Any]:
    """One set of terminals. The section of its own side is open; the others fold away while they are empty."""
    side = node.fields["side"]["value"]
    gives, takes = side != Terminals.Side.DEVICE, side != Terminals.Side.SOURCE
    source = section(node, _("Output values"), ("output", *columns_of("source")), not gives)
    device = section(node, _("Input values"), columns_of("device"), not takes)
    source["grids"] = [
        grid(entry, node, "permitted", _("Permitted capacitance and inductance, by group"), _("Add a group"), user)
    ]
    device["grids"] = [
        grid(entry, node, "temperature_classes", _("Temperature class, by ambient temperature"), _("Add a class"), user)
    ]
    for part, wanted in ((source, gives), (device, takes)):
        rows = [row for shown in part["grids"] for row in shown["rows"]]
        part["folds"] = not wanted
        part["open"] = wanted or part["open"] or bool(rows) or any(shown["errors"] for shown in part["grids"])
    simple_part = section(
        node,
        _("Simple apparatus"),
        ("simple_kind", *columns_of("simple"), "justification"),
        not simple,
        _("Only for apparatus that needs no certificate: passive, storing energy, or generating little of it."),
    )
    function = [
        section(
            node, _("What it offers in normal operation"), columns_of("supply"), True, _("For the function verdict.")
        ),
        section(
            node,
            _("What it needs to work"),
            ("needs_kind", "hart", *columns_of("needs")),
            True,
            _("For the function verdict."),
        ),
    ]
    for part, key in ((source, "source"), (device, "device"), (function[0], "supply"), (function[1], "needs")):
        part["key"] = key
    simple_part["key"] = "simple"
    ordered = [source, function[0], device, function[1]] if gives else [device, function[1], source, function[0]]
    if simple:
        ordered.insert(0, simple_part)
    else:
        ordered.append(simple_part)
    return {
        "path": node.path,
        "id": "f-" + node.path.replace(".", "-"),
        "number": number,
        "title": f"{row_title('terminals', node.fields, number)}",
        "identity_name": node.identity_name,
        "identity": node.identity,
        "sections": [
            section(node, "", TERMINALS_FIRST, False),
            section(node, _("Ambient temperature"), AMBIENT, False),
        ],
        "values": ordered,
    }


def grid(entry: type[EntryForm], node: FormNode, name: str, title: str, add_words: str, user: User) -> dict[str, Any]:
    """The rows of a set of terminals as a table of inputs, with a blank row for scripts to copy."""
    path = node.row_path(name)
    child = entry.children[name]
    rows = node.rows[name]
    fresh = form_tree(child, {}, {}, f"{path}.__n__", {}, user)
    one = row_title(name, {}, 0).rsplit(" ", 1)[0]
    return {
        "path": path,
        "id": "f-" + path.replace(".", "-"),
        "title": title,
        "add_words": add_words,
        "columns": [field["short"] for field in fresh.fields.values()],
        "rows": [
            grid_row(row, _("%(one)s, row %(number)s") % {"one": one, "number": number})
            for number, row in enumerate(rows, 1)
        ],
        "fresh": grid_row(fresh, (_("%(one)s, new row") % {"one": one})),
        "errors": node.errors.get(name, []),
    }


def grid_row(node: FormNode, title: str) -> dict[str, Any]:
    cells = [
        field
        | {
            "label": f"{title}: {field['short']}",
            "placeholder": field.get("example", ""),
        }
        for field in node.fields.values()
    ]
    return {
        "path": node.path,
        "title": title,
        "cells": cells,
        "identity_name": node.identity_name,
        "identity": node.identity,
    }


def take_focus(layout: dict[str, Any], tree: FormNode, focus: str) -> None:
    """Put the cursor into the field at a path, or into the first field of the row at it."""
    if not focus:
        return
    for field in every_field(layout):
        if field["name"] == focus or field["name"].rpartition(".")[0] == focus:
            field["attrs"] = {**field.get("attrs", {}), "autofocus": "autofocus"}
            return


def every_field(layout: dict[str, Any]) -> Iterable[Field]:
    """All fields in the order of the page."""
    for part in layout["sections"]:
        yield from part["fields"]
    for one in layout["sets"] or ():
        for part in (*one["sections"], *one["values"]):
            yield from part["fields"]
            for table in part["grids"]:
                for row in table["rows"]:
                    yield from row["cells"]
