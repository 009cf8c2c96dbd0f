"""Documents that are refused: each error has its path and its cure, and nothing else is ever raised."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.casefile import CaseError, judge_document
from loops.casereader import LONGEST_LIST

from .documents import COMPLETE, changed


def errors(document: object) -> dict[str, list[str]]:
    with pytest.raises(CaseError) as error:
        judge_document(document)
    return error.value.errors


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
    ("sources.0.supply", {"voltage": "24 V", "hart_resistance": "250 ohm"}, "voltage_at_20mA"),
    ("devices.0.needs", {"kind": "motor"}, "is not one of"),
    ("devices.0.needs", {"kind": "solenoid", "hart": True}, "two_wire"),
    ("devices.0.needs", {"kind": "proximity_sensor", "voltage_min": "7 V"}, "two_wire"),
    ("devices.0.needs", {"pull_in_current": "37 mA"}, "solenoid"),
    ("devices.0.needs", {"kind": "proximity_sensor", "coil_resistance": "270 ohm"}, "solenoid"),
    ("devices.0.needs", {"hart": "yes"}, "true or false"),
    ("terminators", [{"R": "100 ohm", "C": "1 uF"}], "fisco"),
    ("cables", "W1", "brackets"),
    ("cables.0.conductor", "1.6 mm2", "0.5 mm2, 0.75 mm2"),
    ("cables.0.conductor", "12 AWG", "18 AWG"),
    ("cables.0.conductor", 18, "quotation marks"),
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
    # A fault of a key within a wrong object stands under that key.
    assert words in " ".join(text for at, texts in found.items() if at.startswith(path) for text in texts), found


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
UNUSED = ["devices.0.needs.kind", "devices.0.needs.hart", "devices.0.needs.coil_resistance", "cables.0.conductor"]


@settings(max_examples=600, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from([*PATHS, *UNUSED]), JSON)
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
