"""Function: voltage budgets, resistances, HART, proximity sensors, solenoids.

Figures marked [S] are printed in the source named beside them, [D] worked out from it.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest

from loops.engine.case import NOT_STATED, UNKNOWN, Case, DeviceKind, Needs, NeedsKind, Screen, Supply
from loops.engine.conductors import (
    AWG_LOOP_OHM_PER_M,
    IEC_60228_CLASS_2_OHM_PER_M,
    IEC_60228_CLASS_5_OHM_PER_M,
    LOOP_OHM_PER_M_BY_NAME,
)
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, FunctionPart, Verdict
from loops.engine.signals import proximity_sensor_state, signal_state
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
    assert float(AWG_LOOP_OHM_PER_M[18]) == pytest.approx(0.042, rel=0.01)
    assert list(AWG_LOOP_OHM_PER_M.values()) == sorted(AWG_LOOP_OHM_PER_M.values())


# ------------------------------------------------------------------------------------------------------------- HART

HART = make.cable(
    make.device(BARRIER, needs=Needs(D(5), D("0.022"), hart=True), ci_f=D("68e-9")), capacitance_f_per_m=D(0)
)


def part(case: Case, name: str) -> FunctionPart:
    return next(row for row in judge(case).function.parts if row.name == name)


def test_no_hart_no_part() -> None:
    assert [row.name for row in judge(BARRIER).function.parts] == ["voltage_at_4mA", "voltage_at_highest_current"]
    assert [row.name for row in judge(HART).function.parts][2:] == ["hart_rc", "hart_load"]


def test_hart_time_constant_at_its_limit() -> None:
    """R: 340 + 250 ohm and the line of 7.26 ohm; C: Ci with the cable. [S] at most 65 us."""
    ohm = D("597.26")
    found = part(HART, "hart_rc")
    assert (found.verdict, found.value, found.limit) == (PASS, ohm * D("68e-9"), D("65e-6"))
    exact = make.source(
        make.cable(replace(HART, load_resistance_ohm=D(250)), length_m=D(0)), supply=Supply(D(24), resistance_ohm=D(0))
    )
    at_limit = make.device(exact, ci_f=D("0.26e-6"))  # [S] Tamron MST2000 p. 26: 250 ohm allow 0.26 uF
    assert part(at_limit, "hart_rc").verdict is PASS
    assert function(at_limit) is PASS
    beyond = make.device(exact, ci_f=D("0.260001e-6"))
    assert part(beyond, "hart_rc").verdict is FAIL
    found_function = judge(beyond).function
    assert found_function.verdict is FAIL
    assert found_function.why == part(beyond, "hart_rc").why
    assert found_function.voltage_needed_v == D(5)


def test_inline_items_and_cable_count_for_hart() -> None:
    inline = replace(make.DEVICE, name="SPD", needs=None, series_resistance_ohm=D(20), ci_f=D("1e-9"))
    case = replace(make.cable(HART, capacitance_f_per_m=D("100e-12")), devices=(*HART.devices, inline))
    cable = case.cables[0].length_m * D("100e-12")  # type: ignore[index,operator]
    assert part(case, "hart_rc").value == D("617.26") * (D("69e-9") + cable)


@pytest.mark.parametrize(
    ("case", "missing"),
    [
        (make.device(HART, ci_f=UNKNOWN), "Ci of D1"),
        (make.source(HART, supply=Supply(UNKNOWN, D(18), UNKNOWN)), "end-to-end resistance of S1"),
        (make.source(HART, supply=None), "end-to-end resistance of S1"),
        (make.cable(HART, length_m=UNKNOWN), "cable lengths"),
        (replace(HART, cables=None), "cable lengths"),
        (replace(HART, load_resistance_ohm=UNKNOWN), "load resistance"),
    ],
)
def test_unknown_parts_leave_hart_open(case: Case, missing: str) -> None:
    found = part(case, "hart_rc")
    assert found.verdict is INCOMPLETE
    assert missing in str(found.why.operands[0])
    assert function(case) is INCOMPLETE


def test_what_is_known_may_already_be_too_much_for_hart() -> None:
    case = replace(make.device(HART, ci_f=D("1e-6")), load_resistance_ohm=UNKNOWN)
    assert part(case, "hart_rc").verdict is FAIL
    assert function(case) is FAIL


def test_hart_load() -> None:
    """[S] at least 230 ohm."""
    assert part(replace(HART, load_resistance_ohm=D(230)), "hart_load").verdict is PASS
    less = replace(HART, load_resistance_ohm=D("229.9"))
    assert part(less, "hart_load").verdict is FAIL
    assert function(less) is FAIL
    assert part(replace(HART, load_resistance_ohm=UNKNOWN), "hart_load").verdict is INCOMPLETE


def test_hart_behind_an_isolator_reads_across_the_isolator() -> None:
    """The load of the safe side takes no part; what the isolator presents does."""
    case = make.source(HART, isolated=True, supply=Supply(UNKNOWN, D(18), D(1), D(250)))
    case = replace(case, load_resistance_ohm=D(1))
    assert part(case, "hart_load").value == D(250)
    assert part(case, "hart_rc").value == D("257.26") * D("68e-9")
    unknown = make.source(case, supply=Supply(UNKNOWN, D(18)))
    assert part(unknown, "hart_load").verdict is INCOMPLETE
    assert part(unknown, "hart_load").why.operands[0] == "resistance that S1 presents to HART"
    assert part(make.source(case, isolated=False), "hart_load").value == D(1)
    # screen figures: an isolated circuit takes half of the core to screen capacitance, an earthed one all of it
    cored = make.cable(
        case,
        capacitance_f_per_m=UNKNOWN,
        core_core_f_per_m=D("1e-10"),
        core_screen_f_per_m=D("1e-10"),
        screen=Screen.ISOLATED,
    )
    length = cored.cables[0].length_m  # type: ignore[index]
    assert part(cored, "hart_rc").value == D("257.26") * (D("68e-9") + length * D("1.5e-10"))  # type: ignore[operator]
    earthed = make.source(cored, isolated=False)
    assert part(earthed, "hart_rc").value == D("9.26") * (D("68e-9") + length * D("2e-10"))  # type: ignore[operator]


# -------------------------------------------------------------------------------------------------- proximity sensors

SENSOR = make.cable(
    make.device(BARRIER, needs=Needs(kind=NeedsKind.PROXIMITY_SENSOR)),
    length_m=D(1000),
    resistance_ohm_per_m=D("0.05"),
    resistance_per_core=False,
)


def test_proximity_sensor() -> None:
    """[S] IEC 60947-5-6: line of at most 50 ohm; the load and the supply take no part."""
    case = make.source(replace(SENSOR, load_resistance_ohm=UNKNOWN), supply=None)
    found = judge(case)
    assert found.function.verdict is PASS
    assert [(row.name, row.value, row.limit) for row in found.function.parts] == [("line_resistance", D(50), D(50))]
    assert (found.function.voltage_at_device_v, found.function.voltage_needed_v) == (None, None)
    longer = judge(make.cable(case, length_m=D("1000.1")))
    assert longer.function.verdict is FAIL
    assert longer.verdict is found.verdict
    assert function(make.cable(case, length_m=UNKNOWN)) is INCOMPLETE
    assert function(replace(case, cables=None)) is INCOMPLETE
    inline = replace(make.DEVICE, name="SPD", needs=None, series_resistance_ohm=D("0.1"))
    assert function(replace(case, devices=(*case.devices, inline))) is FAIL
    unknown = replace(make.CASE.cables[0], name="W2", length_m=UNKNOWN)  # type: ignore[index]
    both = replace(make.cable(case, length_m=D(1001)), cables=(*make.cable(case, length_m=D(1001)).cables, unknown))  # type: ignore[misc]
    assert function(both) is FAIL


def test_several_sensors_on_one_circuit_are_open() -> None:
    second = replace(SENSOR.devices[0], name="D2")
    assert function(replace(SENSOR, devices=(*SENSOR.devices, second))) is INCOMPLETE
    too_long = make.cable(SENSOR, length_m=D(1001))
    assert function(replace(too_long, devices=(*too_long.devices, second))) is FAIL


def test_devices_of_different_kinds_are_open() -> None:
    other = replace(make.DEVICE, name="D2", needs=Needs(D(1)))
    assert function(replace(SENSOR, devices=(*SENSOR.devices, other))) is INCOMPLETE


def test_sensor_states() -> None:
    """[S] IEC 60947-5-6: at most 1.2 mA off, at least 2.1 mA on."""
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


# ---------------------------------------------------------------------------------------------------------- solenoids

COIL = Needs(
    kind=NeedsKind.SOLENOID, pull_in_current_a=D("0.03"), coil_resistance_ohm=D(400), coil_temperature_max_c=D(20)
)
VALVE = make.cable(
    make.source(
        replace(make.device(BARRIER, needs=COIL), load_resistance_ohm=D(0)), supply=Supply(D(24), resistance_ohm=D(380))
    ),
    length_m=D(1000), resistance_ohm_per_m=D("0.02"), resistance_per_core=False,
)  # fmt: skip


def test_solenoid_at_its_pull_in_current() -> None:
    """Ohm's law: 24 V / (380 + 20 + 400) ohm = 30 mA."""
    found = judge(VALVE).function
    assert [(row.name, row.value, row.limit) for row in found.parts] == [("solenoid_current", D("0.03"), D("0.03"))]
    assert found.verdict is PASS
    assert function(make.device(VALVE, needs=replace(COIL, pull_in_current_a=D("0.0300001")))) is FAIL
    assert judge(make.device(VALVE, needs=replace(COIL, pull_in_current_a=D(1)))).verdict is judge(VALVE).verdict


def test_a_warm_coil_takes_less_current() -> None:
    """A coil of 400 ohm has 494.3 ohm at 80 degC, and is never cooler than the place."""
    warm = part(make.device(VALVE, needs=replace(COIL, coil_temperature_max_c=D(80))), "solenoid_current")
    assert float(warm.value) == pytest.approx(24 / (400 + 400 * 1.2358))  # type: ignore[arg-type]
    assert warm.verdict is FAIL
    hot_place = make.cable(make.area(VALVE, ambient_max_c=D(80)), length_m=D(0))
    assert float(part(hot_place, "solenoid_current").value) == pytest.approx(24 / (380 + 400 * 1.2358))  # type: ignore[arg-type]
    assert function(make.area(VALVE, ambient_max_c=UNKNOWN)) is INCOMPLETE
    assert function(replace(make.area(VALVE, ambient_max_c=UNKNOWN), cables=())) is PASS


def test_drops_and_load_take_their_share() -> None:
    inline = replace(make.DEVICE, name="SPD", needs=None, series_resistance_ohm=D(100), voltage_drop_v=D("1.5"))
    case = replace(VALVE, devices=(*VALVE.devices, inline), load_resistance_ohm=D(100))
    assert part(case, "solenoid_current").value == D("0.0225")
    drowned = replace(VALVE, devices=(*VALVE.devices, replace(inline, voltage_drop_v=D(30))))
    assert part(drowned, "solenoid_current").value == D(0)


def test_solenoid_on_a_driver() -> None:
    """A driver that states its voltage at 20 mA: flat up to there, then falling with Ro (here 265 ohm)."""
    driver = make.source(VALVE, isolated=True, supply=Supply(UNKNOWN, D("8.4")))
    assert part(driver, "solenoid_current").value == D("0.02")
    more = make.source(VALVE, isolated=True, supply=Supply(UNKNOWN, D("16.8")))
    found = part(more, "solenoid_current").value
    assert found is not None
    assert float(found * 420) == pytest.approx(float(D("16.8") - (found - D("0.02")) * 265))
    assert function(make.source(more, ro_ohm=UNKNOWN, io_a=UNKNOWN)) is INCOMPLETE
    assert part(make.source(driver, ro_ohm=UNKNOWN, io_a=UNKNOWN), "solenoid_current").value == D("0.02")
    inline = replace(make.DEVICE, name="SPD", needs=None, voltage_drop_v=D(30))
    assert part(replace(driver, devices=(*driver.devices, inline)), "solenoid_current").value == D(0)


@pytest.mark.parametrize(
    ("case", "missing"),
    [
        (make.device(VALVE, needs=replace(COIL, coil_resistance_ohm=UNKNOWN)), "coil resistance of D1"),
        (make.device(VALVE, needs=replace(COIL, coil_temperature_max_c=NOT_STATED)), "highest coil temperature of D1"),
        (make.device(VALVE, needs=replace(COIL, pull_in_current_a=UNKNOWN)), "pull-in current of D1"),
        (make.source(VALVE, supply=None), "supply of S1"),
        (make.source(VALVE, supply=Supply(D(24))), "supply of S1"),
        (replace(VALVE, load_resistance_ohm=UNKNOWN), "load resistance"),
        (make.cable(VALVE, length_m=UNKNOWN), "cable lengths"),
        (
            make.cable(make.device(VALVE, needs=replace(COIL, coil_resistance_ohm=D(0))), length_m=D(0)),
            "resistance of the coil",
        ),
    ],
)
def test_unknown_parts_leave_a_solenoid_open(case: Case, missing: str) -> None:
    found = part(case, "solenoid_current")
    assert (found.verdict, found.why.operands) == (INCOMPLETE, (missing,))
    assert function(case) is INCOMPLETE


def test_several_solenoids_share_more_than_is_computed() -> None:
    second = replace(VALVE.devices[0], name="D2")
    assert function(replace(VALVE, devices=(*VALVE.devices, second))) is INCOMPLETE


# --------------------------------------------------------------------------------------------------------- conductors


@pytest.mark.parametrize("name", LOOP_OHM_PER_M_BY_NAME)
def test_a_conductor_stands_in_for_resistance_and_the_result_says_so(name: str) -> None:
    case = make.cable(BARRIER, resistance_ohm_per_m=UNKNOWN, conductor=name)
    found = judge(case)
    line = case.cables[0].length_m * LOOP_OHM_PER_M_BY_NAME[name]  # type: ignore[index,operator]
    assert float(found.function.voltage_at_device_v) == pytest.approx(24 - 0.022 * (590 + float(line)))  # type: ignore[arg-type]
    said = next(remark for remark in found.confirmations if "its conductor" in remark.template)
    assert said.operands == ("W1", name, LOOP_OHM_PER_M_BY_NAME[name])
    given = make.cable(BARRIER, conductor=name)
    assert judge(given) == judge(BARRIER)


def test_a_conductor_changes_nothing_of_safety() -> None:
    bare = make.cable(BARRIER, resistance_ohm_per_m=UNKNOWN)
    assert judge(make.cable(bare, conductor="4 mm2")).checks == judge(bare).checks


def test_the_worse_end_is_the_one_that_is_told() -> None:
    at_4 = D(24) - D("0.004") * D("597.26")
    found = judge(make.device(BARRIER, needs=Needs(D(5), D("0.022"), at_4 - D("0.1")))).function
    assert (found.verdict, found.voltage_at_device_v, found.voltage_needed_v) == (PASS, at_4, at_4 - D("0.1"))


def test_cables_in_a_place_of_unknown_ambient_leave_the_budget_open() -> None:
    """Copper at 70 degC has a fifth more resistance than at 20 degC, so no figure stands for an unknown ambient."""
    cabled = judge(make.area(ambient_max_c=UNKNOWN)).function
    assert (cabled.verdict, cabled.why.operands) == (INCOMPLETE, ("highest ambient of the area",))
    assert function(replace(make.area(ambient_max_c=UNKNOWN), cables=())) is PASS


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        ({}, INCOMPLETE),
        ({"voltage_drop_v": D(0)}, PASS),
        ({"series_resistance_ohm": D(0)}, PASS),
        ({"kind": DeviceKind.SIMPLE}, PASS),
    ],
)
def test_a_device_that_says_nothing_of_what_it_takes_leaves_the_budget_open(stated: Any, expected: Verdict) -> None:
    """A second transmitter takes 4 mA to 22 mA, a display a volt: nothing said is not nothing taken."""
    quiet = replace(make.DEVICE, name="D2", needs=None, **stated)
    found = judge(replace(make.CASE, devices=(make.DEVICE, quiet))).function
    assert found.verdict is expected
    if expected is INCOMPLETE:
        assert found.why.operands == ("voltage drop or resistance of D2",)


def test_a_quiet_device_leaves_a_sensor_line_open() -> None:
    quiet = replace(make.DEVICE, name="D2", needs=None)
    sensor = replace(make.DEVICE, needs=Needs(kind=NeedsKind.PROXIMITY_SENSOR))
    assert function(replace(make.CASE, devices=(sensor,))) is PASS
    assert function(replace(make.CASE, devices=(sensor, quiet))) is INCOMPLETE
