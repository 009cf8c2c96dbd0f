"""Function: voltage budgets, resistances, HART, proximity sensors, solenoids.

Figures marked [S] are printed in the source named beside them, [D] worked out from it.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from loops.engine.case import UNKNOWN, Case, Needs, Parameter, Supply
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Verdict
from loops.engine.function import (
    AWG_LOOP_OHM_PER_FT,
    IEC_60228_CLASS_2_OHM_PER_M,
    IEC_60228_CLASS_5_OHM_PER_M,
    hart_time_constant,
    hart_works,
    proximity_sensor_state,
    proximity_sensor_works,
    signal_state,
    solenoid_current,
    solenoid_works,
)
from loops.engine.totals import resistance_at
from loops.engine.verdict import judge

from . import make

BARRIER = make.area(make.source(isolated=False, supply=Supply(D(24), resistance_ohm=D(340))), ambient_max_c=D(20))


def function(case: Case) -> Verdict:
    return judge(case).function.verdict


def test_barrier_budget_at_its_limit() -> None:
    """24 V - 22 mA * (340 + 250 + 7.26) ohm."""
    left = D(24) - D("0.022") * (340 + 250 + D("7.26"))
    case = make.device(BARRIER, needs=Needs(left, D("0.022")))
    found = judge(case).function
    assert (found.verdict, found.voltage_at_device_v, found.voltage_needed_v) == (PASS, left, left)
    assert function(make.device(BARRIER, needs=Needs(left + D("1e-9"), D("0.022")))) is FAIL


def test_both_ends_are_checked() -> None:
    """At 4 mA the device may need more than the source's open voltage leaves."""
    at_4 = D(24) - D("0.004") * (340 + 250 + D("7.26"))
    assert function(make.device(BARRIER, needs=Needs(D(5), D("0.022"), at_4))) is PASS
    found = judge(make.device(BARRIER, needs=Needs(D(5), D("0.022"), at_4 + D("1e-6")))).function
    assert found.verdict is FAIL
    assert found.why.operands[2] == D("0.004")


def test_alarm_current_is_22_ma_where_none_is_given() -> None:
    case = make.device(BARRIER, needs=Needs(D("10.9")))
    assert judge(case).function.voltage_at_device_v == D(24) - D("0.022") * D("597.26")


def test_isolator_voltage_at_20_ma() -> None:
    """Flat up to 20 mA, then falling with Ro; its load is on the other side."""
    case = make.area(ambient_max_c=D(20))
    assert judge(case).function.voltage_at_device_v == D("15.8") - D("0.002") * 265 - D("0.022") * D("7.26")
    low = make.device(case, needs=Needs(D(11), D("0.02")))
    assert judge(low).function.voltage_at_device_v == D("15.8") - D("0.02") * D("7.26")
    earthed = make.source(case, isolated=False)
    assert judge(earthed).function.voltage_at_device_v == D("15.8") - D("0.53") - D("0.022") * D("257.26")
    by_uo_io = make.source(case, ro_ohm=UNKNOWN)
    assert function(by_uo_io) is PASS
    assert function(make.source(by_uo_io, io_a=UNKNOWN)) is INCOMPLETE


@pytest.mark.parametrize(
    "case",
    [
        make.source(BARRIER, supply=None),
        make.source(BARRIER, supply=Supply(D(24))),
        replace(BARRIER, load_resistance_ohm=UNKNOWN),
        replace(BARRIER, cables=None),
        make.cable(BARRIER, length_m=UNKNOWN),
        make.device(BARRIER, needs=Needs()),
        make.device(make.source(BARRIER, supply=None), needs=Needs()),
        replace(BARRIER, sources=(make.SOURCE, replace(make.SOURCE, name="S2"))),
    ],
)
def test_an_unknown_part_leaves_function_open(case: Case) -> None:
    assert function(case) is INCOMPLETE


def test_only_the_voltage_at_4_ma_is_unknown() -> None:
    case = make.device(BARRIER, needs=Needs(UNKNOWN, D("0.02"), D(5)))
    assert function(case) is INCOMPLETE


def test_what_is_known_may_already_starve_the_device() -> None:
    case = replace(make.device(BARRIER, needs=Needs(D(20), D("0.022"))), load_resistance_ohm=UNKNOWN)
    assert function(case) is FAIL


def test_no_needs_no_function() -> None:
    assert function(make.device(needs=None)) is NOT_APPLICABLE


def test_inline_items_take_their_share() -> None:
    inline = replace(make.DEVICE, name="SPD", needs=None, series_resistance_ohm=D(20), voltage_drop_v=D("1.3"))
    plain = judge(BARRIER).function.voltage_at_device_v
    less = judge(replace(BARRIER, devices=(*BARRIER.devices, inline))).function.voltage_at_device_v
    assert plain is not None and less is not None
    assert plain - less == D("1.3") + D("0.44")


def test_several_devices_share_the_line() -> None:
    """[S] HART guide: 25 V, 340 + 250 ohm, four devices of 4 mA: 15.5 V are left (exactly 15.56)."""
    devices = tuple(replace(make.DEVICE, name=f"D{n}", needs=Needs(D(12), D("0.004"))) for n in range(4))
    case = make.cable(
        replace(make.source(BARRIER, supply=Supply(D(25), resistance_ohm=D(340))), devices=devices), length_m=D(0)
    )
    assert judge(case).function.voltage_at_device_v == D("15.56")


def test_warm_copper() -> None:
    """[D] 12.1 ohm/km at 20 degC are 14.5 at 70 degC; [S] factors to 20 degC 0.926, 0.862, 0.833 (uecables.com)."""
    for temperature, factor in ((40, "0.926"), (60, "0.862"), (70, "0.833")):
        assert float(1 / resistance_at(D(1), D(temperature))) == pytest.approx(float(factor), rel=0.005)
    warm, cool = judge(make.CASE).function, judge(make.area(ambient_max_c=D(20))).function
    assert warm.voltage_at_device_v < cool.voltage_at_device_v  # type: ignore[operator]
    assert judge(make.area(ambient_max_c=UNKNOWN)).function == cool


def test_unknown_resistance_takes_thin_copper_and_says_so() -> None:
    case = make.cable(BARRIER, resistance_ohm_per_m=UNKNOWN)
    found = judge(case)
    assert found.function.voltage_at_device_v == D(24) - D("0.022") * (590 + D("21.6"))
    assert any("assumed for function" in remark.template for remark in found.confirmations)
    assert not any("assumed" in r.template for r in judge(make.device(case, needs=None)).confirmations)


def test_conductor_resistances_fall_with_the_section() -> None:
    """[S] IEC 60228: 1.5 mm2 of class 2 has 12.1 ohm/km; class 5 has more."""
    for table in (IEC_60228_CLASS_2_OHM_PER_M, IEC_60228_CLASS_5_OHM_PER_M):
        assert list(table.values()) == sorted(table.values(), reverse=True)
    assert IEC_60228_CLASS_2_OHM_PER_M[D("1.5")] == D("0.0121")
    assert all(IEC_60228_CLASS_5_OHM_PER_M[size] > value for size, value in IEC_60228_CLASS_2_OHM_PER_M.items())
    # [S] 18 AWG: 0.042 ohm/m for the loop (Fisher DVC6000 manual p. 2-30) and 0.0128 ohm/ft (Micro Motion 5700 p. 10)
    assert float(AWG_LOOP_OHM_PER_FT[18]) / 0.3048 == pytest.approx(0.042, rel=0.01)


def test_hart() -> None:
    """[S] Siemens CLS500 p. 30: (250 + 7.36) ohm and 78 nF make 20 us."""
    assert float(hart_time_constant(D("257.36"), D("78e-9"))) == pytest.approx(20e-6, rel=0.01)
    # [S] Tamron MST2000 p. 26: 250 ohm allow 0.26 uF, 360 ohm 0.18 uF.
    assert hart_works(D(250), D("0.26e-6"), D(250)) is PASS
    assert hart_works(D(250), D("0.260001e-6"), D(250)) is FAIL
    assert hart_works(D(360), D("0.18e-6"), D(230)) is PASS
    assert hart_works(D(360), D("0.18e-6"), D("229.9")) is FAIL


@pytest.mark.parametrize("values", [(UNKNOWN, D(0), D(250)), (D(1), UNKNOWN, D(250)), (D(1), D(0), UNKNOWN)])
def test_hart_unknown(values: tuple[Parameter, Parameter, Parameter]) -> None:
    assert hart_works(*values) is INCOMPLETE


def test_proximity_sensor() -> None:
    """[S] IEC 60947-5-6: line of at most 50 ohm; [D] the loop of 147.6 ohm that is safe does not work."""
    assert proximity_sensor_works(D(50)) is PASS
    assert proximity_sensor_works(D("50.0001")) is FAIL
    assert proximity_sensor_works(D("147.6")) is FAIL
    assert proximity_sensor_works(UNKNOWN) is INCOMPLETE
    assert [proximity_sensor_state(D(x)) for x in ("0.0012", "0.00121", "0.00209", "0.0021")] == [
        "off",
        "between",
        "between",
        "on",
    ]


def test_signal_states() -> None:
    """[S] NAMUR NE 43."""
    states = {x: signal_state(D(x)) for x in ("0.0036", "0.00361", "0.0038", "0.0205", "0.0206", "0.021")}
    assert list(states.values()) == ["failure", "between", "measuring", "measuring", "between", "failure"]


def test_solenoid() -> None:
    """Warm copper takes less current: a coil of 400 ohm at 80 degC has 494.3 ohm."""
    cold = solenoid_current(D(24), D(300), D(20), D(400), D(20))
    warm = solenoid_current(D(24), D(300), D(20), D(400), D(80))
    assert float(cold) == pytest.approx(24 / 720)
    assert float(warm) == pytest.approx(24 / (320 + 400 * 1.2358))
    assert solenoid_works(cold, D("0.030")) is PASS
    assert solenoid_works(warm, D("0.030")) is FAIL
    assert solenoid_works(D("0.03"), D("0.03")) is PASS
    assert solenoid_works(UNKNOWN, D(1)) is solenoid_works(D(1), UNKNOWN) is INCOMPLETE


def test_the_worse_end_is_the_one_that_is_told() -> None:
    at_4 = D(24) - D("0.004") * D("597.26")
    found = judge(make.device(BARRIER, needs=Needs(D(5), D("0.022"), at_4 - D("0.1")))).function
    assert (found.verdict, found.voltage_at_device_v, found.voltage_needed_v) == (PASS, at_4, at_4 - D("0.1"))
