"""Sources for devices, area and cable: against published lengths, and why the others fail."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from loops.engine.findings import Verdict
from loops.services.suitability.proposals import Asked, propose_sources
from registry.fields import Reading
from registry.quantities import Kind
from tests.loops.suitability.test_answers import other  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db


def length(text: str) -> Reading:
    return Reading.of(text, Kind.LENGTH)


@pytest.fixture
def supply(save: Any, source_data: dict[str, Any]) -> Any:
    """`supply("NB-1", rows=[…], uo_v="24 V")`: a source with some values changed."""

    def make(name: str, rows: list[dict[str, str]] | None = None, **values: str) -> Any:
        terminals = source_data["terminals"][0] | values | ({"permitted": rows} if rows else {})
        return save("equipment", source_data | {"type_name": name, "terminals": [terminals]})

    return make


def longest(asked: Asked, name: str) -> int | None:
    offers = propose_sources(asked)
    every = [*offers.serving, *offers.unsure, *(item for rows in offers.failing.values() for item in rows)]
    return next(item.longest for item in every if item.candidate.name.endswith(name))


def test_a_published_length_by_the_default_cable(supply: Any, other: Any, area: Any) -> None:  # noqa: F811
    """28 V, 93 mA, 0.083 uF, 3.05 mH with a detector of Ci = Li = 0: 0.083 uF / 200 pF/m = 415 m.

    Published in a manual of a gas detector (Series 3000 MkIII Technical Manual, section 6.2).
    """
    supply("GD", [{"group": "IIC", "co_f": "0.083 uF", "lo_h": "3.05 mH"}], supply_at_20ma_v="24 V")
    detector = other("GD-1", ci_f="0 F", li_h="0 H", needs_v="5 V").terminals.get()
    assert longest(Asked([detector], area), "GD") == 415


def test_a_published_length_of_a_fire_cable(supply: Any, other: Any, area: Any, save: Any) -> None:  # noqa: F811
    """0.083 uF, 4.2 mH, 55 uH/ohm; a detector of 0.03 uF; 0.21 uF/km core to sheath: 53 nF / 0.21 = 252 m.

    Values published in a manual of fire detectors (2-3-0-809 issue 2, 2007, tables 6 and 7); L/R is 22.1 uH/ohm.
    """
    cable = {"name": "MI 1.5", "capacitance_f_per_m": "0.21 uF/km", "inductance_h_per_m": "0.534 mH/km"}
    cable |= {"inductance_is": "loop", "resistance_ohm_per_m": "12.1 ohm/km", "resistance_is": "per_core"}
    kind = save("cable_type", cable)
    supply("FD", [{"group": "IIC", "co_f": "0.083 uF", "lo_h": "4.2 mH", "lo_ro_h_per_ohm": "55 uH/ohm"}])
    detector = other("FD-1", ci_f="0.03 uF", li_h="0 H", needs_v="5 V").terminals.get()
    assert longest(Asked([detector], area, kind), "FD") == 252


def test_several_detectors_on_one_barrier_leave_less_cable(supply: Any, other: Any, area: Any, save: Any) -> None:  # noqa: F811
    """110 nF, detectors of 16.5 nF, 120 nF/km: 779 m for one, 504 m for three, 229 m for five, none for seven.

    Worked out from the values of a detector's manual (TUN-38Ex, page 4), which says: in practice not more than five.
    """
    cable = {"name": "120 nF", "capacitance_f_per_m": "120 nF/km", "inductance_h_per_m": "0.7 mH/km"}
    kind = save("cable_type", cable | {"inductance_is": "loop", "resistance_ohm_per_m": "1 ohm/km"})
    values = {"uo_v": "25 V", "io_a": "99 mA", "po_w": "0.613 W", "supply_at_20ma_v": "24 V"}
    supply("FD", [{"group": "IIC", "co_f": "110 nF", "lo_h": "2.5 mH", "lo_ro_h_per_ohm": "1 mH/ohm"}], **values)
    inputs = {"ui_v": "25 V", "ii_a": "99 mA", "pi_w": "0.613 W", "ci_f": "16.5 nF", "li_h": "0 H"}
    detector = other("FD-1", **inputs, needs_v="", needs_max_a="").terminals.get()
    found = [longest(Asked([detector] * count, area, kind), "FD") for count in (1, 3, 5, 7)]
    assert found == [779, 504, 229, None]


def test_function_may_set_the_length(supply: Any, other: Any, area: Any, cable_type: Any) -> None:  # noqa: F811
    """17 V at 20 mA, 301 ohm: 16.398 V at 22 mA; 15 V needed; both cores 24.2 ohm/km at 40 degC 26.1 ohm/km.

    1.398 V / (22 mA * 26.102 ohm/km) = 2434.5 m; capacitance would allow over 3 km.
    """
    supply("F", [{"group": "IIC", "co_f": "400 nF", "lo_h": "50 mH", "lo_ro_h_per_ohm": "55 uH/ohm"}])
    device = other("T-1", needs_v="15 V").terminals.get()
    offers = propose_sources(Asked([device], area, cable_type))
    item = next(item for item in offers.serving if item.candidate.name.endswith(" F"))
    assert (item.longest, item.limited_by) == (2434, "function")


def test_the_page_says_what_sets_the_longest_cable(
    supply: Any,
    other: Any,  # noqa: F811
    area: Any,
    site: Any,
    cable_type: Any,
    client_as: Any,
) -> None:
    """Over 20 km 110 nF/km are 2.2 uF of 100 uF, 0.65 mH/km are 13 mH of 100 mH: nothing limits it that far.

    What needs 15 V has 2434 m of it by its voltage (see above).
    """
    supply("LOW", [{"group": "IIC", "co_f": "100 uF", "lo_h": "100 mH", "lo_ro_h_per_ohm": "55 uH/ohm"}], uo_v="5 V")
    supply("F", [{"group": "IIC", "co_f": "400 nF", "lo_h": "50 mH", "lo_ro_h_per_ohm": "55 uH/ohm"}])
    asked = {"area": f"{site.code}: {area.name}", "cable_type": cable_type.name}
    free, wanting = other("T-0", needs_v="", needs_max_a=""), other("T-1", needs_v="15 V")
    page = client_as("planner").get(reverse("suits_sources"), asked | {"device": f"{free}, +/-"}).content.decode()
    assert "cable of at least <strong>20000 m</strong></span>" in page
    page = client_as("planner").get(reverse("suits_sources"), asked | {"device": f"{wanting}, +/-"}).content.decode()
    assert 'cable up to <strong>2434 m</strong> <span class="soft">(function)</span>' in page


def test_sources_stand_by_what_they_leave_and_fail_by_reason(
    source: Any,
    supply: Any,
    other: Any,  # noqa: F811
    area: Any,
    cable_type: Any,
) -> None:
    supply("STRONG", uo_v="31 V")
    supply("POOR", [{"group": "IIC", "co_f": "20 nF", "lo_h": "4.2 mH"}])
    supply("WEAK", supply_at_20ma_v="10 V")
    supply("OPEN", supply_at_20ma_v="")
    supply("IIB", [{"group": "IIB", "co_f": "650 nF", "lo_h": "12 mH"}])
    supply("MILD", uo_v="24 V")
    device = other("T-1").terminals.get()
    offers = propose_sources(Asked([device], area, cable_type, length("300 m")))
    assert [item.candidate.item["type_name"] for item in offers.serving] == ["MILD", "NB-28"]
    failing = {word: [item.candidate.item["type_name"] for item in rows] for word, rows in offers.failing.items()}
    assert failing == {
        "voltage": ["STRONG"],
        "capacitance": ["POOR"],
        "function": ["WEAK"],
        "open function": ["OPEN"],
        "group": ["IIB"],
    }
    poor = offers.failing["capacitance"][0]
    assert poor.longest is None  # rejected before its length is asked for
    assert "above the 20 nF permitted" in poor.why


def test_without_needs_the_function_is_not_judged(source: Any, other: Any, area: Any) -> None:  # noqa: F811
    device = other("T-1", needs_v="", needs_max_a="").terminals.get()
    offers = propose_sources(Asked([device], area))
    assert offers.serving == []
    assert [item.works for item in offers.unsure] == [Verdict.NOT_APPLICABLE]


def test_the_page_answers_and_loses_nothing(source: Any, device: Any, area: Any, site: Any, client_as: Any) -> None:
    client = client_as("planner")
    asked = {"device": f"{device}, +/-", "area": f"{site.code}: {area.name}", "length_m": "300 m", "load_ohm": "0 ohm"}
    page = client.get(reverse("suits_sources"), asked).content.decode()
    assert "Northlight Barriers NB-28" in page and "licensed practice decide" in page
    wrong = client.get(reverse("suits_sources"), asked | {"length_m": "300"})
    assert wrong.status_code == 400
    assert 'value="300"' in wrong.content.decode() and "300 m" in wrong.content.decode()
    assert client.get(reverse("suits_sources"), {"device": ""}).status_code == 400
    assert client_as("neighbour").get(reverse("suits_sources"), asked).status_code == 403
