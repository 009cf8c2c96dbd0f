"""Simple apparatus: limits, heat and temperature class (-11:2011, 5.6 and 5.7, from memory)."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from loops.engine.case import UNKNOWN, Group, Output, Simple, SimpleKind
from loops.engine.checks.simple import DUST_POWER, T4_POWER, surface_margin, table_power
from loops.engine.findings import CONFIRM, FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Verdict
from loops.engine.verdict import judge

from . import make

SMALL, MIDDLE, LARGE = D("19e-6"), D("20e-6"), D("1001e-6")


def simple_verdicts(case: object) -> set[Verdict]:
    return {c.verdict for c in judge(case).checks if c.id == "simple_apparatus"}  # type: ignore[arg-type]


def test_passive_apparatus_by_the_t4_table() -> None:
    case = make.simple()
    assert make.verdict(case, "temperature_class") is PASS
    assert simple_verdicts(case) == {PASS}
    assert any("written justification" in remark.template for remark in judge(case).confirmations)


@pytest.mark.parametrize("ambient, power", T4_POWER)
def test_the_t4_table_at_and_above_its_power(ambient: D, power: D) -> None:
    case = make.area(make.source(make.simple(), po_w=power), ambient_max_c=ambient)
    assert make.verdict(case, "temperature_class") is PASS
    assert simple_verdicts(case) == {PASS}
    more = make.source(case, po_w=power + D("0.001"))
    assert make.verdict(more, "temperature_class") is INCOMPLETE
    assert FAIL in simple_verdicts(more)
    warmer = make.area(case, ambient_max_c=ambient + 1)
    assert make.verdict(warmer, "temperature_class") is INCOMPLETE


def test_between_rows_the_next_higher_ambient() -> None:
    assert table_power(T4_POWER, D("40.1")) == D("1.25")
    assert table_power(T4_POWER, D("-10")) == D("1.3")
    assert table_power(DUST_POWER, D(71)) == D("0.55")
    assert table_power(DUST_POWER, D(101)) is None


def test_above_the_table_nothing_is_said_without_a_thermal_resistance() -> None:
    case = make.area(make.simple(), ambient_max_c=D(81))
    assert simple_verdicts(case) == {PASS}
    assert make.verdict(case, "temperature_class") is INCOMPLETE


@pytest.mark.parametrize(
    "area, surface, verdict",
    [
        (SMALL, "275", PASS),
        (SMALL, "275.1", FAIL),
        (MIDDLE, "200", PASS),
        (MIDDLE, "200.1", FAIL),
        (D("1000e-6"), "200", PASS),
        (LARGE, "130", PASS),
        (LARGE, "130.1", FAIL),
        (UNKNOWN, "130", PASS),
        (UNKNOWN, "130.1", FAIL),
    ],
)
def test_t4_by_surface_temperature(area: D, surface: str, verdict: Verdict) -> None:
    """Power above the table, so that the surface decides."""
    rise = D(surface) - 40
    case = make.simple(surface_area_m2=area, power_w=D(2), thermal_resistance_k_per_w=rise / 2)
    assert make.verdict(case, "temperature_class") is verdict


@pytest.mark.parametrize(
    "name, limit, margin", [("T6", 85, 5), ("T5", 100, 5), ("T3", 200, 5), ("T2", 300, 10), ("T1", 450, 10)]
)
def test_margin_to_the_class(name: str, limit: int, margin: int) -> None:
    assert surface_margin(D(limit)) == margin
    case = make.area(
        make.simple(surface_area_m2=UNKNOWN, power_w=D(1), thermal_resistance_k_per_w=D(limit - margin - 40)),
        temperature_class=name,
        temperature_c=D(limit),
    )
    assert make.verdict(case, "temperature_class") is PASS
    assert make.verdict(make.area(case, ambient_max_c=D("40.01")), "temperature_class") is FAIL


def test_the_relief_for_small_surfaces_never_lowers_a_limit() -> None:
    case = make.area(
        make.simple(surface_area_m2=SMALL, power_w=D(1), thermal_resistance_k_per_w=D(400)),
        temperature_class="T1",
        temperature_c=D(450),
    )
    assert make.verdict(case, "temperature_class") is PASS
    middle = make.area(
        make.simple(surface_area_m2=MIDDLE, power_w=D(2), thermal_resistance_k_per_w=D("115")),
        temperature_class="T2",
        temperature_c=D(300),
    )
    assert make.verdict(middle, "temperature_class") is PASS


def test_no_relief_for_t5_and_better() -> None:
    case = make.area(
        make.simple(surface_area_m2=SMALL, power_w=D(1), thermal_resistance_k_per_w=D(60)),
        temperature_class="T5",
        temperature_c=D(100),
    )
    assert make.verdict(case, "temperature_class") is FAIL


def test_a_switch_that_dissipates_nothing_is_as_warm_as_its_ambient() -> None:
    case = make.area(
        make.simple(surface_area_m2=UNKNOWN, power_w=D(0)),
        temperature_class="T6",
        temperature_c=D(85),
        ambient_max_c=D(80),
    )
    assert make.verdict(case, "temperature_class") is PASS
    assert make.verdict(make.area(case, ambient_max_c=D(81)), "temperature_class") is FAIL
    assert any("cannot dissipate" in remark.template for remark in judge(case).confirmations)


def test_own_limit_above_the_source_needs_no_confirmation() -> None:
    case = make.simple(power_w=D("0.6"))
    assert not any("cannot dissipate" in remark.template for remark in judge(case).confirmations)


@pytest.mark.parametrize(
    "case",
    [
        make.area(make.simple(), ambient_max_c=UNKNOWN),
        make.area(make.simple(), temperature_c=None, temperature_class=None),
        make.source(make.simple(), po_w=UNKNOWN, output=Output.TRAPEZOIDAL),
    ],
)
def test_missing_heat_is_incomplete(case: object) -> None:
    assert make.verdict(case, "temperature_class") is INCOMPLETE  # type: ignore[arg-type]


def test_kind_must_be_known() -> None:
    assert simple_verdicts(make.simple(simple_kind=None)) == {INCOMPLETE}
    nothing = replace(make.CASE, devices=(replace(make.SIMPLE, simple=None),))
    assert simple_verdicts(nothing) == {INCOMPLETE}
    assert make.verdict(nothing, "temperature_class") is INCOMPLETE


@pytest.mark.parametrize("changes", [{"ci_f": UNKNOWN}, {"li_h": UNKNOWN}])
def test_stored_energy_needs_both_values(changes: dict[str, D]) -> None:
    case = make.simple(simple_kind=SimpleKind.STORED_ENERGY, **changes)
    assert INCOMPLETE in simple_verdicts(case)
    assert INCOMPLETE not in simple_verdicts(make.simple(simple_kind=SimpleKind.STORED_ENERGY))


def test_generated_power_is_not_what_it_dissipates() -> None:
    generating = Simple(SimpleKind.GENERATING, D(1), D("0.05"), D("0.01"), D("100e-6"))
    case = replace(make.CASE, devices=(replace(make.SIMPLE, simple=generating),))
    hot = make.source(case, po_w=D("1.4"))
    assert FAIL in simple_verdicts(hot)
    assert simple_verdicts(case) == {PASS}
    silent = replace(make.CASE, devices=(replace(make.SIMPLE, simple=replace(generating, voltage_v=UNKNOWN)),))
    assert INCOMPLETE in simple_verdicts(silent)


def test_assigned_class() -> None:
    """A class that the user assigns is judged as a table, and confirmed."""
    case = make.simple(temperature_classes=(make.T6,))
    assert make.verdict(case, "temperature_class") is PASS
    assert make.verdict(case, "ambient", "RTD") is CONFIRM
    ranged = make.simple(temperature_classes=(make.T6,), ambient_min_c=D(-40))
    assert make.verdict(ranged, "ambient", "RTD") is PASS
    assert any("assigned, not certified" in remark.template for remark in judge(case).confirmations)
    open_ambient = make.area(make.simple(), ambient_max_c=UNKNOWN)
    assert make.verdict(open_ambient, "ambient", "RTD") is NOT_APPLICABLE


def test_dust_has_its_own_power_table() -> None:
    dust = make.area(
        make.source(make.simple(), po_w=D("0.75")), zone="21", group=Group.IIIC, temperature_class="135 degC"
    )
    assert simple_verdicts(dust) == {PASS}
    assert FAIL in simple_verdicts(make.source(dust, po_w=D("0.751")))
    assert make.verdict(dust, "temperature_class") is INCOMPLETE
    warm = make.area(
        make.simple(surface_area_m2=SMALL, power_w=D(1), thermal_resistance_k_per_w=D(90)),
        zone="21",
        group=Group.IIIC,
        temperature_class="135 degC",
    )
    assert make.verdict(warm, "temperature_class") is PASS
    assert make.verdict(make.area(warm, ambient_max_c=D(41)), "temperature_class") is FAIL


def test_open_combination_leaves_the_power_open() -> None:
    sources = (make.SOURCE, replace(make.SOURCE, name="S2", output=Output.RECTANGULAR))
    assert make.verdict(replace(make.simple(), sources=sources), "temperature_class") is INCOMPLETE


def test_a_surface_that_is_too_hot_says_what_would_do() -> None:
    """T4 less 5 K is 130 degC: 90 K above 40 degC, at 45 K/W from 2 W, or at 20 K/W with 4.5 W."""
    case = make.simple(surface_area_m2=UNKNOWN, power_w=D(4), thermal_resistance_k_per_w=D(45))
    cure = make.of(case, "temperature_class").cure
    assert cure is not None and cure.operands == (D(2), D("22.5"))
    assert (
        make.verdict(
            make.simple(surface_area_m2=UNKNOWN, power_w=D(2), thermal_resistance_k_per_w=D(45)), "temperature_class"
        )
        is PASS
    )
    hot = make.simple(surface_area_m2=UNKNOWN, power_w=D(0), thermal_resistance_k_per_w=D(45))
    hot = replace(hot, area=replace(hot.area, ambient_max_c=D(150)))
    cure = make.of(hot, "temperature_class").cure
    assert cure is not None and cure.operands == (D(130),)
