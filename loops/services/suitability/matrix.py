"""Very many places and very many parts: the screen first, the exact engine for what it lets through, in processes.

Nothing of Django is imported here. Figures are kept as small numbers; whoever wants the reasons of one pair judges it
again (:func:`loops.services.suitability.spots.outcome_of`).
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import Device, Source
from loops.engine.findings import Function
from loops.engine.seats import Devices, Seat
from loops.engine.source_seats import Sources, SourceSeat
from loops.engine.tables import Tables
from loops.services.suitability.screen import Code, screen_devices, screen_sources
from loops.services.suitability.spots import FUNCTION_ORDER, ORDER, Part, Spot, headroom, outcome_of

NOT_JUDGED = 255
NO_MARGIN = -(2**31)
STEP = Decimal("0.0001")
STEPS = Decimal(10_000)
LARGEST_MARGIN = Decimal(20_000)
PORTION = 64
"""So many places are judged by one process at a time: the step of progress and of ending early."""

Told = Callable[[int, int], None]
"""Told how many of how many places are judged; may raise to end it."""


@dataclass(frozen=True)
class Matrix:
    """Places by parts. `codes` says what the screen rejected and why; of the others the exact verdict, function, least
    margin and headroom (in parts of 10,000, rounded down)."""

    codes: NDArray[np.uint8]
    verdicts: NDArray[np.uint8]
    functions: NDArray[np.uint8]
    margins: NDArray[np.int32]
    rooms: NDArray[np.int32]


def judge_all(
    spots: Sequence[Spot],
    pool: Sequence[Sequence[Part]],
    tables: Tables | None = None,
    *,
    wanted: NDArray[np.bool_] | None = None,
    processes: int = 1,
    told: Told | None = None,
) -> Matrix:
    """Judge each set of parts of the pool in each spot; all spots take the same kinds of parts in the same order.

    `wanted` leaves pairs out. With `processes` above 1 the exact judgements are shared among so many.
    """
    codes = screen(spots, pool, tables)
    shape = codes.shape
    found = Matrix(
        codes,
        np.full(shape, NOT_JUDGED, dtype=np.uint8),
        np.full(shape, NOT_JUDGED, dtype=np.uint8),
        np.full(shape, NO_MARGIN, dtype=np.int32),
        np.full(shape, NO_MARGIN, dtype=np.int32),
    )
    look = (codes == Code.LOOK) if wanted is None else (codes == Code.LOOK) & wanted
    portions = [
        (start, spots[start : start + PORTION], [np.flatnonzero(row) for row in look[start : start + PORTION]])
        for start in range(0, len(spots), PORTION)
    ]
    done = 0
    for start, rows in _judged(portions, pool, tables, processes):
        for offset, (columns, figures) in enumerate(rows):
            if len(columns):
                place = start + offset
                verdicts, functions, margins, rooms = figures
                found.verdicts[place, columns] = verdicts
                found.functions[place, columns] = functions
                found.margins[place, columns] = margins
                found.rooms[place, columns] = rooms
        done += len(rows)
        if told:
            told(done, len(spots))
    return found


def screen(spots: Sequence[Spot], pool: Sequence[Sequence[Part]], tables: Tables | None) -> NDArray[np.uint8]:
    """What the screen says of each pair: for each slot alone, all else as it stands."""
    found = np.zeros((len(spots), len(pool)), dtype=np.uint8)
    if not spots or not pool:
        return found
    for position, first in enumerate(spots[0].slots):
        # Where an item is on a circuit more than once, what stands there now says nothing of what would.
        alone = [index for index, spot in enumerate(spots) if _alone(spot, position)]
        places = [(spots[i].cases[spots[i].slots[position].circuit], spots[i].slots[position].row) for i in alone]
        parts: Any = [row[position] for row in pool]
        codes = (screen_sources if first.is_source else screen_devices)(places, parts, tables)
        found[alone] = np.where(found[alone] == Code.LOOK, codes, found[alone])
    return found


def _alone(spot: Spot, position: int) -> bool:
    return sum(slot.circuit == spot.slots[position].circuit for slot in spot.slots) == 1


# ---------------------------------------------------------------------------------------------------------- processes

Portion = tuple[int, Sequence[Spot], Sequence[NDArray[np.intp]]]
Rows = list[tuple[NDArray[np.intp], Any]]
_shared: dict[str, Any] = {}


def _begin(pool: Sequence[Sequence[Part]], tables: Tables | None) -> None:
    """What every portion needs, given to a process once."""
    _shared.update(judge=Judge(pool, tables))


def _portion(portion: Portion) -> tuple[int, Rows]:
    start, spots, columns = portion
    return start, _shared["judge"].rows(spots, columns)


class Judge:
    """Judges parts of a pool in spots, exactly. Of single devices, and of single sources, what does not depend on the
    pair is judged once."""

    def __init__(self, pool: Sequence[Sequence[Part]], tables: Tables | None) -> None:
        self.pool, self.tables = pool, tables
        single = [row[0] for row in pool if len(row) == 1 and isinstance(row[0], Device)]
        self.devices = Devices(single) if len(single) == len(pool) else None
        giving = [row[0] for row in pool if len(row) == 1 and isinstance(row[0], Source)]
        self.sources = Sources(giving) if len(giving) == len(pool) else None

    @with_full_precision
    def rows(self, spots: Sequence[Spot], columns: Sequence[NDArray[np.intp]]) -> Rows:
        """The exact figures of the chosen parts of each spot."""
        return [(chosen, self._figures(spot, chosen)) for spot, chosen in zip(spots, columns, strict=True)]

    def _figures(self, spot: Spot, chosen: NDArray[np.intp]) -> NDArray[np.int64]:
        figures = np.empty((4, len(chosen)), dtype=np.int64)
        single = len(spot.slots) == len(spot.cases) == 1 and len(chosen) > 1
        if single and self.devices and not spot.slots[0].is_source:
            seat = Seat(spot.cases[0], spot.slots[0].row, self.devices, self.tables)
            return self._seated(seat, spot, figures, chosen)
        if single and self.sources and spot.slots[0].is_source and len(spot.cases[0].sources) == 1:
            return self._seated(SourceSeat(spot.cases[0], self.sources, self.tables), spot, figures, chosen)
        for number, column in enumerate(chosen.tolist()):
            verdict, works, margin, room, _ = outcome_of(spot, self.pool[column], self.tables)
            figures[:, number] = RANK[verdict], FUNCTION_RANK[works], in_steps(margin), in_steps(room)
        return figures

    def _seated(
        self, seat: Seat | SourceSeat, spot: Spot, figures: NDArray[np.int64], chosen: NDArray[np.intp]
    ) -> NDArray[np.int64]:
        rest, rest_function = RANK[spot.rest], FUNCTION_RANK[spot.rest_function]
        functions: dict[int, tuple[Function, int, int]] = {}
        rows = []
        for column in chosen.tolist():
            verdict, function, margin = seat.decide(column)
            known = functions.get(id(function))
            if known is None:
                rooms = [room for part in function.parts if (room := headroom(part)) is not None]
                rank = min(rest_function, FUNCTION_RANK[function.verdict])
                # The function itself is kept too, so that no other one gets its number.
                known = functions[id(function)] = (function, rank, in_steps(min(rooms, default=None)))
            rows.append((min(rest, RANK[verdict]), known[1], in_steps(margin), known[2]))
        figures[:] = np.array(rows, dtype=np.int64).T
        return figures


RANK = {verdict: number for number, verdict in enumerate(ORDER)}
FUNCTION_RANK = {verdict: number for number, verdict in enumerate(FUNCTION_ORDER)}


def in_steps(share: Decimal | None) -> int:
    """A share in parts of 10,000, rounded down and kept within what a small number holds.

    >>> in_steps(Decimal("0.12349")), in_steps(Decimal("-0.00001")), in_steps(None) == NO_MARGIN
    (1234, -1, True)
    """
    if share is None:
        return NO_MARGIN
    if not -LARGEST_MARGIN < share < LARGEST_MARGIN:
        share = LARGEST_MARGIN if share > 0 else -LARGEST_MARGIN
    return int((share * STEPS).to_integral_value(ROUND_FLOOR))


def _judged(
    portions: Sequence[Portion], pool: Sequence[Sequence[Part]], tables: Tables | None, processes: int
) -> Iterator[tuple[int, Rows]]:
    if processes < 2 or len(portions) < 2:
        judge = Judge(pool, tables)
        for start, spots, columns in portions:
            yield start, judge.rows(spots, columns)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, context, _begin, (pool, tables)) as workers:
        waiting: set[Future[tuple[int, Rows]]] = {workers.submit(_portion, portion) for portion in portions}
        try:
            while waiting:
                finished, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in finished:
                    yield future.result()
        finally:
            workers.shutdown(cancel_futures=True)
