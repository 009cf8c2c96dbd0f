"""Several sources on one circuit: tables A.1 and A.2, arrangements, and what they permit.

Expected values by table are those of tables A.1 and A.2 of IEC 60079-11:2011, from memory, at cells that published
certificates show (28 V: 83 nF; 0.120 A at 28 V, IIC, factor 1.5).
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Case,
    Group,
    Interconnection,
    Level,
    Output,
    Parameter,
    Permitted,
    Source,
)
from loops.engine.findings import BEYOND, FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, CircuitVerdict
from loops.engine.sources import Arrangement, arrangements, least_resistance, matched_power, power
from loops.engine.verdict import judge

from . import make


def barrier(name: str, uo: str, io: str, **changes: object) -> Source:
    """A linear channel with its own permitted values left open."""
    rows = (Permitted(Group.IIC, D("1e-3"), D(1), D(1)),)
    values: dict[str, object] = {"uo_v": D(uo), "io_a": D(io), "po_w": UNKNOWN, "ro_ohm": UNKNOWN, "permitted": rows}
    return replace(make.SOURCE, name=name, **{**values, **changes})  # type: ignore[arg-type]


def circuit(*sources: Source, how: Interconnection = Interconnection.UNDEFINED, **changes: object) -> Case:
    device = replace(make.DEVICE, ui_v=D(60), ii_a=D(1), pi_w=D(5), ci_f=D(0))
    cable = replace(make.CABLE, length_m=D(10))
    return replace(make.CASE, sources=sources, devices=(device,), cables=(cable,), interconnection=how, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("how", [Interconnection.PARALLEL, Interconnection.UNDEFINED])
def test_two_28_volt_300_ohm_channels_fail_in_iic(how: Interconnection) -> None:
    """In parallel 28 V and 186.6 mA: table A.1 permits 120 mA (a mistake that practice reports)."""
    result = judge(circuit(barrier("S1", "28", "0.0933"), barrier("S2", "28", "0.0933"), how=how))
    assert result.verdict is CircuitVerdict.DOES_NOT_COMPLY
    check = next(c for c in result.checks if c.id == "sources" and c.verdict is FAIL)
    assert (check.value, check.limit) == (D("0.1866"), D("0.120"))
    assert "table A.1" in str(check.why.operands)
    assert check.cure is not None and check.cure.operands == (D("0.120"),)


def test_series_above_the_last_rows_is_beyond_simple_rules() -> None:
    result = judge(circuit(barrier("S1", "28", "0.05"), barrier("S2", "28", "0.05"), how=Interconnection.SERIES))
    assert result.verdict is CircuitVerdict.BEYOND_SIMPLE_RULES
    assert [c.verdict for c in result.checks if c.id == "sources"] == [BEYOND, BEYOND]
    assert make.of(result, "capacitance").verdict is INCOMPLETE


def test_between_the_ends_of_both_tables_only_capacitance_is_beyond() -> None:
    """A.1 ends at 45 V, A.2 at 30 V."""
    result = judge(circuit(barrier("S1", "20", "0.01"), barrier("S2", "20", "0.01"), how=Interconnection.SERIES))
    assert [c.verdict for c in result.checks if c.id == "sources"] == [PASS, BEYOND]


def test_parallel_takes_the_sum_of_currents_and_the_larger_voltage() -> None:
    result = judge(circuit(barrier("S1", "25.2", "0.04"), barrier("S2", "12", "0.02"), how=Interconnection.PARALLEL))
    assert make.of(result, "voltage").value == D("25.2")
    assert make.of(result, "current").value == D("0.06")
    assert make.of(result, "power").value == D("25.2") * D("0.04") / 4 + D(12) * D("0.02") / 4
    assert result.totals.permitted_capacitance_f == D("107e-9")
    assert result.system.level is Level.IB


def test_series_takes_the_sum_of_voltages_and_the_larger_current() -> None:
    result = judge(circuit(barrier("S1", "9", "0.04"), barrier("S2", "6", "0.02"), how=Interconnection.SERIES))
    assert make.of(result, "voltage").value == D(15)
    assert make.of(result, "current").value == D("0.04")
    assert result.totals.permitted_capacitance_f == D("580e-9")


def test_undefined_takes_the_most_onerous_of_each() -> None:
    result = judge(circuit(barrier("S1", "9", "0.04"), barrier("S2", "6", "0.02")))
    assert make.of(result, "voltage").value == D(15)
    assert make.of(result, "current").value == D("0.06")
    assert result.totals.permitted_capacitance_f == D("580e-9")
    assert result.totals.permitted_inductance_h is not None
    assert round(result.totals.permitted_inductance_h, 20) == round(2 * D("40e-6") / (D("1.5") * D("0.06")) ** 2, 20)


def test_next_higher_row_between_rows() -> None:
    result = judge(circuit(barrier("S1", "14.95", "0.01"), barrier("S2", "1", "0.01"), how=Interconnection.PARALLEL))
    assert result.totals.permitted_capacitance_f == D("580e-9")  # row 15.0 V


def test_below_the_first_row_there_is_no_current_limit() -> None:
    case = circuit(barrier("S1", "12.0", "3"), barrier("S2", "12.0", "3"), how=Interconnection.PARALLEL)
    check = next(c for c in judge(case).checks if c.id == "sources")
    assert (check.verdict, check.limit) == (PASS, None)


def test_capacitance_below_the_first_row_takes_the_first_row() -> None:
    result = judge(circuit(barrier("S1", "2", "0.1"), barrier("S2", "2", "0.1"), how=Interconnection.PARALLEL))
    assert result.totals.permitted_capacitance_f == D("100e-6")


def test_all_ic_sources_use_the_column_without_safety_factor() -> None:
    sources = [barrier(n, "28", "0.08", level=Level.IC) for n in ("S1", "S2")]
    case = make.area(circuit(*sources, how=Interconnection.PARALLEL), zone="2")
    check = make.of(case, "sources")
    assert (check.verdict, check.limit) == (PASS, D("0.180"))
    assert judge(case).totals.permitted_capacitance_f == D("272e-9")
    mixed = make.source(case, level=Level.IA)
    assert make.verdict(mixed, "sources") is FAIL


def test_calculated_combination_is_capped_at_ib() -> None:
    case = circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.02"), how=Interconnection.PARALLEL)
    assert make.verdict(case, "level") is PASS
    check = make.of(make.area(case, zone="0"), "level")
    assert check.verdict is FAIL
    assert check.cure is not None and "One certified source" in check.cure.template


def test_what_a_certificate_permits_alone_is_never_exceeded() -> None:
    rows = (Permitted(Group.IIC, D("60e-9"), D("2e-3"), D("20e-6")),)
    sources = (barrier("S1", "12", "0.01", permitted=rows), barrier("S2", "12", "0.01"))
    totals = judge(circuit(*sources, how=Interconnection.PARALLEL)).totals
    assert (totals.permitted_capacitance_f, totals.permitted_inductance_h) == (D("60e-9"), D("2e-3"))


def test_a_channel_without_current_counts_for_capacitance_alone() -> None:
    """Diode return: its voltage counts for C, it gives no current."""
    case = circuit(barrier("S1", "25.2", "0.05"), barrier("S2", "28", "0"), how=Interconnection.PARALLEL)
    result = judge(case)
    assert make.of(result, "current").value == D("0.05")
    assert result.totals.permitted_capacitance_f == D("83e-9")
    check = make.of(result, "sources")
    assert check.why.operands[2] == D("25.2")
    idle = judge(circuit(barrier("S1", "12", "0"), barrier("S2", "12", "0"), how=Interconnection.PARALLEL))
    assert make.of(idle, "sources").verdict is PASS
    assert idle.totals.permitted_inductance_h == 1
    none = judge(circuit(barrier("S1", "0", "0"), barrier("S2", "0", "0"), how=Interconnection.PARALLEL))
    assert make.of(none, "sources").verdict is PASS


def test_ratio_of_a_combination_lets_a_long_cable_pass() -> None:
    case = circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04"), how=Interconnection.PARALLEL)
    long = make.cable(make.row(case), length_m=D(20000), capacitance_f_per_m=D(0))
    check = make.of(long, "inductance")
    assert check.verdict is PASS
    assert isinstance(check.limit, D)
    assert round(check.limit, 20) == round(32 * D("40e-6") * D("112.5") / (9 * D(81)), 20)


@pytest.mark.parametrize(
    "output, verdict", [(Output.RECTANGULAR, BEYOND), (Output.TRAPEZOIDAL, BEYOND), (None, INCOMPLETE)]
)
def test_a_source_that_is_not_linear_is_not_combined(output: Output | None, verdict: object) -> None:
    case = circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04", output=output, po_w=D("0.1")))
    result = judge(case)
    for name in ("sources", "voltage", "current", "power", "capacitance", "inductance", "lumped_rule"):
        assert make.of(result, name).verdict is verdict, name
    assert result.totals.permitted_capacitance_f is None
    assert result.max_length is None
    assert result.system.group is None


def test_a_combination_that_is_not_settled_still_fails_where_one_source_alone_fails() -> None:
    case = circuit(barrier("S1", "70", "2"), barrier("S2", "9", "0.04", output=Output.RECTANGULAR))
    result = judge(case)
    assert result.verdict is CircuitVerdict.DOES_NOT_COMPLY
    assert make.of(result, "voltage").verdict is make.of(result, "current").verdict is FAIL
    rows = (Permitted(Group.IIC, D("1e-9"), D("1e-6")),)
    case = circuit(barrier("S1", "9", "0.1", permitted=rows), barrier("S2", "9", "0.04", output=Output.RECTANGULAR))
    result = judge(case)
    assert make.of(result, "capacitance").verdict is make.of(result, "inductance").verdict is FAIL


@pytest.mark.parametrize("field", ["uo_v", "io_a"])
def test_an_unknown_value_of_one_source_leaves_the_combination_open(field: str) -> None:
    case = circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04", **{field: UNKNOWN}))
    assert make.verdict(case, "sources") is INCOMPLETE
    assert judge(case).verdict is CircuitVerdict.INCOMPLETE


def test_unknown_group_leaves_the_combination_open() -> None:
    case = make.area(circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04")), group=None)
    assert make.verdict(case, "sources") is INCOMPLETE
    open_case = make.area(circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04", output=None)), group=None)
    assert make.verdict(open_case, "capacitance") is INCOMPLETE


def test_unknown_power_of_one_source_is_not_added() -> None:
    case = circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04"), how=Interconnection.PARALLEL)
    assert make.of(case, "power").value == D("0.18")


def test_group_one_has_no_table() -> None:
    case = make.area(circuit(barrier("S1", "9", "0.04"), barrier("S2", "9", "0.04")), group=Group.I)
    assert make.of(case, "sources").verdict is BEYOND


def test_dust_uses_the_iib_column() -> None:
    case = circuit(barrier("S1", "28", "0.05"), barrier("S2", "28", "0.05"), how=Interconnection.PARALLEL)
    dust = make.area(case, group=Group.IIIC, zone="21")
    assert judge(dust).totals.permitted_capacitance_f == D("650e-9")


def test_one_source_is_not_combined() -> None:
    assert make.verdict(make.CASE, "sources") is NOT_APPLICABLE


def test_more_than_four_undefined_sources_are_bounded() -> None:
    part = Arrangement(D(2), D(1), D(2))
    (bound,) = arrangements([part] * 5, Interconnection.UNDEFINED)
    assert bound[:2] == (D(10), D(5))
    assert round(bound.resistance_ohm, 20) == D("0.4")
    for network in arrangements([part] * 4, Interconnection.UNDEFINED):
        assert network.voltage_v <= 8 and network.current_a <= 4
    assert len(arrangements([part] * 3, Interconnection.UNDEFINED)) == 4


def test_matched_power_of_nothing_is_zero() -> None:
    assert matched_power([Arrangement(D(5), D(0), D(0))], Interconnection.SERIES) == 0
    two = [Arrangement(D(10), D(1), D(10)), Arrangement(D(20), D(1), D(20))]
    assert matched_power(two, Interconnection.SERIES) == D("7.5")
    assert matched_power(two, Interconnection.UNDEFINED) == D("7.5")


@pytest.mark.parametrize(
    "output, po, expected, computed",
    [
        (Output.LINEAR, UNKNOWN, D("2.5"), True),
        (Output.LINEAR, NOT_STATED, D("2.5"), True),
        (Output.RECTANGULAR, UNKNOWN, D(10), True),
        (Output.TRAPEZOIDAL, UNKNOWN, UNKNOWN, False),
        (Output.TRAPEZOIDAL, NOT_STATED, NOT_STATED, False),
        (None, UNKNOWN, UNKNOWN, False),
        (Output.LINEAR, D(1), D(1), False),
    ],
)
def test_power_that_is_not_given(output: Output | None, po: Parameter, expected: Parameter, computed: bool) -> None:
    assert power(Source("S", output=output, uo_v=D(10), io_a=D(1), po_w=po)) == (expected, computed)


def test_power_needs_voltage_and_current() -> None:
    assert power(Source("S", output=Output.LINEAR, uo_v=D(10))) == (UNKNOWN, False)


def test_least_resistance() -> None:
    assert least_resistance(Source("S")) is None
    assert least_resistance(Source("S", ro_ohm=D(5))) == 5
    assert least_resistance(Source("S", uo_v=D(10), io_a=D(0), ro_ohm=D(5))) == 5


def test_of_several_rows_of_one_source_the_largest_bounds_the_combination() -> None:
    rows = (Permitted(Group.IIC, D("60e-9"), D("2e-3")), Permitted(Group.IIC, D("90e-9"), D("1e-3")))
    sources = (barrier("S1", "12", "0.01", permitted=rows), barrier("S2", "12", "0.01"))
    totals = judge(circuit(*sources, how=Interconnection.PARALLEL)).totals
    assert (totals.permitted_capacitance_f, totals.permitted_inductance_h) == (D("90e-9"), D("2e-3"))
    open_row = (*rows, Permitted(Group.IIC))
    sources = (barrier("S1", "12", "0.01", permitted=open_row), barrier("S2", "12", "0.01"))
    totals = judge(circuit(*sources, how=Interconnection.PARALLEL)).totals
    assert totals.permitted_capacitance_f == D("1.41e-6")  # table A.2 at 12 V: an open row bounds nothing


def test_undefined_meets_the_current_of_the_parallel_at_the_voltage_of_the_series_connection() -> None:
    """Two of 12 V and 100 mA: 24 V permits 174 mA (table A.1), which each connection keeps and 200 mA does not."""
    sources = (barrier("S1", "12", "0.1"), barrier("S2", "12", "0.1"))
    for how in (Interconnection.SERIES, Interconnection.PARALLEL):
        assert {c.verdict for c in judge(circuit(*sources, how=how)).checks if c.id == "sources"} == {PASS}
    check = next(c for c in judge(circuit(*sources)).checks if c.id == "sources")
    assert (check.verdict, check.value, check.limit) == (FAIL, D("0.2"), D("0.174"))
    assert check.cure is not None and "in series or in parallel" in check.cure.template


@pytest.mark.parametrize(("parts", "networks"), [(1, 1), (2, 2), (3, 8), (4, 52)])
def test_every_series_parallel_network_is_judged(parts: int, networks: int) -> None:
    """Two-terminal series-parallel networks of n labelled parts: 1, 2, 8, 52 (OEIS A006351, from memory).

    The resistances are such that no two networks have the same one.
    """
    sources = [Arrangement(D(10), D(1), ohm) for ohm in map(D, ("1", "10.1", "103.7", "1009.3"))][:parts]
    found = arrangements(sources, Interconnection.UNDEFINED)
    assert len({round(network.resistance_ohm, 20) for network in found}) == networks
