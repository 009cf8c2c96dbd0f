"""How far each limit of a circuit lets its last run of cable grow, all else as it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from loops.casefile import read_document
from loops.casereader import CaseError
from loops.engine.arithmetic import with_full_precision
from loops.engine.case import Case
from loops.engine.fieldbus import longest_run
from loops.engine.findings import Verdict
from loops.engine.function import check_function
from loops.engine.limits import limits_of, parts_of, ratio_way
from loops.engine.longest import UNLIMITED, longest_by
from loops.engine.sources import feed_of
from loops.engine.tables import Tables, built_in_tables
from loops.services.suitability.spots import halved, with_run

LONGEST_M = 20_000
"""What works over so many metres works over any cable that is laid."""
CAPACITANCE, INDUCTANCE, SEGMENT, FUNCTION = "capacitance", "inductance", "segment", "function"
LIMIT, NONE, UNKNOWN = "limit", "none", "unknown"


@dataclass(frozen=True, slots=True)
class Reach:
    """One limit: `state` is "limit" (up to so many whole `metres`), "none" (it sets none) or "unknown"."""

    limit: str
    state: str
    metres: int | None = None

    @classmethod
    def of(cls, limit: str, metres: int | None) -> Reach:
        """From what the engine says of a length."""
        if metres is None:
            return cls(limit, UNKNOWN)
        return cls(limit, NONE) if metres == UNLIMITED else cls(limit, LIMIT, max(metres, 0))


@dataclass(frozen=True, slots=True)
class Reaches:
    """The last run of a circuit: its tag, its length in m (None where unknown), and how far each limit lets it grow."""

    run: str
    length_m: Decimal | None
    rows: tuple[Reach, ...]

    @property
    def first(self) -> Reach | None:
        """The limit that is met first; of two at the same length the one of safety. None where none is known."""
        found = [row for row in self.rows if row.state == LIMIT]
        return min(found, key=lambda row: row.metres or 0, default=None)

    @property
    def is_open(self) -> bool:
        """Whether a limit that cannot be said yet may be met earlier."""
        return any(row.state == UNKNOWN for row in self.rows)


@with_full_precision
def reaches_of(document: Mapping[str, Any], tables: Tables | None = None) -> Reaches | None:
    """How far the last run of a case document may grow by each limit; None without a run, or for an older form.

    The least of capacitance and inductance (of a fieldbus segment: of its lengths) is the longest run of the verdict.
    """
    try:
        case = read_document(document)
    except CaseError:
        return None
    if not case.cables:
        return None
    last = case.cables[-1]
    length = last.length_m if isinstance(last.length_m, Decimal) else None
    safe = by_segment(case) if case.fieldbus is not None else by_storage(case, tables or built_in_tables())
    return Reaches(last.name, length, (*safe, by_function(case)))


def by_segment(case: Case) -> tuple[Reach, ...]:
    """The lengths that a fieldbus concept allows."""
    found = longest_run(case)
    return (Reach.of(SEGMENT, None if found is None else found.metres),)


def by_storage(case: Case, tables: Tables) -> tuple[Reach, ...]:
    """Capacitance and inductance, by the row of permitted values that lets the run be longest."""
    feed, _ = feed_of(case, tables, [])
    parts = parts_of(case, feed)
    found: list[tuple[int | None, int | None]] = []
    for row in feed.rows if feed.unsettled is None else ():
        limits = limits_of(row, parts.ci, parts.li)
        by_c = longest_by(limits.strict_c, parts, parts.ci, capacitance=True)
        by_ratio = ratio_way(limits, parts, feed).passed
        by_l = UNLIMITED if by_ratio else longest_by(limits.strict_l, parts, parts.li, capacitance=False)
        found.append((by_c, by_l))
    by_c, by_l = max(found, key=room, default=(None, None))
    return Reach.of(CAPACITANCE, by_c), Reach.of(INDUCTANCE, by_l)


def room(pair: tuple[int | None, int | None]) -> tuple[bool, float]:
    """Order of rows of permitted values: those that say both lengths first, then the longest."""
    known = [float("inf") if metres == UNLIMITED else metres for metres in pair if metres is not None]
    return len(known) == len(pair), min(known, default=-1.0)


def by_function(case: Case) -> Reach:
    """How long the run may be so that the circuit still works; more cable never helps, so that halving finds it."""

    def works(metres: int) -> bool:
        return check_function(with_run(case, metres)).verdict is Verdict.PASS

    least = check_function(with_run(case, 0)).verdict
    if least is Verdict.NOT_APPLICABLE:
        return Reach(FUNCTION, NONE)
    if least is Verdict.FAIL:
        return Reach(FUNCTION, LIMIT, 0)
    if least is not Verdict.PASS:
        return Reach(FUNCTION, UNKNOWN)
    if works(LONGEST_M):
        return Reach(FUNCTION, NONE)
    return Reach(FUNCTION, LIMIT, halved(0, LONGEST_M, works))
