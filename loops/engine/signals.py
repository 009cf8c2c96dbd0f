"""The parts of the function verdict beside the voltage: HART, proximity sensors, solenoids, signal currents.

Sources: HART physical layer as printed in published manuals (RC of at most 65 us, load of at least 230 ohm);
IEC 60947-5-6 (proximity sensors); NAMUR NE 43 (signal ranges); Ohm's law for solenoids.
"""

from __future__ import annotations

from decimal import Decimal

from loops.engine.arithmetic import at_most, with_full_precision
from loops.engine.budget import AT_20_MA_A, Budget, falling_resistance, has_load_apart, signal_resistance
from loops.engine.case import Case, Device, Needs, Source
from loops.engine.findings import FAIL, INCOMPLETE, PASS, FunctionPart, Remark
from loops.engine.totals import cable_capacitance, device_capacitance, resistance_at, settle

NE43_MEASURING_A = (Decimal("0.0038"), Decimal("0.0205"))
NE43_FAILURE_A = (Decimal("0.0036"), Decimal("0.021"))
HART_LARGEST_RC_S = Decimal("65e-6")
HART_LEAST_LOAD_OHM = Decimal(230)
SENSOR_OFF_A = Decimal("0.0012")
SENSOR_ON_A = Decimal("0.0021")
SENSOR_LINE_OHM = Decimal(50)
_OWN = {True: "resistance that {} presents to HART", False: "end-to-end resistance of {}"}


def hart_load(case: Case, source: Source) -> FunctionPart:
    """The resistance that the HART signal is read across: at least 230 ohm; equality passes.

    That is the load in the circuit or, where the load is on the other side of an isolation, the resistance that the
    isolator itself presents.

    >>> hart_load(Case((), load_resistance_ohm=Decimal(250)), Source("S")).verdict
    <Verdict.PASS: 'pass'>
    """
    apart = has_load_apart(source)
    load = signal_resistance(source) if apart else case.load_resistance_ohm
    if not isinstance(load, Decimal):
        missing = _OWN[apart].format(source.name) if apart else "load resistance"
        return FunctionPart(
            "hart_load", INCOMPLETE, _unknown([missing]), "hart", None, HART_LEAST_LOAD_OHM, "ohm", ">="
        )
    verdict = PASS if at_most(HART_LEAST_LOAD_OHM, load) else FAIL
    why = Remark("HART reads its signal across {0:ohm-}; it needs {1:ohm}.", (load, HART_LEAST_LOAD_OHM))
    return FunctionPart("hart_load", verdict, why, "hart", load, HART_LEAST_LOAD_OHM, "ohm", ">=")


def hart_time_constant(case: Case, source: Source, budget: Budget) -> FunctionPart:
    """R * C of a HART loop: at most 65 us; equality passes. The known parts alone may already be too much.

    R: load and source end to end, or what an isolator presents instead of both, with both cores at the highest ambient
    and inline items. C: Ci of the devices, which stands for their capacitance to the signal, and the cable.

    >>> from loops.engine.budget import budget_of
    >>> hart_time_constant(Case(()), Source("S"), budget_of(Case(()), Source("S"))).verdict
    <Verdict.INCOMPLETE: 'incomplete'>
    """
    resistance, missing = budget.ohm, budget.missing
    own = signal_resistance(source)
    if isinstance(own, Decimal):
        resistance += own
    else:
        missing.append(_OWN[has_load_apart(source)].format(source.name))
    devices = device_capacitance(case.devices)
    runs = [settle(cable, case.basis, source.isolated is not True) for cable in case.cables or ()]
    capacitance = devices.known + cable_capacitance(runs).known
    missing.extend(devices.missing)
    value = resistance * capacitance
    if not at_most(value, HART_LARGEST_RC_S):
        verdict = FAIL
    elif missing:
        why = _unknown(missing)
        return FunctionPart("hart_rc", INCOMPLETE, why, "hart", None, HART_LARGEST_RC_S, "s", "<=")
    else:
        verdict = PASS
    why = Remark(
        "{0:ohm} and {1:F} (Ci of the devices with the cable) make {2:s}; HART bears up to {3:s-}.",
        (resistance, capacitance, value, HART_LARGEST_RC_S),
    )
    return FunctionPart("hart_rc", verdict, why, "hart", value, HART_LARGEST_RC_S, "s", "<=")


def sensor_line(device: Device, budget: Budget) -> FunctionPart:
    """Line of a two-wire proximity sensor, both cores with inline items: at most 50 ohm (IEC 60947-5-6).

    >>> from loops.engine.conductors import Line
    >>> sensor_line(Device("D"), Budget(None, Line(Decimal(50)), Decimal(0), Decimal(0))).verdict
    <Verdict.PASS: 'pass'>
    """
    line = budget.line.ohm + budget.inline_ohm
    if at_most(line, SENSOR_LINE_OHM) and budget.missing_of_line:
        why = _unknown(budget.missing_of_line)
        return FunctionPart("line_resistance", INCOMPLETE, why, "proximity_sensor", None, SENSOR_LINE_OHM, "ohm", "<=")
    verdict = PASS if at_most(line, SENSOR_LINE_OHM) else FAIL
    why = Remark(
        "The line to {0} has {1:ohm}; a proximity sensor is recognised over up to {2:ohm-}.",
        (device.name, line, SENSOR_LINE_OHM),
    )
    return FunctionPart("line_resistance", verdict, why, "proximity_sensor", line, SENSOR_LINE_OHM, "ohm", "<=")


def solenoid(case: Case, source: Source, device: Device, needs: Needs, budget: Budget) -> FunctionPart:
    """Current through the coil at its highest temperature: at least the pull-in current; equality passes.

    The coil is never taken for cooler than the highest ambient of the area.

    >>> from loops.engine.budget import budget_of
    >>> bare = Case((Source("S"),), cables=(), load_resistance_ohm=Decimal(0))
    >>> solenoid(bare, bare.sources[0], Device("V"), Needs(), budget_of(bare, bare.sources[0])).why.operands[0]
    'supply of S, coil resistance of V, highest coil temperature of V, pull-in current of V'
    """
    coil, hot, pull_in = needs.coil_resistance_ohm, needs.coil_temperature_max_c, needs.pull_in_current_a
    limit = pull_in if isinstance(pull_in, Decimal) else None
    current, missing = None, budget.missing
    if isinstance(coil, Decimal) and isinstance(hot, Decimal) and not missing:
        ambient = case.area.ambient_max_c
        warm = resistance_at(coil, max(hot, ambient) if isinstance(ambient, Decimal) else hot)
        current = solenoid_current(source, budget.ohm + warm, budget.drops_v)
    if current is None or limit is None:
        found = (
            (f"coil resistance of {device.name}", isinstance(coil, Decimal)),
            (f"highest coil temperature of {device.name}", isinstance(hot, Decimal)),
            (f"pull-in current of {device.name}", limit is not None),
        )
        absent = [word for word, known in found if not known]
        if solenoid_current(source, Decimal(1), Decimal(0)) is None:
            absent.insert(0, f"supply of {source.name}")
        why = _unknown([*missing, *absent] or ["resistance of the coil"])
        return FunctionPart("solenoid_current", INCOMPLETE, why, "solenoid", current, limit, "A", ">=")
    verdict = PASS if at_most(limit, current) else FAIL
    why = Remark("{0} gets {1:A-} with its coil warm and pulls in at {2:A}.", (device.name, current, limit))
    return FunctionPart("solenoid_current", verdict, why, "solenoid", current, limit, "A", ">=")


@with_full_precision
def solenoid_current(source: Source, circuit_ohm: Decimal, drops_v: Decimal) -> Decimal | None:
    """Current in A that a source drives through a resistance; ``None`` where it cannot be computed.

    A source that states its voltage at 20 mA keeps that up to 20 mA and then falls with its Ro.

    >>> from loops.engine.case import Supply
    >>> barrier = Source("S", supply=Supply(Decimal(24), resistance_ohm=Decimal(300)))
    >>> round(solenoid_current(barrier, Decimal(420), Decimal(0)), 5)
    Decimal('0.03333')
    """
    supply = source.supply
    if supply is None or circuit_ohm <= 0:
        return None
    if isinstance(supply.voltage_at_20ma_v, Decimal):
        left = max(supply.voltage_at_20ma_v - drops_v, Decimal(0))
        if left <= AT_20_MA_A * circuit_ohm:
            return left / circuit_ohm
        inner = falling_resistance(source)
        return None if inner is None else (left + AT_20_MA_A * inner) / (circuit_ohm + inner)
    if isinstance(supply.voltage_v, Decimal) and isinstance(supply.resistance_ohm, Decimal):
        return max(supply.voltage_v - drops_v, Decimal(0)) / (circuit_ohm + supply.resistance_ohm)
    return None


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


def _unknown(missing: list[str]) -> Remark:
    return Remark("Not known: {0}.", (", ".join(missing),))
