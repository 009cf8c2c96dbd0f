"""What a device needs to work, as a record: through the service, the page's form, the API and the table of an import.

Limits: IEC 60947-5-6 (line of at most 50 ohm) as in an extract of AS/NZS IEC 60947.5.6:2015; IEC 60228:2004, Table 1
(1.5 mm2 has 12.1 ohm/km a core); HART of at least 230 ohm and at most 65 us as in published manuals. Copper at the
40 degC of the area has 1 + 0.00393 * 20 times its resistance at 20 degC.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal as D
from typing import Any

import pytest
from django.utils.html import escape

from loops.engine.conductors import LOOP_OHM_PER_M_BY_NAME
from loops.models import Loop
from registry.entries import AreaEntry, CableTypeEntry, TemperatureEntry, TerminalsEntry
from registry.models import CableType, Terminals
from registry.reading import read_entry
from registry.services.imports import import_file
from registry.services.records import Author
from tests.conftest import CABLE_TYPE
from tests.registry.exchange.tables import filed

pytestmark = pytest.mark.django_db
WARM = 1 + D("0.00393") * 20


@pytest.fixture
def judged(
    save: Callable[..., Any], device_data: dict[str, Any], loop_data: Callable[..., Any], make_loop: Callable[..., Any]
) -> Callable[..., dict[str, Any]]:
    """The stored function verdict of a loop whose device and cable differ in what is given."""

    def build(
        terminals: dict[str, Any], *, length: str = "300 m", cable: dict[str, str] | None = None, **loop: Any
    ) -> dict[str, Any]:
        device_data["type_name"] = "SP-X"
        device_data["terminals"][0] |= {"needs_v": "", "needs_max_a": ""} | terminals
        data = loop_data(tag="FX-1", length=length, **loop)
        data["circuits"][0]["members"][1]["terminals"] = str(save("equipment", device_data).terminals.get().pk)
        if cable is not None:
            kind = save("cable_type", CABLE_TYPE | {"name": "Pair X"} | cable)
            data["circuits"][0]["cables"][0]["cable_type"] = str(kind.pk)
        verification = make_loop(**data).verifications.latest("pk")
        result: dict[str, Any] = verification.results[0]
        return result

    return build


def test_a_safe_proximity_sensor_too_far_away(judged: Callable[..., dict[str, Any]]) -> None:
    """Both cores of 1 km have 24.2 ohm at 20 degC: 26.1 ohm at 40 degC; 1 km more is over 50 ohm."""
    works = judged({"needs_kind": "proximity_sensor"}, length="500 m")
    assert works["function"]["verdict"] == "pass"
    assert works["function"]["parts"][0]["name"] == "line_resistance"


def test_two_verdicts_of_one_loop(judged: Callable[..., dict[str, Any]]) -> None:
    cable = {"capacitance_f_per_m": "10 nF/km", "inductance_h_per_m": "0.1 mH/km"}
    result = judged({"needs_kind": "proximity_sensor"}, length="2000 m", cable=cable)
    assert (result["verdict"], result["function"]["verdict"]) == ("complies", "fail")


def test_hart_over_an_isolator_that_does_not_say_what_it_presents(judged: Callable[..., dict[str, Any]]) -> None:
    function = judged({"needs_v": "11 V", "needs_max_a": "20 mA", "hart": "on"})["function"]
    assert function["verdict"] == "incomplete"
    assert [part["verdict"] for part in function["parts"]] == ["pass", "pass", "incomplete", "incomplete"]


def test_a_solenoid_with_its_coil_warm(judged: Callable[..., dict[str, Any]]) -> None:
    coil = {"needs_kind": "solenoid", "pull_in_a": "37 mA", "coil_ohm": "270 ohm", "coil_max_degc": "80 degC"}
    part = judged(coil)["function"]["parts"][0]
    line, warm = D("7.26") * WARM, 270 * (1 + D("0.00393") * 60)
    assert part["name"] == "solenoid_current"
    assert float(part["value"].removesuffix(" mA")) == pytest.approx(
        float((17 + D("0.02") * 301) / (line + warm + 301) * 1000), rel=1e-3
    )


def test_a_conductor_stands_in_for_resistance(judged: Callable[..., dict[str, Any]]) -> None:
    result = judged({"needs_kind": "proximity_sensor"}, cable={"resistance_ohm_per_m": "", "conductor": "1.5 mm2"})
    assert result["function"]["parts"][0]["value"] == "7.831 ohm"  # 300 m * 24.2 ohm/km * 1.0786, upwards
    assert any("its conductor, 1.5 mm2" in text for text in result["confirmations"])


def test_the_loop_page_tells_part_by_part(
    client_as: Callable[[str], Any], judged: Callable[..., dict[str, Any]]
) -> None:
    result = judged({"needs_v": "11 V", "needs_max_a": "20 mA", "hart": "on"})
    page = client_as("designer").get(f"/loops/{Loop.objects.get(tag='FX-1').pk}/").content.decode()
    for words in (
        "Will it work?",
        "Voltage at 4 mA",
        "Voltage at the highest current",
        "HART time constant",
        "HART load",
    ):
        assert words in page
    for part in result["function"]["parts"]:
        assert escape(part["why"]) in page and escape(part["reference"]) in page
    case = client_as("designer").get(f"/api/v1/loops/{Loop.objects.get(tag='FX-1').pk}/case/").json()
    assert case["devices"][0]["needs"] == {"voltage_min": "11 V", "current_max": "20 mA", "hart": True}
    answer = client_as("designer").post("/api/v1/verify/", json.dumps(case), content_type="application/json")
    assert answer.json()["function"]["verdict"] == result["function"]["verdict"] == "incomplete"


def test_a_table_brings_what_a_device_needs(people: Any, certificate: Any) -> None:
    row = {
        "kind": "field_device", "maker": "Sandpiper Instruments", "type": "SV-9", "terminals": "1-2", "side": "device",
        "works as": "Solenoid", "pull-in current": "37 mA", "coil resistance at 20 °C": "270 ohm",
        "highest temperature of the coil": "80 degC", "fixed voltage drop": "0.7 V", "temperature class 1": "T4",
        "temperature class 1 Ta max": "70 degC", "temperature class 1 Pi": "0.5 W",
    }  # fmt: skip
    author = Author(people["keeper"])
    assert import_file(filed([row]), author, kind="equipment", commit=True).faults == ()
    terminals = Terminals.objects.get(equipment__type_name="SV-9")
    assert (terminals.needs_kind, terminals.pull_in_a_text, terminals.coil_ohm_text) == ("solenoid", "37 mA", "270 ohm")
    assert (terminals.coil_max_degc_text, terminals.drop_v_text) == ("80 degC", "0.7 V")
    assert terminals.temperature_classes.get().pi_w_text == "0.5 W"
    foreign = import_file(filed([row | {"type": "SV-10", "HART": "yes"}]), author, kind="equipment", commit=True)
    assert [fault.column for fault in foreign.faults] == ["HART"]
    cable = {"name": "Pair 18", "conductor": "18 AWG", "Lc is of": "loop", "Rc is of": "loop"}
    assert import_file(filed([cable]), author, kind="cable_type", commit=True).faults == ()
    assert CableType.objects.get(name="Pair 18").conductor == "18 AWG"


def test_every_conductor_of_the_register_is_known_to_the_rules() -> None:
    assert {name for name, _ in CableType.CONDUCTORS} == set(LOOP_OHM_PER_M_BY_NAME)


TERMINALS = {"name": "1-2", "side": "device"}


@pytest.mark.parametrize(
    ("values", "fault"),
    [
        ({"hart": "on", "needs_v": "11 V"}, None),
        ({"needs_kind": "solenoid", "hart": "on"}, "hart"),
        ({"needs_kind": "proximity_sensor", "needs_v": "7 V"}, "needs_v"),
        ({"pull_in_a": "37 mA"}, "pull_in_a"),
        ({"needs_kind": "solenoid", "pull_in_a": "37 mA", "coil_ohm": "270 ohm", "coil_max_degc": "80 degC"}, None),
        ({"needs_kind": "solenoid", "coil_ohm": "0 ohm"}, "coil_ohm"),
        ({"needs_kind": "motor"}, "needs_kind"),
        ({"drop_v": "not stated"}, "drop_v"),
        ({"drop_v": "1.3 V"}, None),
        ({"supply_hart_ohm": "250 ohm"}, "supply_hart_ohm"),
        ({"supply_hart_ohm": "250 ohm", "supply_at_20ma_v": "15 V"}, None),
    ],
)
def test_what_cannot_be_true_together_is_refused(values: dict[str, str], fault: str | None) -> None:
    _, errors = read_entry(TerminalsEntry, TERMINALS | values)
    assert set(errors) == ({fault} if fault else set())


def test_rows_and_cables_refuse_what_is_no_value() -> None:
    row = {"temperature_class": "T4", "ambient_max_degc": "60 degC", "pi_w": "0 W"}
    assert set(read_entry(TemperatureEntry, row)[1]) == {"pi_w"}
    assert set(read_entry(CableTypeEntry, CABLE_TYPE | {"conductor": "1.6 mm2"})[1]) == {"conductor"}


def test_an_area_of_class_ii_may_have_a_t_code(site: Any) -> None:
    """NEC 500.8(C) (from memory): T codes mark equipment for class II too. A dust zone keeps its temperature."""
    area = {"site": str(site.pk), "name": "Silo", "group": "G", "temperature_class": "T4"}
    assert read_entry(AreaEntry, area | {"nec_class": "II", "division": "1"})[1] == {}
    assert read_entry(AreaEntry, area | {"nec_class": "II", "division": "1", "temperature_class": "135 degC"})[1] == {}
    assert set(read_entry(AreaEntry, area | {"zone": "21", "group": "IIIC"})[1]) == {"temperature_class"}
    assert set(
        read_entry(
            AreaEntry, area | {"nec_class": "I", "division": "1", "group": "C", "temperature_class": "135 degC"}
        )[1]
    ) == {"temperature_class"}
