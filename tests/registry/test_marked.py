"""What a marking fills into the form of an item, and where it differs from what is typed."""

from collections.abc import Callable
from typing import Any

import pytest

from registry.marked import take_marking
from registry.marking import MarkingError
from registry.models import Equipment, Revision
from registry.services.records import EntryRefused
from registry.views.forms import flatten


def item(marking: str, **row: Any) -> dict[str, Any]:
    return {"marking": marking, "terminals": [{"name": "1-2", "side": "device"} | row]}


@pytest.mark.parametrize(
    ("marking", "side", "filled"),
    [
        (
            "II 1 G Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C",
            "device",
            {"level": "ia", "gas_group": "IIC", "gas_epl": "Ga"}
            | {"ambient_min_degc": "-40 degC", "ambient_max_degc": "70 degC"},
        ),
        (
            "II (1) GD [Ex ia Ga] IIC [Ex ia Da] IIIC",
            "source",
            {"level": "ia", "gas_group": "IIC", "dust_group": "IIIC", "gas_epl": "Ga", "dust_epl": "Da"},
        ),
        ("Ex db [ib IIB Gb] IIC T6 Gb", "source", {"level": "ib", "gas_group": "IIB", "gas_epl": "Gb"}),
        (
            "IS CL I, II, DIV 1, GP A, B, C, D, E, F, G T4",
            "device",
            {"level": "ia", "gas_group": "A", "dust_group": "E"},
        ),
        ("II (1) G [Ex ia Ga] IIC, FISCO power supply", "source", {"level": "ia", "gas_group": "IIC", "gas_epl": "Ga"}),
        ("Ex ia IIC T4 Gb", "device", {"level": "ia", "gas_group": "IIC", "gas_epl": "Gb"}),
        # Of the two of a boundary the lower one is safe on both sides of it.
        ("II 1/2 G Ex ia IIC T4 Ga/Gb", "device", {"level": "ia", "gas_group": "IIC", "gas_epl": "Gb"}),
        # Own EPL and that of the circuits it feeds are two things.
        ("II 2(1) G Ex ia [ia Ga] IIC T4 Gb", "source", {"level": "ia", "gas_group": "IIC", "gas_epl": "Ga"}),
        ("Ex ia IIC T4", "device", {"level": "ia", "gas_group": "IIC"}),
    ],
)
def test_what_is_empty_is_filled(marking: str, side: str, filled: dict[str, str]) -> None:
    data = item(marking, side=side)
    taken = take_marking(data)
    row = {name: value for name, value in data["terminals"][0].items() if name not in ("name", "side")}
    row.pop("temperature_classes", None)
    assert row == filled and not taken.differs
    assert len(taken.filled) >= len(filled)


@pytest.mark.parametrize(
    ("marking", "rows", "expected"),
    [
        ("Ex ia IIC T4 Ga", [{}], [{"temperature_class": "T4"}]),
        # Of a range the weakest class, which holds over the whole of it (IEC 60079-0:2017, clause 29, from memory).
        ("Ex ia IIC T6...T4 Ga Ta ≤ +60 °C", [], [{"temperature_class": "T4", "ambient_max_degc": "60 degC"}]),
        ("Ex ia IIIC T135°C Da", [], [{"temperature_class": "135 degC"}]),
        ("Ex ia IIC T4 Ga; Ex ia IIIC T135°C Da", [], [{"temperature_class": "T4"}, {"temperature_class": "135 degC"}]),
        ("Ex ia IIC T4 Ga", [{"temperature_class": "t4"}], [{"temperature_class": "t4"}]),
        (
            "Ex ia IIIC T135°C Da",
            [{"temperature_class": "T4"}],
            [{"temperature_class": "T4"}, {"temperature_class": "135 degC"}],
        ),
    ],
)
def test_classes_become_rows(marking: str, rows: list[Any], expected: list[Any]) -> None:
    data = item(marking, temperature_classes=rows)
    assert not take_marking(data).differs
    assert data["terminals"][0]["temperature_classes"] == expected


@pytest.mark.parametrize(
    ("row", "names"),
    [
        ({"level": "ib"}, ("ib", "ia")),
        ({"gas_group": "IIB"}, ("IIB", "IIC")),
        ({"gas_epl": "Gb"}, ("Gb", "Ga")),
        ({"ambient_max_degc": "80 degC"}, ("80 degC", "70 degC")),
        ({"ambient_min_degc": "-50 degC"}, ("-50 degC", "-40 degC")),
        ({"temperature_classes": [{"temperature_class": "T6"}]}, ("T6", "T4")),
        ({"side": "source"}, ("gives energy", "no intrinsically safe circuit")),
    ],
)
def test_what_differs_is_told_with_both_and_stays(row: dict[str, Any], names: tuple[str, str]) -> None:
    data = item("II 1 G Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C", **row)
    (sentence,) = take_marking(data).differs
    assert all(name in sentence for name in names)
    assert {key: data["terminals"][0][key] for key in row} == row


@pytest.mark.parametrize("row", [{"ambient_max_degc": "60 degC"}, {"ambient_min_degc": "-20 °C"}, {"level": "ia"}])
def test_a_narrower_range_agrees(row: dict[str, str]) -> None:
    assert not take_marking(item("Ex ia IIC T4 Ga -40 °C ≤ Ta ≤ +70 °C", **row)).differs


def test_of_two_groups_a_person_chooses() -> None:
    data = item("Ex ia IIB/IIC T4 Ga")
    take_marking(data)
    assert "gas_group" not in data["terminals"][0]


def test_a_text_that_is_no_marking_is_refused() -> None:
    with pytest.raises(MarkingError, match="T9"):
        take_marking(item("Ex ia IIC T9 Ga"))


@pytest.mark.django_db
def test_the_button_reads_and_saves_nothing(
    device: Any, device_data: dict[str, Any], client_as: Callable[[str], Any]
) -> None:
    client = client_as("keeper")
    revisions = Revision.objects.count()
    row = device_data["terminals"][0]
    row |= {"level": "", "gas_group": "IIB"}
    form = flatten(device_data) | {"_read_marking": "1", "_version": str(device.version), "_reason": "Typed already"}
    page = client.post(f"/equipment/{device.pk}/edit/", form)
    text = page.content.decode()
    assert page.status_code == 200 and "Read from the marking, not saved yet" in text and "Typed already" in text
    assert "level of protection ia" in text
    assert "the gas group typed is IIB, the marking says IIC" in text
    refused = client.post(f"/equipment/{device.pk}/edit/", form | {"marking": "Ex ia IIC T9 Ga"})
    assert refused.status_code == 400 and "T9" in refused.content.decode()
    fresh = client.post("/equipment/new/", {"marking": "Ex ia IIC T4 Ga", "_read_marking": "1"})
    assert fresh.status_code == 200
    assert (Revision.objects.count(), Equipment.objects.count()) == (revisions, 1)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("level", "column", "epl", "group", "names"),
    [
        # ia earns a, ib b, ic c at the most (IEC 60079-0:2017, from memory)
        ("ia", "gas_epl", "Ga", "IIC", ()),
        ("ia", "gas_epl", "Gc", "IIC", ()),
        ("ib", "gas_epl", "Gb", "IIC", ()),
        ("ib", "gas_epl", "Ga", "IIC", ("Ga", "ib", "Gb")),
        ("ic", "dust_epl", "Db", "IIC", ("Db", "ic", "Dc")),
        ("ia", "gas_epl", "Ma", "I", ()),
        ("ia", "gas_epl", "Ma", "IIC", ("Ma", "IIC")),
        ("ia", "gas_epl", "Ga", "I", ("Ga", "group I")),
    ],
)
def test_an_epl_that_cannot_be_is_refused_with_both(
    level: str, column: str, epl: str, group: str, names: tuple[str, ...], device_data: dict[str, Any], save: Any
) -> None:
    device_data["terminals"][0] |= {"level": level, "gas_group": group, column: epl}
    if not names:
        assert getattr(save("equipment", device_data).terminals.get(), column) == epl
        return
    with pytest.raises(EntryRefused) as refused:
        save("equipment", device_data)
    (messages,) = refused.value.errors.values()
    assert all(name in str(messages) for name in names)


def test_a_class_of_the_marking_holds_up_to_the_ambient_that_is_typed() -> None:
    """A class without an ambient of its own holds over the whole range (IEC 60079-0:2017, clause 29, from memory)."""
    data = item("Ex ia IIC T4 Ga", temperature_classes=[], ambient_max_degc="70 degC")
    taken = take_marking(data)
    assert data["terminals"][0]["temperature_classes"] == [{"temperature_class": "T4", "ambient_max_degc": "70 degC"}]
    assert any("T4 up to 70 degC" in sentence for sentence in taken.filled)
    # What the marking itself says of the ambient comes first.
    data = item("Ex ia IIC T4 Ga Ta ≤ +60 °C", temperature_classes=[], ambient_max_degc="70 degC")
    take_marking(data)
    assert data["terminals"][0]["temperature_classes"][0]["ambient_max_degc"] == "60 degC"
