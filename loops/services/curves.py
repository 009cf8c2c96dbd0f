"""Where a circuit works against the ignition curves: limits of tables A.1 and A.2 for its group, and its own point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from loops.casefile import read_document
from loops.engine.case import Case, Level
from loops.engine.sources import feed_of
from loops.engine.tables import LimitTable, Tables, built_in_tables
from loops.engine.verdict import judge

Points = tuple[tuple[Decimal, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Curves:
    """One circuit against its curves: V, A, F.

    ``current`` and ``capacitance`` are (voltage, limit) by table, voltages ascending; between two the next higher
    voltage counts. ``factor`` is the safety factor of the columns used, "1" for ic and else "1.5".
    """

    source: str
    group: str
    factor: str
    voltage_v: Decimal
    current_a: Decimal
    connected_f: Decimal | None
    permitted_f: Decimal | None
    current_name: str
    current: Points
    capacitance_name: str
    capacitance: Points


def curves_of_document(document: Mapping[str, Any], tables: Tables | None) -> Curves | None:
    """The curves of a case document by a site's tables (``None``: the built-in ones). Raises CaseError."""
    return curves_of(read_document(document), tables or built_in_tables())


def curves_of(case: Case, tables: Tables) -> Curves | None:
    """What can be drawn of a circuit; ``None`` for a fieldbus segment or while group, Uo or Io are unknown."""
    group = case.area.group
    if case.fieldbus is not None or group is None:
        return None
    feed, _ = feed_of(case, tables, [])
    voltage, current = feed.uo_v, feed.io_a
    if not (isinstance(voltage, Decimal) and isinstance(current, Decimal) and voltage > 0 and current > 0):
        return None
    column = "x1" if all(source.level is Level.IC for source in case.sources) else "x1.5"
    totals = judge(case, tables).totals

    def points(table: LimitTable) -> Points:
        voltages, cells = table.column(group, column)
        return tuple(zip(voltages, (cell.value for cell in cells), strict=True))

    return Curves(
        source=feed.name,
        group=group.value,
        factor=column[1:],
        voltage_v=voltage,
        current_a=current,
        connected_f=totals.capacitance_f,
        permitted_f=totals.permitted_capacitance_f,
        current_name=tables.current.name,
        current=points(tables.current),
        capacitance_name=tables.capacitance.name,
        capacitance=points(tables.capacitance),
    )
