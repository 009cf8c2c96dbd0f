"""The built-in tables, and what a replacement table must be."""

from __future__ import annotations

import csv
from decimal import Decimal as D

import pytest

from loops.engine.case import Group, Interconnection
from loops.engine.tables import (
    DATA,
    GROUPS,
    Cell,
    Outside,
    TableError,
    TableKind,
    Tables,
    built_in,
    built_in_tables,
    read_table,
)
from loops.engine.verdict import judge

from .test_sources import barrier, circuit


def test_the_factor_of_one_and_a_half_joins_both_columns_of_capacitance() -> None:
    """The x1.5 column at V is the x1 column at 1.5 V: 2.3 % apart at most, by rounding in print (from memory)."""
    table, compared = built_in(TableKind.CAPACITANCE), 0
    for group in GROUPS:
        single = dict(zip(*table.columns[group, "x1"], strict=True))
        for voltage, cell in zip(*table.columns[group, "x1.5"], strict=True):
            other = single.get(voltage * D("1.5"))
            if other is not None:
                compared += 1
                assert abs(other.value / cell.value - 1) < D("0.0235")
    assert compared == 204


def test_the_factor_of_one_and_a_half_joins_both_columns_of_current() -> None:
    table, compared = built_in(TableKind.CURRENT), 0
    for group in GROUPS:
        for single, half in zip(table.columns[group, "x1"][1], table.columns[group, "x1.5"][1], strict=True):
            compared += 1
            assert abs(single.value / half.value / D("1.5") - 1) < D("0.007")
    assert compared == 679


@pytest.mark.parametrize("kind", list(TableKind))
def test_every_cell_names_where_it_comes_from(kind: TableKind) -> None:
    for _, cells in built_in(kind).columns.values():
        assert all(cell.provenance for cell in cells)


@pytest.mark.parametrize(
    "group, factor, voltage, value",
    [
        (Group.IIC, "x1.5", "28", "83e-9"),
        (Group.B, "x1.5", "28", "83e-9"),
        (Group.C, "x1.5", "28", "650e-9"),
        (Group.IIIB, "x1.5", "28", "650e-9"),
        (Group.D, "x1.5", "28", "2.15e-6"),
        (Group.IIC, "x1.5", "28.00001", "82e-9"),
        (Group.IIC, "x1.5", "30", "66e-9"),
    ],
)
def test_look_up(group: Group, factor: str, voltage: str, value: str) -> None:
    cell = built_in(TableKind.CAPACITANCE).look_up(group, factor, D(voltage))
    assert isinstance(cell, Cell) and cell.value == D(value)


def test_outside() -> None:
    current, capacitance = built_in_tables()
    assert current.look_up(Group.IIC, "x1.5", D("12.0999")) is Outside.BELOW
    assert isinstance(current.look_up(Group.IIC, "x1.5", D("12.1")), Cell)
    assert isinstance(current.look_up(Group.IIC, "x1.5", D(45)), Cell)
    assert current.look_up(Group.IIC, "x1.5", D("45.0001")) is Outside.ABOVE
    assert capacitance.look_up(Group.IIC, "x1.5", D("30.0001")) is Outside.ABOVE
    assert capacitance.look_up(Group.IIA, "x1.5", D("29.85")) is Outside.ABOVE


def rows(number: str) -> list[dict[str, str]]:
    with (DATA / f"table_a{number}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def broken(number: str, row: int, **cells: str) -> list[dict[str, str]]:
    found = rows(number)
    found[row] = {**found[row], **{key.replace("x15", "x1.5"): value for key, value in cells.items()}}
    return found


BAD = [
    ("1", 3, {"voltage_V": "12.3"}, "Row 12.3 V: the voltage must be above the row before (12.3 V)."),
    ("1", 3, {"voltage_V": ""}, "Row after 12.3 V: the voltage is missing."),
    ("1", 0, {"voltage_V": "twelve"}, "Row 1: voltage_V is not a number."),
    ("1", 3, {"IIC_x1_A": "4,2"}, "Row 12.4 V: IIC_x1_A is not a number."),
    ("1", 3, {"IIC_x1_A": "0"}, "Row 12.4 V: IIC_x1_A must be above zero."),
    ("1", 3, {"IIC_x1_A": "NaN"}, "Row 12.4 V: IIC_x1_A must be above zero."),
    ("1", 3, {"IIC_x1_A": "4.47"}, "Row 12.4 V: IIC_x1_A rises from the row before."),
    ("1", 3, {"IIC_x1_A": ""}, "Row 12.4 V: column IIC_x1_A has a hole."),
    ("1", 3, {"IIC_x1_A": "2.8", "IIC_x15_A": "2.81"}, "Row 12.4 V: IIC x1.5 permits more than IIC x1."),
    ("1", 20, {"IIC_x1_A": "1.76", "IIB_x1_A": "1.75"}, "Row 14.1 V: IIC x1 permits more than IIB x1."),
    ("1", 3, {"IIC_x1_A": "4.31"}, "Row 12.4 V: IIC x1.5 does not fit the x1 column."),
    ("2", 230, {"IIC_x15_uF": "0.083", "IIC_x1_uF": "0.272"}, None),
    ("2", 42, {"IIC_x15_uF": "4.4"}, "Row 9.2 V: IIC x1.5 does not fit the x1 column."),
]


@pytest.mark.parametrize("number, row, cells, message", BAD)
def test_a_table_that_cannot_be_true_is_refused_with_its_row(
    number: str, row: int, cells: dict[str, str], message: str | None
) -> None:
    kind = TableKind.CURRENT if number == "1" else TableKind.CAPACITANCE
    if message is None:
        assert read_table("same", kind, broken(number, row, **cells)).name == "same"
        return
    with pytest.raises(TableError) as error:
        read_table("broken", kind, broken(number, row, **cells))
    what = message.removesuffix(".")
    assert str(error.value).startswith(what)
    assert str(error.value) != message or "must be above" in what  # every other message goes on to say the cure


def test_a_table_without_voltage_in_its_first_row() -> None:
    with pytest.raises(TableError, match="Row after None V"):
        read_table("empty", TableKind.CURRENT, [{}])


def test_a_replacement_table_is_used_and_named() -> None:
    half = [
        {**row, "IIC_x1_A": str(D(row["IIC_x1_A"]) / 2), "IIC_x1.5_A": str(D(row["IIC_x1.5_A"]) / 2)}
        for row in rows("1")
    ]
    mine = read_table("our own copy", TableKind.CURRENT, half)
    case = circuit(barrier("S1", "28", "0.04"), barrier("S2", "28", "0.04"), how=Interconnection.PARALLEL)
    result = judge(case, Tables(mine, built_in(TableKind.CAPACITANCE)))
    check = next(c for c in result.checks if c.id == "sources")
    assert "our own copy" in check.why.operands
    assert check.limit == D("0.06")
