"""The case file: keys, errors with their cure, and the result document.

The complete document and the figures of its result are those of the agreed format of case files.
"""

from __future__ import annotations

import copy
import json
from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest

from loops.casefile import judge_document, read_document
from loops.engine.case import NOT_STATED, UNKNOWN, Basis, Fieldbus, Group, Interconnection, Level, NeedsKind

from .documents import COMPLETE, changed


def verdict(document: dict[str, Any], name: str) -> set[str]:
    return {check["verdict"] for check in judge_document(document)["checks"] if check["id"] == name}


# --- the result ------------------------------------------------------------------------------------------------------


def test_the_complete_document() -> None:
    result = judge_document(COMPLETE)
    assert result["case"] == "free text, echoed in the result"
    assert result["verdict"] == "complies"
    assert result["halved"] is False
    assert result["totals"] == {"C": "35.2 nF", "L": "195 uH", "C_permitted": "107 nF", "L_permitted": "3.9 mH"}
    assert result["max_length"] == {"length": "952 m", "limited_by": "capacitance"}
    assert result["function"]["verdict"] == "pass"
    assert result["system"] == {"level": "ia", "group": "IIC", "epl": "Ga"}
    assert result["engine"]
    voltage = next(check for check in result["checks"] if check["id"] == "voltage")
    why = voltage.pop("why")
    assert voltage == {
        "id": "voltage",
        "verdict": "pass",
        "subject": "S1 -> D1",
        "value": "25.2 V",
        "limit": "30 V",
        "relation": "<=",
        "margin": "0.16",
        "reference": "IEC 60079-25:2020, Annex A",
    }
    assert "25.2 V" in why and "30 V" in why
    assert any("EXA 21 ATEX 0101 X" in text for text in result["confirmations"])
    json.dumps(result)


def test_every_sentence_is_written_out() -> None:
    for document in (COMPLETE, changed("devices.0.Ui", "20 V"), changed("area.zone"), {"sources": [{}]}):
        result = judge_document(document, detail=True)
        texts = [check["why"] for check in result["checks"]] + result["confirmations"] + [result["function"]["why"]]
        for text in texts:
            assert text and text[0] != " " and text.endswith("."), text
            assert "{" not in text and "Missing" not in text and "Decimal" not in text, text


def test_the_cure_ends_the_sentence_and_stands_alone_in_the_detail() -> None:
    document = changed("cables.0.length", "960 m")
    plain = next(c for c in judge_document(document)["checks"] if c["id"] == "capacitance")
    detail = next(c for c in judge_document(document, detail=True)["checks"] if c["id"] == "capacitance")
    assert plain["verdict"] == "fail"
    assert plain["why"].endswith("Cable W1 of at most 952 m would pass.")
    assert detail["cure"] == "Cable W1 of at most 952 m would pass."
    assert (D(detail["value_si"]), D(detail["limit_si"]), detail["unit"]) == (D("107.8e-9"), D("107e-9"), "F")
    assert set(detail) - set(plain) == {"value_si", "limit_si", "unit", "cure"}


def test_basis_changes_references_and_defaults() -> None:
    document = changed("cables.0.C", document=changed("basis", "NEC"))
    result = judge_document(document)
    assert all("NEC" in c["reference"] or "ISA" in c["reference"] for c in result["checks"] if c["id"] == "voltage")
    assert "196.9 nF/km" in str(result["confirmations"])


def test_margins_are_never_rounded_up() -> None:
    def margin(document: dict[str, Any]) -> str | None:
        return next(c["margin"] for c in judge_document(document)["checks"] if c["id"] == "voltage")

    assert margin(changed("sources.0.Uo", "29.9999 V")) == "0"
    assert margin(changed("sources.0.Uo", "30 V")) == "0"
    assert margin(changed("sources.0.Uo", "30.0001 V")) == "-0.0001"
    assert margin(changed("devices.0.Ui", "0 V")) is None
    assert margin(changed("devices.0.Ui", "0.000001 V")) == "-25199999"
    assert margin(changed("sources.0.Uo", "0 V")) == "1"


def test_what_is_open_is_null() -> None:
    result = judge_document(changed("devices.0.Ci"))
    assert result["totals"]["C"] is None
    assert result["max_length"] is None
    nothing = changed("cables.0.L", "0 H/m", changed("cables.0.C", "0 F/m"))
    assert judge_document(nothing)["max_length"] == {"length": None, "limited_by": "none"}


def test_same_name_may_stand_on_both_ends() -> None:
    assert judge_document(changed("devices.0.name", "S1"))["verdict"] == "complies"


def test_parts_without_a_name_are_called_by_their_place() -> None:
    document = changed("sources.0.name", document=changed("devices.0.name", document=changed("cables.0.name")))
    subjects = {check["subject"] for check in judge_document(document)["checks"]}
    assert {"source 1 -> device 1", "cable 1"} <= subjects


# --- reading ---------------------------------------------------------------------------------------------------------


def test_three_states() -> None:
    assert read_document(COMPLETE).devices[0].ii_a == D("0.12")
    assert read_document(changed("devices.0.Ii", "not stated")).devices[0].ii_a is NOT_STATED
    assert read_document(changed("devices.0.Ii")).devices[0].ii_a is UNKNOWN


def test_the_least_document() -> None:
    case = read_document({"sources": [{}]})
    assert case.basis is Basis.IEC
    assert case.interconnection is Interconnection.UNDEFINED
    assert case.cables is None and case.devices == () and case.fieldbus is None
    result = judge_document({"sources": [{}]})
    assert result["verdict"] == "incomplete"


def test_north_american_area() -> None:
    document = {
        **COMPLETE,
        "basis": "NEC",
        "area": {"division": "1", "class": "I", "group": "B", "temperature_class": "T3C"},
    }
    case = read_document(document)
    assert (case.area.division, case.area.group, case.area.temperature_c) == ("1", Group.B, D(160))


@pytest.mark.parametrize(
    "text, limit",
    [("T4", 135), ("T3C", 160), ("135 degC", 135), ("T135 degC", 135), ("T135°C", 135), ("T 120 degC", 120)],
)
def test_temperature_of_the_area(text: str, limit: int) -> None:
    assert read_document(changed("area.temperature_class", text)).area.temperature_c == limit


@pytest.mark.parametrize(
    "text, limit, dust", [("T6", 85, False), ("T135 degC", 135, True), ("135 degC", 135, True), ("T2A", 280, False)]
)
def test_class_of_a_row(text: str, limit: int, dust: bool) -> None:
    row = read_document(changed("devices.0.temperature_classes.0.class", text)).devices[0].temperature_classes[0]
    assert (row.limit_c, row.dust) == (limit, dust)


def test_row_with_its_own_power() -> None:
    row = {"class": "T4", "ambient_max": "70 degC", "Pi": "0.5 W", "Ii": "not stated"}
    case = read_document(changed("devices.0.temperature_classes", [row]))
    assert case.devices[0].temperature_classes[0].pi_w == D("0.5")
    assert verdict(changed("devices.0.temperature_classes", [row]), "temperature_class") == {"fail"}


def test_everything_else_is_read() -> None:
    document = copy.deepcopy(COMPLETE)
    document["sources"][0] |= {
        "output": "trapezoidal",
        "Uq": "20 V",
        "ambient_min": "-20 degC",
        "ambient_max": "60 degC",
    }
    document["devices"] += [
        {
            "name": "RTD",
            "kind": "simple",
            "simple": {
                "kind": "generating",
                "voltage": "1 V",
                "current": "10 mA",
                "power": "10 mW",
                "surface_area": "100 mm2",
                "thermal_resistance": "37 K/W",
            },
            "series_resistance": "10 ohm",
            "voltage_drop": "0.5 V",
        }
    ]
    document["cables"][0] = {
        "C_core_core": "100 pF/m",
        "C_core_screen": "180 pF/m",
        "screen": "isolated",
        "L_is": "per_core",
        "role": "spur",
    }
    document |= {
        "fisco": True,
        "terminators": [{"R": "100 ohm", "C": "1 uF"}],
        "accepted_schemes": ["ATEX"],
        "safe_area_ambient_min": "0 degC",
    }
    case = read_document(document)
    assert case.fieldbus is Fieldbus.FISCO
    assert case.sources[0].uq_v == 20
    assert case.devices[1].voltage_drop_v == D("0.5")
    assert case.cables is not None and case.cables[0].inductance_per_core
    assert case.terminators[0].resistance_ohm == 100
    assert case.accepted_schemes == ("ATEX",)
    assert case.sources[0].level is Level.IA
    assert read_document({"sources": [{}], "two_wise": True}).fieldbus is Fieldbus.TWO_WISE
    assert judge_document(document)["verdict"] == "does_not_comply"


@pytest.mark.parametrize(
    "text, name",
    [("1.5 mm2", "1.5 mm2"), ("1,5 mm²", "1.5 mm2"), ("1 mm2", "1.0 mm2"), ("18 AWG", "18 AWG"), ("awg 18", "18 AWG")],
)
def test_a_conductor_is_read(text: str, name: str) -> None:
    cables = read_document(changed("cables.0.conductor", text)).cables
    assert cables is not None and cables[0].conductor == name


def test_what_each_kind_needs_is_read() -> None:
    hart = read_document(changed("devices.0.needs", {"voltage_min": "11 V", "hart": True})).devices[0].needs
    assert hart is not None and hart.hart and hart.kind is NeedsKind.TWO_WIRE
    text = {
        "kind": "solenoid",
        "pull_in_current": "37 mA",
        "coil_resistance": "270 ohm",
        "coil_temperature_max": "80 degC",
    }
    coil = read_document(changed("devices.0.needs", text)).devices[0].needs
    assert coil is not None and coil.kind is NeedsKind.SOLENOID
    assert (coil.pull_in_current_a, coil.coil_resistance_ohm, coil.coil_temperature_max_c) == (D("0.037"), 270, 80)


def test_the_parts_of_function_are_told() -> None:
    """R: 250 ohm that the isolator presents, and 7.26 ohm of line at 20 degC; C: 2.2 nF and 33 nF of cable."""
    supply = {"voltage_at_20mA": "15.8 V", "resistance": "22 ohm", "hart_resistance": "250 ohm"}
    document = changed("sources.0.supply", supply, changed("area.ambient_max", "20 degC"))
    document = changed("devices.0.needs", {"voltage_min": "11 V", "current_max": "20 mA", "hart": True}, document)
    function = judge_document(document)["function"]
    assert function["verdict"] == "pass"
    told = {part["name"]: (part["value"], part["relation"], part["limit"]) for part in function["parts"]}
    assert told == {
        "voltage_at_4mA": ("15.77096 V", ">=", "11 V"),
        "voltage_at_highest_current": ("15.6548 V", ">=", "11 V"),
        "hart_rc": ("9.055552 us", "<=", "65 us"),
        "hart_load": ("250 ohm", ">=", "230 ohm"),
    }
    assert all(part["reference"] and part["why"] and part["verdict"] == "pass" for part in function["parts"])
    short = changed("devices.0.needs", {"kind": "proximity_sensor"}, document)
    assert judge_document(short, detail=True)["function"]["parts"][0]["limit"] == "50 ohm"


def test_dates() -> None:
    assert read_document(COMPLETE).judge_on == date(2026, 11, 25)


def test_long_figures_are_read_with_four_digits_and_kept_exact() -> None:
    """A sum is told no smaller and a limit no larger than it is."""
    document = copy.deepcopy(COMPLETE)
    document["devices"][0]["Li"] = "0.977736026 mH"
    document["sources"][0]["permitted"][0]["Lo"] = "1.0277360262 mH"
    plain, detail = judge_document(document), judge_document(document, detail=True)
    told, kept = (next(c for c in r["checks"] if c["id"] == "inductance") for r in (detail, plain))
    assert "977.8 uH and cables 195 uH make 1.173 mH, above the 513.8 uH" in told["why"]
    assert (told["value"], told["limit"]) == ("1.173 mH", "513.8 uH")
    assert told["limit_si"] == "0.0005138680131"
    assert kept["limit"] == "513.868 uH"


def test_computed_figures_are_cut_towards_the_unsafe_side_and_typed_ones_are_left() -> None:
    """22.222… mH permitted is shown as less, never as more; nine typed digits stay."""
    document = copy.deepcopy(COMPLETE)
    document["sources"][0]["permitted"][0]["Lo"] = "22.2222222222 mH"
    document["sources"][0]["permitted"][0]["Co"] = "107.123456 nF"
    totals = judge_document(document)["totals"]
    assert totals["L_permitted"] == "22.2222 mH"
    assert totals["C_permitted"] == "107.123456 nF"
