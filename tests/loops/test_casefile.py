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
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.casefile import CaseError, judge_document, read_document
from loops.casereader import LONGEST_LIST
from loops.engine.case import NOT_STATED, UNKNOWN, Basis, Fieldbus, Group, Interconnection, Level

COMPLETE: dict[str, Any] = {
    "case": "free text, echoed in the result",
    "basis": "IEC",
    "area": {
        "zone": "1",
        "group": "IIC",
        "temperature_class": "T4",
        "ambient_min": "-20 degC",
        "ambient_max": "40 degC",
    },
    "safe_area_ambient_max": "40 degC",
    "safe_area_voltage_max": "230 V",
    "sources": [
        {
            "name": "S1",
            "terminals": "1-2",
            "level": "ia",
            "output": "linear",
            "isolated": True,
            "um": "250 V",
            "Uo": "25.2 V",
            "Io": "95 mA",
            "Po": "0.6 W",
            "Ro": "265 ohm",
            "permitted": [{"group": "IIC", "Co": "107 nF", "Lo": "3.9 mH", "Lo_Ro": "58 uH/ohm", "together": False}],
            "certificate": {
                "number": "EXA 21 ATEX 0101 X",
                "scheme": "ATEX",
                "valid_to": "2031-05-01",
                "status": "current",
            },
            "supply": {"voltage": "24 V", "voltage_at_20mA": "15.8 V", "resistance": "22 ohm"},
        }
    ],
    "devices": [
        {
            "name": "D1",
            "kind": "certified",
            "level": "ia",
            "group": "IIC",
            "Ui": "30 V",
            "Ii": "120 mA",
            "Pi": "1 W",
            "Ci": "2.2 nF",
            "Li": "0 H",
            "temperature_classes": [
                {"class": "T4", "ambient_max": "70 degC"},
                {"class": "T6", "ambient_max": "45 degC"},
            ],
            "ambient_min": "-40 degC",
            "isolated_from_earth": True,
            "certificate": {"number": "EXB 19 ATEX 0202", "scheme": "ATEX", "status": "current"},
            "needs": {"voltage_min": "11 V", "current_max": "22 mA", "voltage_min_at_4mA": "11 V"},
        }
    ],
    "cables": [
        {
            "name": "W1",
            "length": "300 m",
            "C": "110 nF/km",
            "L": "0.65 mH/km",
            "L_R": "25 uH/ohm",
            "R": "12.1 ohm/km",
            "R_is": "per_core",
            "strand_diameter": "0.3 mm",
            "insulation_thickness": "0.4 mm",
            "test_voltage": "500 V",
            "type": "single_circuit",
        }
    ],
    "interconnection": "undefined",
    "load_resistance": "250 ohm",
    "judge_on": "2026-11-25",
}


def changed(path: str, value: Any = ..., document: dict[str, Any] = COMPLETE) -> dict[str, Any]:
    """The document with one value set, or taken away."""
    made = copy.deepcopy(document)
    *way, last = path.split(".")
    place: Any = made
    for step in way:
        place = place[int(step) if isinstance(place, list) else step]
    key: Any = int(last) if isinstance(place, list) else last
    if value is ...:
        del place[key]
    else:
        place[key] = value
    return made


def errors(document: object) -> dict[str, list[str]]:
    with pytest.raises(CaseError) as error:
        judge_document(document)
    return error.value.errors


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
    assert "196.850393701 nF/km" in str(result["confirmations"])


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


def test_dates() -> None:
    assert read_document(COMPLETE).judge_on == date(2026, 11, 25)


# --- refusing --------------------------------------------------------------------------------------------------------

WRONG = [
    ("basis", "iec", "Did you mean “IEC”?"),
    ("area", [], "braces"),
    ("area.zone", 1, "as text"),
    ("area.zone", "3", "is not one of"),
    ("area.group", "iic", "Did you mean “IIC”?"),
    ("area.division", "1", "NEC"),
    ("area.temperature_class", "T7", "neither a class"),
    ("area.temperature_class", 4, "text"),
    ("area.ambient_min", "41 degC", "above the highest"),
    ("area.ambient_max", "-300 degC", "possible"),
    ("area.ambient_max", "40 C", "degC"),
    ("safe_area_voltage_max", 230, "text with its unit"),
    ("sources", [], "at least one source"),
    ("sources", {}, "brackets"),
    ("sources", None, "brackets"),
    ("sources.0", "S1", "braces"),
    ("sources.0.Uo", "25.2", "Add the unit"),
    ("sources.0.Uo", "-25.2 V", "negative"),
    ("sources.0.Uo", None, "text with its unit"),
    ("sources.0.Uo", ["25.2 V"], "text with its unit"),
    ("sources.0.Uo", True, "text with its unit"),
    ("sources.0.Uo", "", "Write a value"),
    ("sources.0.Uo", "NaN V", "number"),
    ("sources.0.Uo", "1e999999999 V", "proportion"),
    ("sources.0.Uo", "9" * 61, "60 characters"),
    ("sources.0.Uo", "25.2 V\x00", "hidden"),
    ("sources.0.Io", "95 V", "value of voltage"),
    ("sources.0.isolated", "true", "true or false"),
    ("sources.0.isolated", 1, "true or false"),
    ("sources.0.output", "Linear", "Did you mean “linear”?"),
    ("sources.0.Uq", "20 V", "trapezoidal"),
    ("sources.0.level", "id", "ia, ib, ic"),
    ("sources.0.name", "", "Write a name"),
    ("sources.0.name", "  ", "Write a name"),
    ("sources.0.name", 5, "quotation marks"),
    ("sources.0.name", "S\u00001", "hidden character U+0000"),
    ("sources.0.name", "\ud800", "hidden character U+D800"),
    ("sources.0.name", "S" * 201, "200 characters"),
    ("sources.0.permitted", {}, "brackets"),
    ("sources.0.permitted.0.group", ..., "Name the group"),
    ("sources.0.permitted.0.group", "II", "is not one of"),
    ("sources.0.permitted.0.Co", "-1 nF", "negative"),
    ("sources.0.permitted.0.together", "no", "true or false"),
    ("sources.0.certificate", "EXA", "braces"),
    ("sources.0.certificate.valid_to", "1.5.2031", "year-month-day"),
    ("sources.0.certificate.valid_to", "2031-02-30", "year-month-day"),
    ("sources.0.certificate.valid_to", 2031, "year-month-day"),
    ("sources.0.certificate.status", "expired", "is not one of"),
    ("devices.0.kind", "Certified", "Did you mean"),
    ("devices.0.simple", {"kind": "passive"}, "Only a device of"),
    ("devices.0.temperature_classes.0.class", ..., "Name the class"),
    ("devices.0.temperature_classes.0.class", "T9", "no class"),
    ("devices.0.temperature_classes.0.class", 4, "quotation marks"),
    ("devices.0.series_resistance", "not stated", "leave the key out"),
    ("cables", "W1", "brackets"),
    ("cables.0.length", "-1 m", "negative"),
    ("cables.0.C", "-1 nF/km", "negative"),
    ("cables.0.C", "110 nF", "capacitance per length"),
    ("cables.0.R_is", "core", "is not one of"),
    ("cables.0.type", "D", "is not one of"),
    ("interconnection", "serial", "Did you mean “series”?"),
    ("judge_on", "today", "year-month-day"),
    ("fisco", "yes", "true or false"),
    ("accepted_schemes", "ATEX", "list of texts"),
    ("accepted_schemes", [1], "list of texts"),
    ("accepted_schemes", [""], "list of texts"),
    ("case", "x" * 2001, "2000 characters"),
]


@pytest.mark.parametrize("path, value, words", WRONG, ids=lambda value: str(value)[:30])
def test_a_wrong_value_is_refused_with_its_path_and_cure(path: str, value: Any, words: str) -> None:
    found = errors(changed(path, value))
    assert words in " ".join(found[path]), found


@pytest.mark.parametrize(
    "place, key, words",
    [
        ("", "sauces", "Did you mean “sources”?"),
        ("", "colour", "Remove it"),
        ("area", "Zone", "Did you mean “zone”?"),
        ("sources.0", "uo", "Did you mean “Uo”?"),
        ("sources.0.permitted.0", "C0", "not known here"),
        ("devices.0", "temperature_class", "Did you mean “temperature_classes”?"),
        ("devices.0.needs", "voltage", "Did you mean “voltage_min”?"),
        ("cables.0", "lenght", "Did you mean “length”?"),
    ],
)
def test_an_unknown_key_is_named(place: str, key: str, words: str) -> None:
    path = f"{place}.{key}" if place else key
    found = errors(changed(path, "x"))
    assert list(found) == [path]
    assert words in found[path][0] and key in found[path][0]


@pytest.mark.parametrize("document", [None, [], "case", 3, True])
def test_a_document_is_an_object(document: object) -> None:
    assert errors(document) == {"": ["Write the case as one object in braces { }."]}


def test_a_key_that_is_no_text() -> None:
    assert errors({**COMPLETE, 5: 1}) == {"": ["Every key must be text."]}


def test_twins_are_refused() -> None:
    for key in ("sources", "devices", "cables"):
        document = changed(key, COMPLETE[key] * 2)
        assert list(errors(document)) == [f"{key}.1.name"]
    document = changed("devices", [{}, {"name": "device 1"}])
    assert list(errors(document)) == ["devices.1.name"]


@pytest.mark.parametrize("key", ["sources", "devices", "cables", "terminators"])
def test_absurdly_long_lists_are_refused(key: str) -> None:
    assert list(errors(changed(key, [{}] * (LONGEST_LIST + 1)))) == [key]


def test_a_long_list_is_judged() -> None:
    document = changed("devices", [{**COMPLETE["devices"][0], "name": f"D{n}"} for n in range(LONGEST_LIST)])
    assert judge_document(document)["verdict"] == "does_not_comply"


def test_capacitance_is_given_once() -> None:
    assert "cables.0.C" in errors(changed("cables.0.C_core_core", "100 pF/m"))
    bare = changed("cables.0.C")
    assert "cables.0.C_core_core" in errors(changed("cables.0.C_core_core", "100 pF/m", bare))
    assert "cables.0.C_core_core" in errors(changed("cables.0.C_core_screen", "100 pF/m", bare))


def test_fisco_or_two_wise() -> None:
    assert "two_wise" in errors({**COMPLETE, "fisco": True, "two_wise": True})


def test_all_errors_are_told_at_once() -> None:
    document = changed("sources.0.Uo", "x", changed("cables.0.length", "300", changed("area.zone", "9")))
    assert set(errors(document)) == {"sources.0.Uo", "cables.0.length", "area.zone"}
    with pytest.raises(CaseError, match=r"area\.zone: "):
        judge_document(document)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
PATHS = [
    "basis", "area", "area.zone", "area.group", "area.temperature_class", "sources", "sources.0", "sources.0.Uo",
    "sources.0.permitted", "sources.0.permitted.0", "sources.0.permitted.0.Co", "sources.0.certificate",
    "sources.0.certificate.number", "sources.0.supply", "devices", "devices.0", "devices.0.Ci",
    "devices.0.temperature_classes", "devices.0.temperature_classes.0.class", "devices.0.kind", "devices.0.needs",
    "cables", "cables.0", "cables.0.length", "cables.0.C", "cables.0.type", "judge_on", "interconnection", "case",
]  # fmt: skip


@settings(max_examples=600, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PATHS), JSON)
def test_whatever_stands_in_a_place_is_judged_or_refused(path: str, value: Any) -> None:
    try:
        result = judge_document(changed(path, value))
    except CaseError as error:
        assert error.errors and all(error.errors.values())
    else:
        json.dumps(result)


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(JSON)
def test_whatever_is_the_document_is_judged_or_refused(document: Any) -> None:
    with pytest.raises(CaseError):
        judge_document(document)


@pytest.mark.parametrize("path", PATHS[1:])
def test_leaving_anything_out_is_never_better(path: str) -> None:
    """Unknown never passes: what is missing is incomplete, confirmed, a default that is named, or fails."""
    try:
        result = judge_document(changed(path))
    except CaseError:
        assert path in ("sources", "sources.0", "sources.0.permitted.0.group", "devices.0.temperature_classes.0.class")
        return
    whole = judge_document(COMPLETE)
    told = set(result["confirmations"]) - set(whole["confirmations"])
    silent = ("basis", "judge_on", "interconnection", "case", "devices.0.needs", "sources.0.supply", "devices.0.kind")
    assert result["verdict"] != "complies" or told or path in silent
