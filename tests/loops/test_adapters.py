"""From a snapshot of terminals to the case document: nothing that the register knows is dropped on the way."""

from __future__ import annotations

from typing import Any

import pytest

from loops.adapters import device_document, temperature_rows, with_marked_epl


def value(text: str, si: str = "1") -> dict[str, str]:
    return {"text": text, "si": si}


def row(name: str, ambient: str = "60", **more: Any) -> dict[str, Any]:
    return {"temperature_class": name, "ambient_max_degc": value(f"{ambient} degC", ambient)} | more


def terminals(*rows: dict[str, Any], **more: Any) -> dict[str, Any]:
    bare = {"level": "ia", "gas_group": "IIC", "dust_group": "IIIC", "isolation": "", "simple_kind": ""}
    return bare | {"temperature_classes": list(rows), "ambient_max_degc": None} | more


GAS, DUST = row("T6"), row("85 degC")


@pytest.mark.parametrize(
    ("rows", "dust", "by_code", "classes"),
    [
        ((GAS, DUST), False, False, ["T6"]),
        ((GAS, DUST), True, False, ["T85 degC"]),
        ((GAS,), True, False, []),  # a T class says nothing of a dust zone
        ((GAS,), True, True, ["T6"]),  # a T code of the area can be met by the T code of the device
        ((GAS, DUST), True, True, ["T85 degC"]),  # what the certificate says of dust goes first
        ((DUST,), False, False, []),
    ],
)
def test_temperature_rows_of_the_place(rows: Any, dust: bool, by_code: bool, classes: list[str]) -> None:
    assert [found["class"] for found in temperature_rows(terminals(*rows), dust, by_code)] == classes


def test_power_and_current_of_a_row_are_sent() -> None:
    limited = row("T6", pi_w=value("0.5 W"), ii_a={"text": "not stated"})
    document = device_document("D1", terminals(limited), None, None, False)
    assert document["temperature_classes"] == [
        {"class": "T6", "ambient_max": "60 degC", "Pi": "0.5 W", "Ii": "not stated"}
    ]


def test_what_an_inline_item_takes_is_sent() -> None:
    document = device_document("SPD", terminals(series_ohm=value("10 ohm"), drop_v=value("1.3 V")), None, None, False)
    assert (document["series_resistance"], document["voltage_drop"]) == ("10 ohm", "1.3 V")
    assert "needs" not in document


def test_what_a_device_needs_is_sent() -> None:
    coil = terminals(
        needs_kind="solenoid", pull_in_a=value("37 mA"), coil_ohm=value("270 ohm"), coil_max_degc=value("80 degC")
    )
    assert device_document("Y1", coil, None, None, False)["needs"] == {
        "kind": "solenoid",
        "pull_in_current": "37 mA",
        "coil_resistance": "270 ohm",
        "coil_temperature_max": "80 degC",
    }
    assert device_document("T1", terminals(hart=True), None, None, False)["needs"] == {"hart": True}
    assert device_document("S1", terminals(needs_kind="proximity_sensor"), None, None, False)["needs"] == {
        "kind": "proximity_sensor"
    }


def test_snapshots_from_before_these_columns_are_still_read() -> None:
    assert "needs" not in device_document("D1", terminals(GAS), None, None, False)


def test_a_component_certificate_is_told_by_its_u_however_the_number_goes_on() -> None:
    """Both readers of the suffix, that of the register and that of the engine, agree."""
    from loops.adapters import device_kind
    from registry.certificate_numbers import suffix_of
    from tests.loops.engine.test_certificates import SUFFIXES

    terminals = {"simple_kind": ""}
    for number, letter in SUFFIXES.items():
        assert suffix_of(number) == letter
        assert device_kind(terminals, {"number": number}) == ("component" if letter == "U" else "certified")


@pytest.mark.parametrize(
    ("typed", "marking", "dust", "epl"),
    [
        ({"gas_epl": "Gb"}, "", False, "Gb"),
        ({"gas_epl": "Ga", "dust_epl": "Db"}, "", True, "Db"),
        ({"gas_epl": "Gb"}, "", True, "Gb"),  # nothing is stated for dust: what is stated for gas can only warn
        ({}, "Ex ia IIC T4 Gb", False, "Gb"),
        ({}, "Ex ia IIC T4 Ga", False, None),  # no lower than the level earns: the level says it
        ({"gas_epl": "Ga"}, "II 1/2 G Ex ia IIC T4 Ga/Gb", False, "Ga"),  # a person has decided
        ({}, "II 1/2 G Ex ia IIC T4 Ga/Gb", False, "Gb"),
        ({}, "Ex ia IIC T4 Ga; Ex ia IIIC T135°C Db", True, "Db"),
        ({}, "see nameplate", False, None),
        ({}, "", False, None),
    ],
)
def test_an_epl_is_sent_as_typed_or_as_marked(typed: Any, marking: str, dust: bool, epl: str | None) -> None:
    row = with_marked_epl(terminals(side="device", **typed), marking)
    assert device_document("D1", row, None, None, dust).get("epl") == epl


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("marking", "typed", "said"),
    [
        ("Ex ia IIC T4 Gb", "", "EPL Gb"),
        ("Ex ia IIC T4 Ga", "", ""),
        ("Ex ia IIC T4", "Gb", "EPL Gb"),
        ("Ex ia IIC T4", "", ""),  # nothing is stated: the level decides
    ],
)
def test_an_item_of_a_lower_epl_does_not_pass_in_zone_0(
    marking: str, typed: str, said: str, device_data: Any, device: Any, area: Any, save: Any, make_loop: Any
) -> None:
    device_data |= {"marking": marking}
    device_data["terminals"][0] |= {"level": "ia", "gas_epl": typed, "id": device.terminals.get().pk}
    save("equipment", device_data, record_id=device.pk)
    type(area).objects.filter(pk=area.pk).update(zone="0")
    result = make_loop().verifications.latest("pk").results[0]
    (level,) = [check for check in result["checks"] if check["id"] == "level"]
    assert (level["verdict"], said in level["why"]) == ("fail" if said else "pass", True)
