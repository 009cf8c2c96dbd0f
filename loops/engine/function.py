"""Will the loop work? A verdict of its own that never changes the verdict on safety.

Sources: voltage budgets as in published instrument manuals; IEC 60228:2004, Table 1 (conductor resistance); conductor
resistances by AWG as printed in published manuals; NAMUR NE 43 (signal ranges); IEC 60947-5-6 (proximity sensors);
HART physical layer as printed in published manuals (RC of at most 65 us, load of at least 230 ohm).
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_FLOOR, Decimal
from typing import NamedTuple

from loops.engine.arithmetic import at_most, with_full_precision
from loops.engine.case import Cable, Case, Device, Parameter, Source
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Function, Remark, Verdict
from loops.engine.sources import least_resistance
from loops.engine.totals import loop_resistance, resistance_at

MEASURING_LOW_A = Decimal("0.004")
AT_20_MA_A = Decimal("0.020")
ALARM_A = Decimal("0.022")
MILLIVOLT = Decimal("0.001")  # what a budget of working voltages is told to
NE43_MEASURING_A = (Decimal("0.0038"), Decimal("0.0205"))
NE43_FAILURE_A = (Decimal("0.0036"), Decimal("0.021"))
# Where the resistance of a cable is not given: 0.5 mm2 copper, both cores, the thinnest usual instrument cable.
DEFAULT_LOOP_OHM_PER_M = Decimal("0.0720")

# Highest resistance of one plain copper conductor of class 1 or 2 at 20 degC, ohm/m, by cross-section in mm2.
IEC_60228_CLASS_2_OHM_PER_M = {
    Decimal("0.5"): Decimal("0.0360"),
    Decimal("0.75"): Decimal("0.0245"),
    Decimal("1.0"): Decimal("0.0181"),
    Decimal("1.5"): Decimal("0.0121"),
    Decimal("2.5"): Decimal("0.00741"),
    Decimal("4"): Decimal("0.00461"),
}
IEC_60228_CLASS_5_OHM_PER_M = {
    Decimal("0.5"): Decimal("0.0390"),
    Decimal("0.75"): Decimal("0.0260"),
    Decimal("1.0"): Decimal("0.0195"),
    Decimal("1.5"): Decimal("0.0133"),
    Decimal("2.5"): Decimal("0.00798"),
    Decimal("4"): Decimal("0.00495"),
}
# Loop resistance (both conductors) at 20 degC, ohm/ft, by AWG.
AWG_LOOP_OHM_PER_FT = {
    14: Decimal("0.0050"),
    16: Decimal("0.0080"),
    18: Decimal("0.0128"),
    20: Decimal("0.0204"),
}

HART_LARGEST_RC_S = Decimal("65e-6")
HART_LEAST_LOAD_OHM = Decimal(230)
SENSOR_SUPPLY_V = Decimal("8.2")
SENSOR_SERIES_OHM = Decimal(1000)
SENSOR_OFF_A = Decimal("0.0012")
SENSOR_ON_A = Decimal("0.0021")
SENSOR_LINE_OHM = Decimal(50)


class _End(NamedTuple):
    """One end of the current range: the voltage left and the voltage needed; ``None`` where a part is unknown.

    ``least_lost``: the known parts alone already leave too little.
    """

    current_a: Decimal
    available: Decimal | None
    needed: Decimal | None
    starved: bool


def check_function(case: Case) -> Function:
    """Voltage left for the devices at 4 mA and at their highest current.

    Voltage = source at that current - current * (load + both cores at the highest ambient + inline resistance) - fixed
    drops. A source that states its voltage at 20 mA (an isolator) keeps that up to 20 mA and then falls with its Ro;
    its load is on the other side of the isolation and takes nothing from the loop. Several devices with needs share the
    line, so their currents add. The highest current is the stated one, else 22 mA. Call in the engine's context.
    """
    hungry = [device for device in case.devices if device.needs is not None]
    if not hungry:
        return Function(NOT_APPLICABLE, None, None, Remark("No device states what it needs to work."))
    if len(case.sources) != 1:
        return Function(INCOMPLETE, None, None, Remark("The function of several sources together is not computed."))
    source = case.sources[0]
    budget = _budget(case, source)
    ends = [_at(source, hungry, budget, highest=True), _at(source, hungry, budget, highest=False)]
    starved = next((end for end in ends if end.starved), None)
    names = " and ".join(device.name for device in hungry)
    if starved is not None:
        return _told(FAIL, "{0} is left with {1:V-} at {2:A} and needs {3:V}.", starved, names)
    unknown = next((end for end in ends if end.available is None or end.needed is None), None)
    if unknown is not None:
        missing = ", ".join(_missing(case, source, hungry)) or "part of the budget"
        return Function(INCOMPLETE, unknown.available, unknown.needed, Remark("Not known: {0}.", (missing,)))
    worst = min(ends, key=lambda end: (end.available or Decimal(0)) - (end.needed or Decimal(0)))
    return _told(PASS, "{0} is left with {1:V-} at {2:A} and needs {3:V}.", worst, names)


def _told(verdict: Verdict, template: str, end: _End, names: str) -> Function:
    assert end.available is not None and end.needed is not None
    shown = end.available.quantize(MILLIVOLT, ROUND_FLOOR)
    return Function(verdict, end.available, end.needed, Remark(template, (names, shown, end.current_a, end.needed)))


class _Budget(NamedTuple):
    """What the loop takes besides the source and the hungry devices: ohm, V, and whether all of it is known."""

    resistance_ohm: Decimal
    drops_v: Decimal
    known: bool


def _budget(case: Case, source: Source) -> _Budget:
    load, load_known = _load(case, source)
    line, line_known = _line(case)
    resistance, drops = load + line, Decimal(0)
    for device in case.devices:
        resistance += device.series_resistance_ohm
        drops += device.voltage_drop_v
    return _Budget(resistance, drops, load_known and line_known)


def _at(source: Source, hungry: Sequence[Device], budget: _Budget, *, highest: bool) -> _End:
    """The budget at one end of the current range."""
    current, needed = Decimal(0), Decimal(0)
    needs_known = True
    for device in hungry:
        needs = device.needs
        assert needs is not None
        most = needs.current_max_a if isinstance(needs.current_max_a, Decimal) else ALARM_A
        current += most if highest else min(MEASURING_LOW_A, most)
        wanted = needs.voltage_min_v
        if not highest and isinstance(needs.voltage_min_at_4ma_v, Decimal):
            wanted = needs.voltage_min_at_4ma_v
        if isinstance(wanted, Decimal):
            needed = max(needed, wanted)
        else:
            needs_known = False
    offered = source_voltage(source, current)
    if offered is None:
        return _End(current, None, needed if needs_known else None, False)
    left = offered - current * budget.resistance_ohm - budget.drops_v
    starved = needs_known and not at_most(needed, left)
    return _End(current, left if budget.known or starved else None, needed if needs_known else None, starved)


def source_voltage(source: Source, current_a: Decimal) -> Decimal | None:
    """Voltage in V that a source offers its field terminals at a current, or ``None`` where it is unknown.

    >>> from loops.engine.case import Supply
    >>> source_voltage(Source("S", supply=Supply(Decimal(24), resistance_ohm=Decimal(340))), Decimal("0.02"))
    Decimal('17.20')
    """
    supply = source.supply
    if supply is None:
        return None
    if isinstance(supply.voltage_at_20ma_v, Decimal):
        if current_a <= AT_20_MA_A:
            return supply.voltage_at_20ma_v
        resistance = source.ro_ohm if isinstance(source.ro_ohm, Decimal) else least_resistance(source)
        if resistance is None:
            return None
        return supply.voltage_at_20ma_v - (current_a - AT_20_MA_A) * resistance
    if isinstance(supply.voltage_v, Decimal) and isinstance(supply.resistance_ohm, Decimal):
        return supply.voltage_v - current_a * supply.resistance_ohm
    return None


def _load(case: Case, source: Source) -> tuple[Decimal, bool]:
    """Load in the field circuit in ohm, and whether it is known."""
    supply = source.supply
    if source.isolated is True and supply is not None and isinstance(supply.voltage_at_20ma_v, Decimal):
        return Decimal(0), True
    if isinstance(case.load_resistance_ohm, Decimal):
        return case.load_resistance_ohm, True
    return Decimal(0), False


def _line(case: Case) -> tuple[Decimal, bool]:
    """Resistance of all runs, both cores, at the highest ambient (20 degC where that is unknown), and whether known."""
    if case.cables is None:
        return Decimal(0), False
    ambient = case.area.ambient_max_c
    temperature = ambient if isinstance(ambient, Decimal) else Decimal(20)
    total, known = Decimal(0), True
    for cable in case.cables:
        if not isinstance(cable.length_m, Decimal):
            known = False
            continue
        total += cable_resistance(cable, temperature)
    return total, known


def cable_resistance(cable: Cable, temperature_c: Decimal) -> Decimal:
    """Resistance of both cores of a run in ohm at a temperature; 0.5 mm2 copper where none is given.

    The length must be known.

    >>> round(cable_resistance(Cable("W", Decimal(1000), resistance_ohm_per_m=Decimal("0.0242")), Decimal(20)), 1)
    Decimal('24.2')
    """
    per_metre = loop_resistance(cable)
    length = cable.length_m if isinstance(cable.length_m, Decimal) else Decimal(0)
    return length * resistance_at(DEFAULT_LOOP_OHM_PER_M if per_metre is None else per_metre, temperature_c)


def assumptions(case: Case) -> list[Remark]:
    """What the function verdict takes for granted: cables whose resistance is the default."""
    if not any(device.needs is not None for device in case.devices):
        return []
    return [
        Remark(
            "Resistance of {0} is not given: 0.5 mm2 copper, {1:ohm/m} for both cores, is assumed for function.",
            (cable.name, DEFAULT_LOOP_OHM_PER_M),
        )
        for cable in case.cables or ()
        if loop_resistance(cable) is None
    ]


def _missing(case: Case, source: Source, hungry: Sequence[Device]) -> list[str]:
    found = []
    if source_voltage(source, ALARM_A) is None:
        found.append(f"supply of {source.name}")
    if not _load(case, source)[1]:
        found.append("load resistance")
    if not _line(case)[1]:
        found.append("cable lengths")
    found.extend(
        f"voltage that {device.name} needs"
        for device in hungry
        if device.needs is not None and not isinstance(device.needs.voltage_min_v, Decimal)
    )
    return found


@with_full_precision
def hart_time_constant(resistance_ohm: Decimal, capacitance_f: Decimal) -> Decimal:
    """R * C of a HART loop in s: resistance of sense resistor and source, capacitance of devices and cable.

    >>> round(hart_time_constant(Decimal("257.36"), Decimal("78e-9")) * 10**6, 1)
    Decimal('20.1')
    """
    return resistance_ohm * capacitance_f


@with_full_precision
def hart_works(resistance_ohm: Parameter, capacitance_f: Parameter, load_ohm: Parameter) -> Verdict:
    """RC of at most 65 us and a load of at least 230 ohm; equality passes.

    >>> hart_works(Decimal(250), Decimal("260e-9"), Decimal(250))
    <Verdict.PASS: 'pass'>
    """
    if isinstance(load_ohm, Decimal) and not at_most(HART_LEAST_LOAD_OHM, load_ohm):
        return FAIL
    if not isinstance(resistance_ohm, Decimal) or not isinstance(capacitance_f, Decimal):
        return INCOMPLETE
    if not at_most(hart_time_constant(resistance_ohm, capacitance_f), HART_LARGEST_RC_S):
        return FAIL
    return PASS if isinstance(load_ohm, Decimal) else INCOMPLETE


@with_full_precision
def proximity_sensor_works(line_ohm: Parameter) -> Verdict:
    """Line resistance of a two-wire proximity sensor, both cores: at most 50 ohm (IEC 60947-5-6).

    >>> proximity_sensor_works(Decimal("147.6"))
    <Verdict.FAIL: 'fail'>
    """
    if not isinstance(line_ohm, Decimal):
        return INCOMPLETE
    return PASS if at_most(line_ohm, SENSOR_LINE_OHM) else FAIL


def proximity_sensor_state(current_a: Decimal) -> str:
    """What a switching amplifier makes of a sensor current: "off", "on" or "between" (IEC 60947-5-6).

    >>> proximity_sensor_state(Decimal("0.0012")), proximity_sensor_state(Decimal("0.0021"))
    ('off', 'on')
    """
    if current_a <= SENSOR_OFF_A:
        return "off"
    return "on" if current_a >= SENSOR_ON_A else "between"


def signal_state(current_a: Decimal) -> str:
    """What a 4-20 mA current says: "measuring", "failure" or "between" (NAMUR NE 43).

    >>> signal_state(Decimal("0.0205")), signal_state(Decimal("0.021")), signal_state(Decimal("0.0037"))
    ('measuring', 'failure', 'between')
    """
    if NE43_MEASURING_A[0] <= current_a <= NE43_MEASURING_A[1]:
        return "measuring"
    return "failure" if current_a <= NE43_FAILURE_A[0] or current_a >= NE43_FAILURE_A[1] else "between"


@with_full_precision
def solenoid_current(
    voltage_v: Decimal, source_ohm: Decimal, line_ohm: Decimal, coil_20_ohm: Decimal, coil_temperature_c: Decimal
) -> Decimal:
    """Current through a solenoid in A: the coil's copper has its resistance at its own temperature.

    The resistances together must be above zero.

    >>> round(solenoid_current(Decimal(24), Decimal(300), Decimal(20), Decimal(400), Decimal(20)), 5)
    Decimal('0.03333')
    """
    return voltage_v / (source_ohm + line_ohm + resistance_at(coil_20_ohm, coil_temperature_c))


@with_full_precision
def solenoid_works(current_a: Parameter, pull_in_a: Parameter) -> Verdict:
    """Current at least the pull-in current.

    >>> solenoid_works(Decimal("0.034"), Decimal("0.034"))
    <Verdict.PASS: 'pass'>
    """
    if not isinstance(current_a, Decimal) or not isinstance(pull_in_a, Decimal):
        return INCOMPLETE
    return PASS if at_most(pull_in_a, current_a) else FAIL
