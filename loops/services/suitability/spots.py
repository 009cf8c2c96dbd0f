"""A place in a loop as bare engine input, and what is put there: for judging very many pairs without any words.

Nothing of Django is imported here, so that further processes may judge too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import Case, Device, Source
from loops.engine.findings import CheckId, CircuitVerdict, FunctionPart, Verdict
from loops.engine.seats import OUTCOMES
from loops.engine.tables import Tables
from loops.engine.verdict import Decision, decide

MARGIN_CHECKS = frozenset({CheckId.VOLTAGE, CheckId.CURRENT, CheckId.POWER, CheckId.CAPACITANCE, CheckId.INDUCTANCE})
JUDGED = frozenset({Verdict.PASS, Verdict.FAIL})
ORDER = OUTCOMES
FUNCTION_ORDER = (Verdict.FAIL, Verdict.INCOMPLETE, Verdict.PASS, Verdict.NOT_APPLICABLE)

Part = Source | Device


class Slot(NamedTuple):
    """One place of an item on one circuit: the circuit among those of its spot, and the part that stands there."""

    circuit: int
    is_source: bool
    row: int


@dataclass(frozen=True, slots=True)
class Spot:
    """The circuits that an item is on, with the item in its place; `slots` are its sets of terminals there.

    `rest` and `rest_function` are the verdicts of the other circuits of the loop, most severe first.
    """

    cases: tuple[Case, ...]
    slots: tuple[Slot, ...]
    rest: CircuitVerdict = CircuitVerdict.COMPLIES
    rest_function: Verdict = Verdict.NOT_APPLICABLE


class Outcome(NamedTuple):
    """What a loop would be with other parts in a spot.

    `margin` is the least margin of the judged quantities on the circuits of the spot, `headroom` what is left of the
    tightest part of the function verdict, as a share of what is needed; ``None`` where there is none to judge.
    """

    verdict: CircuitVerdict
    function: Verdict
    margin: Decimal | None
    headroom: Decimal | None
    decisions: tuple[Decision, ...] = ()


def with_parts(spot: Spot, parts: Sequence[Part]) -> tuple[Case, ...]:
    """The circuits of a spot with other parts in its slots, under the names of those that stood there."""
    cases = list(spot.cases)
    for slot, part in zip(spot.slots, parts, strict=True):
        case = cases[slot.circuit]
        standing: Sequence[Part] = case.sources if slot.is_source else case.devices
        rows = list(standing)
        rows[slot.row] = replace(part, name=rows[slot.row].name)
        changes: Mapping[str, tuple[Part, ...]] = {("sources" if slot.is_source else "devices"): tuple(rows)}
        cases[slot.circuit] = replace(case, **changes)  # type: ignore[arg-type]
    return tuple(cases)


@with_full_precision
def outcome_of(spot: Spot, parts: Sequence[Part], tables: Tables | None = None) -> Outcome:
    """Judge a spot with other parts, exactly."""
    return summed([decide(case, tables) for case in with_parts(spot, parts)], spot.rest, spot.rest_function)


def summed(
    decisions: Sequence[Decision],
    rest: CircuitVerdict = CircuitVerdict.COMPLIES,
    rest_function: Verdict = Verdict.NOT_APPLICABLE,
) -> Outcome:
    """The outcome of a loop from the decisions on some of its circuits and the verdicts of the others."""
    margins = [
        margin
        for decision in decisions
        for check in decision.checks
        if check.id in MARGIN_CHECKS and check.verdict in JUDGED and (margin := check.margin) is not None
    ]
    rooms = [room for decision in decisions for part in decision.function.parts if (room := headroom(part)) is not None]
    return Outcome(
        min([rest, *(decision.verdict for decision in decisions)], key=ORDER.index),
        min([rest_function, *(decision.function.verdict for decision in decisions)], key=FUNCTION_ORDER.index),
        min(margins, default=None),
        min(rooms, default=None),
        tuple(decisions),
    )


def headroom(part: FunctionPart) -> Decimal | None:
    """What is left of one part of the function verdict, as a share of its limit; a positive one is good."""
    if part.value is None or part.limit is None or not part.limit:
        return None
    over = (part.value - part.limit) / part.limit
    return over if part.relation[0] == ">" else -over


def halved(low: int, high: int, good: Callable[[int], bool]) -> int:
    """The largest number from `low`, which is good, to below `high`, which is not, that is good."""
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if good(middle) else (low, middle)
    return low


def with_run(case: Case, metres: int) -> Case:
    """A circuit with another last run."""
    runs = case.cables or ()
    return replace(case, cables=(*runs[:-1], replace(runs[-1], length_m=Decimal(metres))))
