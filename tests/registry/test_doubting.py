"""The plausibility rules applied to records: which values they compare, and which they leave alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from registry.doubting import doubts
from registry.marking import MarkingError, parse_markings

pytestmark = pytest.mark.django_db


def columns(record: Any) -> list[tuple[str, str]]:
    return [(doubt.place, doubt.column) for doubt in doubts(record)]


def test_the_records_of_the_tests_are_not_doubted(source: Any, device: Any, cable_type: Any, certificate: Any) -> None:
    for record in (source, device, cable_type, certificate):
        assert columns(record) == []


def test_values_beyond_the_usual_are_doubted_at_their_terminals(
    source_data: Any, device_data: Any, save: Callable[..., Any]
) -> None:
    source_data["terminals"][0] |= {
        "uo_v": "61 V",
        "io_a": "1.1 A",
        "po_w": "not stated",
        "ro_ohm": "",
        "permitted": [],
    }
    assert columns(save("equipment", source_data)) == [("Terminals 1-2", "uo_v"), ("Terminals 1-2", "io_a")]
    device_data["terminals"][0] |= {"ci_f": "101 uF", "li_h": "1.1 H", "pi_w": "26 W"}
    found = {column for _, column in columns(save("equipment", device_data))}
    assert found == {"ci_f", "li_h", "pi_w"}


def test_the_mains_at_um_is_usual(source_data: Any, save: Callable[..., Any]) -> None:
    source_data["terminals"][0]["um_v"] = "253 V"
    assert columns(save("equipment", source_data)) == []


def test_a_large_co_at_a_few_volts_is_left_to_the_table(source_data: Any, save: Callable[..., Any]) -> None:
    """At 6 V table A.2 permits 1000 µF for IIB and 40 µF for IIC (from memory; 40 µF seen in a 2004 data sheet)."""
    row = source_data["terminals"][0] | {"uo_v": "6 V", "io_a": "10 mA", "po_w": "15 mW", "ro_ohm": "600 ohm"}
    row["permitted"] = [{"group": "IIB", "co_f": "900 uF"}]
    assert columns(save("equipment", source_data | {"terminals": [row]})) == []
    row["permitted"] = [{"group": "IIC", "co_f": "900 uF"}]
    assert columns(save("equipment", source_data | {"type_name": "2", "terminals": [row]})) == [
        ("Terminals 1-2", "co_f")
    ]


@pytest.mark.parametrize(
    "marking, level, group, doubted",
    [
        ("II (1) G [Ex ia Ga] IIC", "ia", "IIC", []),
        ("II (1) G [Ex ia Ga] IIC", "ib", "IIC", ["level"]),
        ("II (1) G [Ex ia Ga] IIC", "ia", "IIB", ["gas_group"]),
        ("II (1) GD [Ex ia Ga] IIC [Ex ia Da] IIIC", "ia", "IIB", ["gas_group"]),
        ("II (1) G [Ex ia Ga] IIC, FISCO power supply", "ia", "IIC", []),
        ("as on the drawing", "ia", "IIC", ["marking"]),
        ("", "ib", "IIB", []),
    ],
)
def test_the_marking_is_compared_with_level_and_group(
    marking: str, level: str, group: str, doubted: list[str], source_data: Any, save: Callable[..., Any]
) -> None:
    source_data["marking"] = marking
    source_data["terminals"][0] |= {"level": level, "gas_group": group}
    assert [column for _, column in columns(save("equipment", source_data))] == doubted


@pytest.mark.parametrize(
    "marking, level, epls",
    [
        ("Ex ia IIC T4 Ga", "ia", []),
        ("Ex ia IIC T4 Gb", "ia", ["Gb"]),
        ("Ex ia IIC T4 Ga/Gb", "ia", ["Gb"]),
        ("Ex ib IIC T4 Gb", "ib", []),
        ("Ex ic IIC T4 Gc", "ic", []),
        ("Ex ia IIC T4", "ia", []),
        ("Ex ia IIC T4 Gb", "", []),
    ],
)
def test_an_epl_below_the_level_is_told(
    marking: str, level: str, epls: list[str], device_data: Any, save: Callable[..., Any]
) -> None:
    """ia alone does not make Ga: the EPL of the whole item counts for its zone (IEC 60079-14, 5.3, from memory)."""
    device_data["marking"] = marking
    device_data["terminals"][0] |= {"level": level, "gas_group": "IIC"}
    found = [doubt.text for doubt in doubts(save("equipment", device_data)) if "EPL" in doubt.text]
    assert [text.split(",")[0].removeprefix("The EPL of the marking is ") for text in found] == epls


def test_a_marking_that_stays_dark_says_what_is_wrong_with_it_as_it_stands() -> None:
    with pytest.raises(MarkingError, match="T9"):
        parse_markings("II 1 G Ex ia IIC T9 Ga")


@pytest.mark.parametrize(
    "number, scheme, conditions, doubted",
    [
        ("EXA 21 ATEX 0101 X", "ATEX", "Protect it.", []),
        ("EXA 21 ATEX 0101 X", "ATEX", "", ["specific_conditions"]),
        ("IECEx EXA 21.0001", "ATEX", "", ["scheme"]),
        ("NQ 4417-A", "NQ", "", []),
        ("NQ 4417-A X", "NQ", "", ["specific_conditions"]),
        ("LISTED 12", "North America", "", ["control_drawing"]),
        ("NQS 4417-A", "ATEX", "", ["number"]),
        ("EXA 21.0034", "IECEx", "", ["number"]),
    ],
)
def test_the_number_of_a_certificate_is_compared_with_its_scheme(
    number: str, scheme: str, conditions: str, doubted: list[str], save: Callable[..., Any]
) -> None:
    text = {"number": number, "scheme": scheme, "issue": "0", "specific_conditions": conditions}
    assert [column for _, column in columns(save("certificate", text))] == doubted


def test_a_cable_value_for_another_length_is_doubted(save: Callable[..., Any]) -> None:
    text = {"name": "Slip", "capacitance_f_per_m": "110 nF/m", "resistance_ohm_per_m": "12.1 ohm/m"}
    assert columns(save("cable_type", text)) == [("", "capacitance_f_per_m"), ("", "resistance_ohm_per_m")]


@pytest.mark.parametrize(("high", "doubted"), [("", True), ("70 degC", False), ("not stated", False)])
def test_a_class_without_its_ambient_is_doubted_where_the_range_is_typed(
    high: str, doubted: bool, device_data: dict[str, Any], save: Callable[..., Any]
) -> None:
    device_data["terminals"][0] |= {
        "ambient_max_degc": "70 degC",
        "temperature_classes": [{"temperature_class": "T4", "ambient_max_degc": high}],
    }
    assert ("temperature_classes" in [column for _, column in columns(save("equipment", device_data))]) is doubted
