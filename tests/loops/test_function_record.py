"""What a device needs to work, as a record: through the service, the page's form, the API and the table of an import.

Limits: IEC 60947-5-6 (line of at most 50 ohm) as in an extract of AS/NZS IEC 60947.5.6:2015; IEC 60228:2004, Table 1
(1.5 mm2 has 12.1 ohm/km a core); HART of at least 230 ohm and at most 65 us as in published manuals. Copper at the
40 degC of the area has 1 + 0.00393 * 20 times its resistance at 20 degC.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal as D
from typing import Any

import pytest

from loops.engine.conductors import LOOP_OHM_PER_M_BY_NAME
from registry.entries import AreaEntry, CableTypeEntry, TemperatureEntry, TerminalsEntry
from registry.models import CableType
from registry.reading import read_entry
from tests.conftest import CABLE_TYPE

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
