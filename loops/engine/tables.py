"""Permitted current against voltage (table A.1) and permitted capacitance against voltage (table A.2).

The tables that come with the engine, ``data/table_a1.csv`` and ``data/table_a2.csv``, are IEC 60079-11:2011, tables A.1
and A.2, from memory; the last column of a row names the published certificate or manual in which a cell of that row was
seen. A team that owns the standard replaces them with its own copy: :func:`read_table` refuses one that cannot be true.

Columns: ``voltage_V``, then for each group the value with safety factor 1 (``x1``, for ic) and 1.5 (``x1.5``, for ia
and ib), in A or uF, then ``source``. An empty cell above the first value of a column means: no limit at that voltage.
"""

from __future__ import annotations

import csv
import itertools
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation
from enum import Enum
from functools import cache
from pathlib import Path
from typing import NamedTuple

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import Group
from loops.engine.groups import DUST, zone_group

DATA = Path(__file__).parent / "data"
GROUPS = ("IIC", "IIB", "IIA", "I")
FACTORS = ("x1", "x1.5")
FACTOR = Decimal("1.5")


class TableKind(Enum):
    """What a table permits: unit of its cells, factor to SI, and how far its two columns may stray from the relation.

    For A.1 the x1 current is 1.5 times the x1.5 current of the same row; for A.2 the x1.5 capacitance at V is the x1
    capacitance at 1.5 V. Both are rounded in print: 0.7 % and 2.3 % apart at most in the built-in tables.
    """

    CURRENT = ("A", Decimal(1), Decimal("0.01"))
    CAPACITANCE = ("uF", Decimal("1e-6"), Decimal("0.025"))


class TableError(ValueError):
    """A table that cannot be true; the message names the row."""


class Cell(NamedTuple):
    """A looked-up limit: value in A or F, the voltage of the row used, and where that row comes from."""

    value: Decimal
    row_voltage_v: Decimal
    provenance: str


class Outside(Enum):
    """The voltage is outside the column."""

    BELOW = "below the first row"
    ABOVE = "above the last row"


class LimitTable(NamedTuple):
    """One table: for each column (group, factor) its voltages ascending and their cells."""

    name: str
    kind: TableKind
    columns: Mapping[tuple[str, str], tuple[tuple[Decimal, ...], tuple[Cell, ...]]]

    def column(self, group: Group, factor: str) -> tuple[tuple[Decimal, ...], tuple[Cell, ...]]:
        """Voltages, ascending, and cells of a group; dust uses IIB.

        >>> [group for group in (Group.IIB, Group.IIIC) if built_in(TableKind.CURRENT).column(group, "x1")[0][0] > 9]
        [<Group.IIB: 'IIB'>, <Group.IIIC: 'IIIC'>]
        """
        zoned = zone_group(group)
        return self.columns["IIB" if zoned in DUST else zoned.value, factor]

    def look_up(self, group: Group, factor: str, voltage_v: Decimal) -> Cell | Outside:
        """The cell of the row at ``voltage_v``, or at the next higher voltage between rows. Dust uses IIB.

        >>> built_in(TableKind.CAPACITANCE).look_up(Group.IIC, "x1.5", Decimal("27.95")).value
        Decimal('8.3E-8')
        >>> built_in(TableKind.CURRENT).look_up(Group.IIC, "x1.5", Decimal("45.1"))
        <Outside.ABOVE: 'above the last row'>
        """
        voltages, cells = self.column(group, factor)
        position = bisect_left(voltages, voltage_v)
        if position == len(voltages):
            return Outside.ABOVE
        if position == 0 and voltage_v < voltages[0]:
            return Outside.BELOW
        return cells[position]

    def first(self, group: Group, factor: str) -> Cell:
        """The first cell of a column: the limit that is still safe below the first row.

        >>> built_in(TableKind.CAPACITANCE).first(Group.IIB, "x1").row_voltage_v
        Decimal('9.0')
        """
        return self.column(group, factor)[1][0]


@cache
def built_in(kind: TableKind) -> LimitTable:
    """The table that comes with the engine.

    >>> built_in(TableKind.CURRENT).name
    'IEC 60079-11:2011, table A.1 (from memory)'
    """
    number = "1" if kind is TableKind.CURRENT else "2"
    with (DATA / f"table_a{number}.csv").open(encoding="utf-8", newline="") as file:
        return read_table(f"IEC 60079-11:2011, table A.{number} (from memory)", kind, csv.DictReader(file))


@with_full_precision
def read_table(name: str, kind: TableKind, rows: Iterable[Mapping[str, str | None]]) -> LimitTable:
    """A table from rows of text, refused with :class:`TableError` when it cannot be true.

    Voltages must ascend. Down a column values must never rise, and once begun a column has no hole. Along a row a more
    severe group never permits more than a less severe one, nor factor 1.5 more than factor 1. The two factors must keep
    the relation of :class:`TableKind`.

    >>> read_table("mine", TableKind.CURRENT, [{"voltage_V": "12", "IIC_x1_A": "5"}, {"voltage_V": "11"}])
    Traceback (most recent call last):
    loops.engine.tables.TableError: Row 11 V: the voltage must be above the row before (12 V).
    """
    unit, scale, _ = kind.value
    found: dict[tuple[str, str], list[tuple[Decimal, Cell]]] = {(g, f): [] for g in GROUPS for f in FACTORS}
    ended: dict[tuple[str, str], Decimal] = {}
    before: Decimal | None = None
    for row in rows:
        voltage = _number(row.get("voltage_V"), f"after {before} V" if before else "1", "voltage_V")
        if voltage is None:
            raise TableError(f"Row after {before} V: the voltage is missing: fill voltage_V.")
        if before is not None and voltage <= before:
            raise TableError(f"Row {voltage} V: the voltage must be above the row before ({before} V).")
        before = voltage
        for key, column in found.items():
            heading = f"{key[0]}_{key[1]}_{unit}"
            number = _number(row.get(heading), f"{voltage} V", heading)
            if number is None:
                if column:
                    ended.setdefault(key, voltage)
                continue
            if key in ended:
                raise TableError(f"Row {ended[key]} V: column {heading} has a hole: fill the cell.")
            value = number * scale
            if column and value > column[-1][1].value:
                raise TableError(
                    f"Row {voltage} V: {heading} rises from the row before ({column[-1][0]} V): correct one of the two."
                )
            column.append((voltage, Cell(value, voltage, row.get("source") or "")))
        _check_row(voltage, found)
    table = LimitTable(
        name, kind, {key: (tuple(v for v, _ in cells), tuple(c for _, c in cells)) for key, cells in found.items()}
    )
    _check_relation(table)
    return table


def _number(text: str | None, row: str, heading: str) -> Decimal | None:
    if not text or not text.strip():
        return None
    try:
        value = Decimal(text.strip())
    except InvalidOperation:
        raise TableError(f"Row {row}: {heading} is not a number: write it with a decimal point and no unit.") from None
    if not value.is_finite() or value <= 0:
        raise TableError(f"Row {row}: {heading} must be above zero: leave the cell empty where nothing is limited.")
    return value


def _check_row(voltage: Decimal, found: Mapping[tuple[str, str], list[tuple[Decimal, Cell]]]) -> None:
    """Along one row: severity of groups and of factors."""
    row = {key: column[-1][1].value for key, column in found.items() if column and column[-1][0] == voltage}
    pairs = [((a, f), (b, f)) for a, b in itertools.pairwise(GROUPS) for f in FACTORS]
    pairs += [((g, "x1.5"), (g, "x1")) for g in GROUPS]
    for severe, mild in pairs:
        if severe in row and mild in row and row[severe] > row[mild]:
            raise TableError(
                f"Row {voltage} V: {' '.join(severe)} permits more than {' '.join(mild)}: correct one of the two."
            )


def _check_relation(table: LimitTable) -> None:
    unit, _, tolerance = table.kind.value
    for group in GROUPS:
        single = dict(zip(*table.columns[group, "x1"], strict=True))
        for voltage, cell in zip(*table.columns[group, "x1.5"], strict=True):
            if table.kind is TableKind.CURRENT:
                other, expected = single.get(voltage), cell.value * FACTOR
            else:
                other, expected = single.get(voltage * FACTOR), cell.value
            if other is not None and abs(other.value - expected) > tolerance * expected:
                raise TableError(
                    f"Row {voltage} V: {group} x1.5 does not fit the x1 column: correct {group}_x1.5_{unit} here, or "
                    "the x1 value that belongs to it."
                )


class Tables(NamedTuple):
    """The pair of tables that a judgement uses."""

    current: LimitTable
    capacitance: LimitTable


@cache
def built_in_tables() -> Tables:
    """Both tables that come with the engine.

    >>> built_in_tables().capacitance.kind.name
    'CAPACITANCE'
    """
    return Tables(built_in(TableKind.CURRENT), built_in(TableKind.CAPACITANCE))
