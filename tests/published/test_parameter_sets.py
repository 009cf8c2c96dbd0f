"""Computed Lo, Lo/Ro, Po and Co against certified parameter sets.

The certificate always governs: the formula is a check of plausibility, within -12 % and +50 % of what is printed,
because makers declare less and older values are read from curves. The columns "calculated" are worked out from the
formula by hand and must agree closely.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from loops.engine.case import Group, Output, Source
from loops.engine.sources import permitted_inductance, permitted_inductance_per_resistance, power
from loops.engine.tables import Cell, TableKind, built_in

HERE = Path(__file__).parent


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("parameter_sets.csv"), ids=lambda row: f"{row['type']} {row['group']}")
def test_formulas_meet_certified_sets(row: dict[str, str]) -> None:
    uo, io, group = Decimal(row["uo_v"]), Decimal(row["io_a"]), Group(row["group"])
    lo = permitted_inductance(group, io)
    assert float(lo) == pytest.approx(float(row["lo_calculated_h"]), rel=0.01)
    assert Decimal("0.88") <= lo / Decimal(row["lo_h"]) <= Decimal("1.5")
    watts, computed = power(Source("S", output=Output.LINEAR, uo_v=uo, io_a=io))
    assert computed
    assert float(watts) == pytest.approx(float(row["po_calculated_w"]), rel=0.01)  # type: ignore[arg-type]
    assert float(watts) == pytest.approx(float(row["po_w"]), rel=0.05)  # type: ignore[arg-type]
    if row["ro_ohm"]:
        ratio = permitted_inductance_per_resistance(group, uo, Decimal(row["ro_ohm"]))
        assert float(ratio) == pytest.approx(float(row["lo_ro_calculated_h_per_ohm"]), rel=0.01)
        assert float(ratio) == pytest.approx(float(row["lo_ro_h_per_ohm"]), rel=0.05)


@pytest.mark.parametrize(
    "row", rows("capacitance_points.csv"), ids=lambda r: f"{r['voltage_v']} {r['group']} {r['factor']}"
)
def test_table_a2_meets_certified_points(row: dict[str, str]) -> None:
    cell = built_in(TableKind.CAPACITANCE).look_up(Group(row["group"]), row["factor"], Decimal(row["voltage_v"]))
    assert isinstance(cell, Cell)
    assert cell.value == Decimal(row["co_f"])
