"""The tables of certificates, equipment, cable types and hazardous areas.

The columns come from the models, so that none can be forgotten; only their headings and examples are written here.
"""

from __future__ import annotations

from collections.abc import Mapping

from django.db import models

from registry.entries import ENTRIES
from registry.exchange.layouts import Column, Layout, Numbered, register
from registry.language import in_fixed_language
from registry.models import CableType, Certificate, Equipment, HazardousArea, PermittedRow, TemperatureRow, Terminals
from registry.parameters import parameter_of
from registry.reading import RecordField

HEADINGS: Mapping[tuple[type[models.Model], str], str] = {
    (Equipment, "type_name"): "type",
    (Terminals, "name"): "terminals",
    (Terminals, "simple_kind"): "simple apparatus is",
    (PermittedRow, "group"): "group",
    (TemperatureRow, "temperature_class"): "",
    (CableType, "inductance_is"): "Lc is of",
    (CableType, "resistance_is"): "Rc is of",
    (Certificate, "valid_to"): "valid to",
}
EXAMPLES: Mapping[type[models.Model], Mapping[str, str]] = {
    Certificate: {
        "scheme": "ATEX",
        "number": "EXA 21 ATEX 0101 X",
        "issue": "0",
        "holder": "Northlight Barriers",
        "issued_on": "2021-03-01",
        "status": "current",
        "specific_conditions": "Install in an enclosure of at least IP 20.",
    },
    Equipment: {
        "kind": "source",
        "maker": "Northlight Barriers",
        "type_name": "NB-28",
        "function": "Transmitter supply, 4–20 mA",
        "marking": "II (1) G [Ex ia Ga] IIC",
    },
    Terminals: {
        "name": "1-2",
        "side": "source",
        "certificate": "EXA 21 ATEX 0101 X issue 0",
        "level": "ia",
        "gas_group": "IIC",
        "gas_epl": "Ga",
        "output": "linear",
        "isolation": "isolated",
        "ambient_min_degc": "-20 degC",
        "ambient_max_degc": "60 degC",
        "uo_v": "28 V",
        "io_a": "93 mA",
        "po_w": "0.65 W",
        "ro_ohm": "301 ohm",
        "um_v": "253 V",
        "supply_at_20ma_v": "17 V",
    },
    PermittedRow: {"group": "IIC", "co_f": "83 nF", "lo_h": "4.2 mH", "lo_ro_h_per_ohm": "55 uH/ohm"},
    TemperatureRow: {},
    CableType: {
        "name": "Pair 1.5 mm2",
        "maker": "Larkfield Cables",
        "capacitance_f_per_m": "110 nF/km",
        "inductance_h_per_m": "0.65 mH/km",
        "inductance_is": "loop",
        "inductance_per_resistance_h_per_ohm": "25 uH/ohm",
        "resistance_ohm_per_m": "12.1 ohm/km",
        "resistance_is": "per_core",
        "conductor": "1.5 mm2",
        "strand_m": "0.3 mm",
        "insulation_m": "0.4 mm",
        "test_v": "500 V",
    },
    HazardousArea: {
        "site": "NORTH",
        "name": "Reactor bay",
        "zone": "1",
        "group": "IIC",
        "temperature_class": "T4",
        "ambient_min_degc": "-20 degC",
        "ambient_max_degc": "40 degC",
        "drawing": "HAC-001",
    },
}


def columns_of(model: type[models.Model], entry_fields: Mapping[str, object]) -> tuple[Column, ...]:
    """A column for each field of an entry, in the order of the model; what a row is called comes first.

    In English always: a table is the same for everybody, whatever language the pages have.
    """
    order = [field.name for field in model._meta.concrete_fields if field.name in entry_fields]
    if model is Terminals:
        order.sort(key=lambda name: name != "name")
    with in_fixed_language():
        return tuple(_column(model, name, entry_fields[name]) for name in order)


def _column(model: type[models.Model], name: str, reader: object) -> Column:
    parameter = parameter_of(model, name)
    stored = model._meta.get_field(name)
    words = str(getattr(stored, "verbose_name", name.replace("_", " ")))
    heading = str(HEADINGS.get((model, name), parameter.short if parameter else words))
    choices = {str(code): str(label) for code, label in getattr(stored, "flatchoices", ()) if code}
    kind = "text"
    if choices:
        kind = "choice"
    elif isinstance(stored, models.DateField):
        kind = "day"
    elif isinstance(stored, models.BooleanField):
        kind = "yes or no"
    elif isinstance(reader, RecordField):
        kind = "record"
    also = tuple({words, *(str(parameter.also).split("; ")[:1] if parameter and parameter.also else ())} - {heading})
    example = EXAMPLES.get(model, {}).get(name, "")
    return Column(heading, name, also if heading else (), kind, choices, example)


def build() -> None:
    """Make the tables of the register known."""
    equipment, terminals = ENTRIES["equipment"], ENTRIES["equipment"].children["terminals"]
    permitted, classes = terminals.children["permitted"], terminals.children["temperature_classes"]
    register(
        Layout(
            "equipment",
            "Equipment",
            ("maker", "type_name"),
            columns_of(Equipment, equipment.base_fields),
            "terminals",
            columns_of(Terminals, terminals.base_fields),
            "name",
            (
                Numbered("permitted", "permitted", columns_of(PermittedRow, permitted.base_fields), 3),
                Numbered(
                    "temperature_classes", "temperature class", columns_of(TemperatureRow, classes.base_fields), 2
                ),
            ),
        )
    )
    for kind, title, key, model in (
        ("certificate", "Certificate", ("number", "issue"), Certificate),
        ("cable_type", "Cable type", ("name",), CableType),
        ("area", "Hazardous area", ("site", "name"), HazardousArea),
    ):
        register(Layout(kind, title, key, columns_of(model, ENTRIES[kind].base_fields)))


build()
