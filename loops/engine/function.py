"""Will the loop work? A verdict of its own that never changes the verdict on safety.

Sources: voltage budgets as in published instrument manuals; what else is judged: :mod:`loops.engine.signals`.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_FLOOR, Decimal
from typing import NamedTuple

from loops.engine.arithmetic import at_most
from loops.engine.budget import Budget, budget_of, source_voltage
from loops.engine.case import Case, Device, Needs, NeedsKind, Source
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Function, FunctionPart, Remark
from loops.engine.signals import hart_load, hart_time_constant, sensor_line, solenoid

MEASURING_LOW_A = Decimal("0.004")
ALARM_A = Decimal("0.022")
MILLIVOLT = Decimal("0.001")  # what a budget of working voltages is told to
_TOLD = "{0}: {1:V-} is left at {2:A}; {3:V} is needed."


class _End(NamedTuple):
    """One end of the current range: the voltage left and the voltage needed; ``None`` where a part is unknown.

    ``starved``: the known parts alone already leave too little.
    """

    name: str
    current_a: Decimal
    available: Decimal | None
    needed: Decimal | None
    starved: bool


def check_function(case: Case) -> Function:
    """What the devices need to work, each kind by its own rules; one failing part fails it.

    Two-wire devices: voltage left at 4 mA and at their highest current (the stated one, else 22 mA), and HART where
    asked for. Voltage = source at that current - current * (load + both cores at the highest ambient + inline
    resistance) - fixed drops. A source that states its voltage at 20 mA (an isolator) keeps that up to 20 mA and then
    falls with its Ro; its load is on the other side of the isolation and takes nothing from the loop. Several devices
    share the line, so their currents add. Proximity sensors: resistance of the line. Solenoids: current at pull-in.
    Call in the engine's context.
    """
    hungry = [(device, device.needs) for device in case.devices if device.needs is not None]
    if not hungry:
        return Function(NOT_APPLICABLE, None, None, Remark("No device states what it needs to work."))
    if len(case.sources) != 1:
        return _open("The function of several sources together is not computed.")
    source = case.sources[0]
    budget = budget_of(case, source)
    device, needs = hungry[0]
    if any(other.kind is not needs.kind for _, other in hungry):
        return _open("The function of devices of different kinds on one circuit is not computed.")
    if needs.kind is NeedsKind.TWO_WIRE:
        return _two_wire(case, source, hungry, budget)
    if needs.kind is NeedsKind.PROXIMITY_SENSOR:
        part = sensor_line(device, budget)
    else:
        part = solenoid(case, source, device, needs, budget)
    if len(hungry) > 1 and part.verdict is not FAIL:
        return _open("The function of several solenoids or proximity sensors on one circuit is not computed.")
    return Function(part.verdict, None, None, part.why, (part,))


def _open(why: str) -> Function:
    return Function(INCOMPLETE, None, None, Remark(why))


Hungry = Sequence[tuple[Device, Needs]]


def _two_wire(case: Case, source: Source, hungry: Hungry, budget: Budget) -> Function:
    names = " and ".join(device.name for device, _ in hungry)
    missing = budget.missing
    ends = _at(source, hungry, budget, missing, highest=True), _at(source, hungry, budget, missing, highest=False)
    unknown = None
    if any(end.available is None or end.needed is None for end in ends):
        unknown = Remark("Not known: {0}.", (", ".join(_missing(source, hungry, missing)) or "part of the budget",))
    parts = [_voltage(end, names, unknown) for end in ends]
    decisive = _gravest(parts)
    if decisive.verdict is PASS and _spare(ends[1]) < _spare(ends[0]):
        decisive = parts[1]
    end = ends[parts.index(decisive)]
    if any(needs.hart for _, needs in hungry):
        parts += [hart_time_constant(case, source, budget), hart_load(case, source)]
        decisive = _gravest([decisive, *parts[2:]])
    return Function(decisive.verdict, end.available, end.needed, decisive.why, (parts[1], parts[0], *parts[2:]))


def _gravest(parts: Sequence[FunctionPart]) -> FunctionPart:
    """The first part that fails, else the first that is incomplete, else the first."""
    order = (FAIL, INCOMPLETE, PASS)
    return min(parts, key=lambda part: order.index(part.verdict))


def _spare(end: _End) -> Decimal:
    assert end.available is not None and end.needed is not None
    return end.available - end.needed


def _voltage(end: _End, names: str, unknown: Remark | None) -> FunctionPart:
    """One end of the range as a part of the verdict."""
    if end.available is None or end.needed is None:
        assert unknown is not None
        verdict, why = INCOMPLETE, unknown
    else:
        verdict = FAIL if end.starved else PASS
        shown = end.available.quantize(MILLIVOLT, ROUND_FLOOR)
        why = Remark(_TOLD, (names, shown, end.current_a, end.needed))
    return FunctionPart(end.name, verdict, why, "voltage_budget", end.available, end.needed, "V", ">=")


def _at(source: Source, hungry: Hungry, budget: Budget, missing: Sequence[str], *, highest: bool) -> _End:
    """The budget at one end of the current range."""
    name = "voltage_at_highest_current" if highest else "voltage_at_4mA"
    current, needed = Decimal(0), Decimal(0)
    needs_known = True
    for _, needs in hungry:
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
        return _End(name, current, None, needed if needs_known else None, False)
    left = offered - current * budget.ohm - budget.drops_v
    starved = needs_known and not at_most(needed, left)
    return _End(name, current, None if missing and not starved else left, needed if needs_known else None, starved)


def _missing(source: Source, hungry: Hungry, of_budget: Sequence[str]) -> list[str]:
    found = [f"supply of {source.name}"] if source_voltage(source, ALARM_A) is None else []
    return [
        *found,
        *of_budget,
        *(
            f"voltage that {device.name} needs"
            for device, needs in hungry
            if not isinstance(needs.voltage_min_v, Decimal)
        ),
    ]
