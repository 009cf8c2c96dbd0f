"""Capacitance, inductance, L/R, several rows, and the longest cable: the corners."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from loops.engine.arithmetic import CONTEXT, RESIDUE, and3, at_most, whole_steps, with_full_precision
from loops.engine.case import NOT_STATED, UNKNOWN, Basis, Case, Group, Output, Permitted
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, MaxLength
from loops.engine.limits import ratio_limit_with_inductance, reaches_one_percent
from loops.engine.totals import Sum, cable_capacitance, ratio, settle
from loops.engine.verdict import judge

from . import make

LONG = make.cable(length_m=D(7000), capacitance_f_per_m=D(0))


def lengths(case: Case) -> MaxLength | None:
    return judge(case).max_length


def test_a_hundred_feet_at_the_limit_pass() -> None:
    """60 pF/ft does not end in F/m: 100 ft against 6 nF is equal on paper and must be equal here."""
    per_foot = CONTEXT.divide(D("60e-12"), D("0.3048")).quantize(D("1e-70"), context=CONTEXT)
    case = make.row(make.device(ci_f=D(0)), co_f=D("6e-9"))
    at = make.cable(case, length_m=D("30.48"), capacitance_f_per_m=per_foot)
    assert make.verdict(at, "capacitance") is PASS
    assert make.verdict(make.cable(at, length_m=D("30.480000000000000000001")), "capacitance") is FAIL
    default = replace(at, basis=Basis.NEC, cables=(replace(at.cables[0], capacitance_f_per_m=UNKNOWN),))  # type: ignore[index]
    assert make.verdict(default, "capacitance") is PASS


def test_whole_feet_lose_no_metre() -> None:
    case = make.row(make.device(ci_f=D(0)), co_f=D("300e-9"))
    default = replace(make.cable(case, capacitance_f_per_m=UNKNOWN), basis=Basis.NEC)
    assert lengths(default) == MaxLength(1524, "capacitance")  # 5000 ft


def test_only_the_residue_of_a_conversion_is_forgiven() -> None:
    def judged(value: D, limit: D) -> bool:
        return with_full_precision(at_most)(value, limit)

    one = D("0.1" + "0" * 60 + "1")
    assert judged(one, D("0.1"))  # 62 digits, an excess of 1e-61: a conversion's residue
    assert not judged(D("0.1000000000000000000000000000000000000001"), D("0.1"))
    assert not judged(CONTEXT.add(D("0.1"), D("1e-48")), D("0.1"))
    assert judged(D("0.1"), CONTEXT.subtract(D("0.1"), D("1e-61")))
    assert not judged(D("1e-60"), D(0))
    typed = CONTEXT.multiply(D(83), CONTEXT.add(1, RESIDUE * D("0.1")))
    assert judged(typed, D(83))


def test_whole_steps() -> None:
    assert with_full_precision(whole_steps)(D(1), CONTEXT.divide(D(1), D(3))) == 3
    assert whole_steps(D(0), D(1)) == 0
    assert whole_steps(D("0.99"), D(1)) == 0
    third = CONTEXT.divide(D(1), D(3))
    rounded_up = CONTEXT.add(third, D("1e-118"))
    assert with_full_precision(whole_steps)(D(1), rounded_up) == 3


@pytest.mark.parametrize("a", [True, False, None])
@pytest.mark.parametrize("b", [True, False, None])
def test_three_valued_and(a: bool | None, b: bool | None) -> None:
    expected = False if False in (a, b) else None if None in (a, b) else True
    assert and3(a, b) is expected


@pytest.mark.parametrize("limit", [UNKNOWN, NOT_STATED])
def test_one_percent_of_an_unknown_limit(limit: D) -> None:
    assert reaches_one_percent(Sum(D(0), ()), limit) is False
    assert reaches_one_percent(Sum(D(1), ()), limit) is None
    assert reaches_one_percent(Sum(D(0), ("Li of D1",)), limit) is None


def test_limits_of_zero_pass_only_with_nothing() -> None:
    case = make.device(make.cable(length_m=D(0)), ci_f=D(0))
    assert make.verdict(make.row(case, co_f=D(0)), "capacitance") is PASS
    assert make.verdict(make.row(case, lo_h=D(0)), "inductance") is PASS
    assert make.of(make.row(case, co_f=D(0)), "capacitance").margin is None
    assert make.verdict(make.cable(make.row(case, co_f=D(0)), length_m=D(1)), "capacitance") is FAIL


def test_unknown_ci_fails_where_the_rest_already_fails() -> None:
    case = make.device(make.cable(length_m=D(1000)), ci_f=UNKNOWN)
    assert make.verdict(case, "capacitance") is FAIL
    assert make.verdict(make.device(ci_f=UNKNOWN), "capacitance") is INCOMPLETE
    assert make.verdict(make.device(ci_f=NOT_STATED), "capacitance") is INCOMPLETE
    assert make.verdict(make.device(li_h=NOT_STATED), "inductance") is INCOMPLETE


def test_an_open_one_percent_rule() -> None:
    """Li is unknown and Ci reaches 1 %: between the halved and the full Co nothing can be said."""
    case = make.device(make.cable(length_m=D(460)), li_h=UNKNOWN)
    result = judge(make.row(case, lo_ro_h_per_ohm=NOT_STATED))
    assert make.of(result, "capacitance").verdict is PASS  # 52.8 nF, within the halved 53.5 nF
    assert make.of(result, "lumped_rule").verdict is INCOMPLETE
    assert make.verdict(make.cable(case, length_m=D(470)), "capacitance") is INCOMPLETE
    assert make.verdict(make.cable(case, length_m=D(960)), "capacitance") is FAIL
    assert not result.halved
    assert "1 % rule" in str(make.of(make.cable(case, length_m=D(470)), "capacitance").why.operands)


def test_an_open_rule_that_does_not_matter() -> None:
    """Lo is not stated and Li is not zero; L/R carries the inductance only while Li is under 1 %, so it stays open."""
    case = make.device(make.row(lo_h=UNKNOWN), li_h=D("1e-6"))
    result = judge(case)
    assert make.of(result, "inductance").verdict is INCOMPLETE
    assert make.of(result, "lumped_rule").verdict is INCOMPLETE


def test_lo_unknown_but_ratio_given() -> None:
    """Without inductance in the devices the ratio alone carries the circuit."""
    case = make.row(LONG, lo_h=UNKNOWN)
    assert make.verdict(case, "inductance") is PASS
    assert lengths(case) == MaxLength(None, "none")
    assert make.verdict(make.row(case, lo_ro_h_per_ohm=UNKNOWN), "inductance") is INCOMPLETE
    assert lengths(make.row(case, lo_ro_h_per_ohm=UNKNOWN)) is None


def test_inductance_over_its_limit_with_a_ratio() -> None:
    assert make.verdict(LONG, "inductance") is PASS
    assert lengths(LONG) == MaxLength(None, "none")
    high = make.cable(LONG, inductance_per_resistance_h_per_ohm=D("59e-6"))
    assert make.verdict(high, "inductance") is FAIL
    assert lengths(high) == MaxLength(6000, "inductance")
    unknown = make.cable(LONG, inductance_per_resistance_h_per_ohm=UNKNOWN, resistance_ohm_per_m=UNKNOWN)
    assert make.verdict(unknown, "inductance") is INCOMPLETE
    assert make.verdict(make.device(LONG, li_h=UNKNOWN), "inductance") is INCOMPLETE
    assert make.verdict(make.row(LONG, lo_ro_h_per_ohm=UNKNOWN), "inductance") is FAIL
    no_cables = replace(LONG, cables=None)
    assert make.verdict(no_cables, "inductance") is INCOMPLETE


def test_ratio_computed_from_l_and_r_takes_the_cold_cable() -> None:
    """0.65 mH/km over 24.2 ohm/km at 20 degC; at -20 degC copper has 84.28 % of that."""
    case = make.cable(LONG, inductance_per_resistance_h_per_ohm=UNKNOWN)
    check = make.of(case, "inductance")
    assert check.verdict is PASS
    assert isinstance(check.value, D)
    assert float(check.value) == pytest.approx(0.65e-6 / (0.0242 * 0.8428))
    assert any("least loop resistance" in remark.template for remark in judge(case).confirmations)
    assert make.verdict(make.area(case, ambient_min_c=UNKNOWN), "inductance") is INCOMPLETE
    per_core = make.cable(case, inductance_per_core=True)
    assert make.verdict(per_core, "inductance") is FAIL  # 63.7 uH/ohm


def test_ratio_of_a_cable() -> None:
    cable = replace(make.CABLE, inductance_per_resistance_h_per_ohm=UNKNOWN)
    assert ratio(replace(cable, resistance_ohm_per_m=D(0)), Basis.IEC, D(1), D(20)) == (None, "")
    assert ratio(cable, Basis.IEC, D(1), D(-300)) == (None, "")
    bare = replace(cable, inductance_h_per_m=UNKNOWN, resistance_ohm_per_m=UNKNOWN)
    assert ratio(bare, Basis.IEC, D(3), UNKNOWN) == (D("30e-6"), "default")
    assert ratio(bare, Basis.IEC, D("3.01"), UNKNOWN) == (None, "")
    assert ratio(bare, Basis.IEC, UNKNOWN, UNKNOWN) == (None, "")
    assert ratio(bare, Basis.NEC, D(1), UNKNOWN) == (None, "")


def test_default_ratio_is_named() -> None:
    case = make.cable(
        LONG,
        inductance_per_resistance_h_per_ohm=UNKNOWN,
        inductance_h_per_m=UNKNOWN,
        resistance_ohm_per_m=UNKNOWN,
    )
    result = judge(case)
    assert make.of(result, "inductance").verdict is PASS
    assert any("stands in for L/R" in remark.template for remark in result.confirmations)
    assert any("stands in for the inductance" in remark.template for remark in result.confirmations)


def test_ratio_recomputed_for_the_inductance_of_devices() -> None:
    """-11:2011, 10.1.4, from memory: Li of 1 mH on a linear source of 25.2 V and 265 ohm."""
    case = make.device(LONG, ci_f=D(0), li_h=D("1e-3"))
    check = make.of(case, "inductance")
    e, u, r, li = 40e-6, 25.2, 25.2 / 0.095, 1e-3
    expected = (8 * e * min(r, 265) + (64 * e**2 * min(r, 265) ** 2 - 72 * u**2 * e * li) ** 0.5) / (4.5 * u**2)
    assert check.verdict is PASS
    assert float(check.limit) == pytest.approx(min(expected, 58e-6))  # type: ignore[arg-type]
    assert check.rule == "inductance_ratio_computed"
    assert any("recomputed" in remark.template for remark in judge(case).confirmations)
    for closed in (
        make.source(case, output=Output.RECTANGULAR),
        make.source(case, uo_v=UNKNOWN),
        make.source(case, uo_v=D(0)),
        make.source(case, io_a=UNKNOWN, ro_ohm=UNKNOWN),
        make.device(case, li_h=D("4e-3")),
        make.device(case, ci_f=D("2e-9")),  # the 1 % rule applies
        make.cable(case, inductance_per_resistance_h_per_ohm=D("57e-6")),
    ):
        assert make.verdict(closed, "inductance") is FAIL


def test_recomputed_ratio_is_closed_while_li_is_open() -> None:
    second = replace(make.DEVICE, name="D2", ci_f=D(0), li_h=UNKNOWN)
    case = make.device(LONG, ci_f=D(0), li_h=D("1e-3"))
    assert make.verdict(replace(case, devices=(*case.devices, second)), "inductance") is FAIL


def test_ratio_limit_runs_out() -> None:
    assert ratio_limit_with_inductance(D(28), D(300), D("4.1e-3"), D("40e-6")) is None
    assert ratio_limit_with_inductance(D(28), D(300), D("4.0e-3"), D("40e-6")) is not None


def test_lo_missing_closes_the_recomputed_way() -> None:
    case = make.device(make.row(LONG, lo_h=UNKNOWN), li_h=D("1e-3"), ci_f=D(0))
    assert make.verdict(case, "inductance") is INCOMPLETE


def test_the_longest_cable() -> None:
    assert lengths(make.CASE) == MaxLength(952, "capacitance")
    assert lengths(make.row(lo_h=D("0.3e-3"), lo_ro_h_per_ohm=UNKNOWN)) == MaxLength(461, "inductance")
    assert lengths(make.device(ci_f=D("200e-9"))) == MaxLength(0, "capacitance")
    assert lengths(make.device(ci_f=UNKNOWN)) is None
    over = make.device(make.cable(capacitance_f_per_m=D(0)), ci_f=D("200e-9"))
    assert lengths(over) == MaxLength(0, "capacitance")
    first = replace(make.CABLE, name="W0", length_m=D(400))
    assert lengths(replace(make.CASE, cables=(first, make.CABLE))) == MaxLength(552, "capacitance")
    nothing = make.cable(capacitance_f_per_m=D(0), inductance_h_per_m=D(0))
    assert lengths(nothing) == MaxLength(None, "none")
    only_l = make.row(make.cable(capacitance_f_per_m=D(0)), lo_ro_h_per_ohm=UNKNOWN)
    assert lengths(only_l) == MaxLength(6000, "inductance")


def test_the_cure_names_the_longest_cable() -> None:
    cure = make.of(make.cable(length_m=D(960)), "capacitance").cure
    assert cure is not None and cure.operands == ("W1", 952)
    cure = make.of(make.device(ci_f=D("200e-9")), "capacitance").cure
    assert cure is not None and cure.operands == (D("233e-9"),)  # 200 nF and 300 m of 110 nF/km
    halved = make.device(ci_f=D("60e-9"), li_h=D("100e-6"))
    cure = make.of(halved, "capacitance").cure
    assert cure is not None and cure.operands == (D("186e-9"),)
    high = make.row(make.device(li_h=D("5e-3"), ci_f=D(0)), lo_ro_h_per_ohm=UNKNOWN)
    cure = make.of(high, "inductance").cure
    assert cure is not None and cure.operands == (D("5.195e-3"),)
    halved_l = make.row(make.device(li_h=D("3e-3")), lo_ro_h_per_ohm=UNKNOWN)
    cure = make.of(halved_l, "inductance").cure
    assert cure is not None and cure.operands == (D("6.39e-3"),)


def test_any_one_pair_of_a_group_is_enough() -> None:
    small = Permitted(Group.IIC, D("10e-9"), D("10e-3"))
    result = judge(make.source(permitted=(small, make.ROW)))
    assert make.of(result, "capacitance").verdict is PASS
    assert "pair 2 of 2" in str(make.of(result, "capacitance").why.operands)
    both_fail = judge(make.source(permitted=(small, Permitted(Group.IIC, D("107e-9"), D("1e-6")))))
    assert FAIL in {make.of(both_fail, "capacitance").verdict, make.of(both_fail, "inductance").verdict}
    unknown = judge(make.source(permitted=(small, Permitted(Group.IIC, UNKNOWN, D("3.9e-3")))))
    assert make.of(unknown, "capacitance").verdict is INCOMPLETE


def test_the_longest_cable_is_that_of_the_best_pair() -> None:
    rows = (Permitted(Group.IIC, D("40e-9"), D("3.9e-3")), Permitted(Group.IIC, D("107e-9"), D("0.3e-3")))
    assert lengths(make.source(permitted=rows)) == MaxLength(461, "inductance")
    nothing = make.cable(make.source(permitted=(make.ROW, make.ROW)), capacitance_f_per_m=D(0))
    assert lengths(nothing) == MaxLength(None, "none")


def test_a_pair_declared_together_is_not_halved() -> None:
    case = make.device(make.row(together=True), li_h=D("50e-6"))
    result = judge(case)
    assert not result.halved
    assert make.of(result, "lumped_rule").verdict is NOT_APPLICABLE


@pytest.mark.parametrize(
    "area, rows, used",
    [
        (Group.IIB, [Group.IIC], Group.IIC),
        (Group.IIB, [Group.IIC, Group.IIB], Group.IIB),
        (Group.IIA, [Group.IIC, Group.IIB], Group.IIB),
        (Group.IIA, [Group.C], Group.IIB),
        (Group.IIIC, [Group.IIC, Group.IIB], Group.IIB),
        (Group.IIIB, [Group.IIC], Group.IIC),
        (Group.IIIA, [Group.IIIC, Group.IIB], Group.IIIC),
        (Group.I, [Group.I, Group.IIC], Group.I),
        (Group.I, [Group.IIC], None),
        (Group.IIC, [Group.IIB], None),
        (Group.B, [Group.A], Group.IIC),
    ],
)
def test_the_row_for_the_area(area: Group, rows: list[Group], used: Group | None) -> None:
    case = make.area(make.source(permitted=tuple(Permitted(g, D(1), D(1)) for g in rows)), group=area)
    check = make.of(case, "capacitance")
    assert (check.verdict is INCOMPLETE) is (used is None)
    group = make.of(case, "group", "S1")
    assert group.verdict is (FAIL if used is None else PASS)
    if used is not None:
        assert group.value == used.value


def test_unknown_group_of_the_area() -> None:
    case = make.area(group=None)
    assert make.verdict(case, "capacitance") is INCOMPLETE
    assert make.verdict(case, "group") is INCOMPLETE


def test_default_capacitance_is_named() -> None:
    result = judge(make.cable(capacitance_f_per_m=UNKNOWN))
    assert result.totals.capacitance_f == D("62.2e-9")
    assert any("stands in for the capacitance" in remark.template for remark in result.confirmations)
    run = settle(make.CABLE, Basis.IEC, False)
    assert cable_capacitance([run]).known == D("33e-9")


def test_a_cable_of_no_length_takes_nothing() -> None:
    result = judge(make.cable(length_m=D(0)))
    assert result.totals.capacitance_f == D("2.2e-9")
    assert result.totals.inductance_h == 0


def test_the_limit_that_is_shown() -> None:
    """A certain failure names the full limit while the 1 % rule is open, anything else the strict one."""
    case = make.row(make.device(make.cable(length_m=D(7000)), li_h=UNKNOWN), lo_ro_h_per_ohm=NOT_STATED)
    check = make.of(case, "inductance")
    assert (check.verdict, check.limit) == (FAIL, D("3.9e-3"))
    assert check.why.operands[4] == "for group IIC"
    check = make.of(make.cable(case, length_m=D(4000)), "inductance")
    assert (check.verdict, check.limit) == (INCOMPLETE, D("1.95e-3"))
    check = make.of(make.cable(case, length_m=D(980)), "capacitance")
    assert (check.verdict, check.limit) == (FAIL, D("107e-9"))
    check = make.of(make.cable(case, length_m=D(500)), "capacitance")
    assert (check.verdict, check.limit) == (INCOMPLETE, D("53.5e-9"))
    halved = make.of(make.device(li_h=D("50e-6")), "capacitance")
    assert "halved by the 1 % rule" in str(halved.why.operands)
    assert "halved" not in str(make.of(make.CASE, "capacitance").why.operands)


def test_where_the_last_run_is_not_to_blame_the_cure_is_less_cable_in_all() -> None:
    runs = (replace(make.CABLE, name="W1", length_m=D(2000)), replace(make.CABLE, name="W2", length_m=D(10)))
    cure = make.of(replace(make.CASE, cables=runs), "capacitance").cure
    assert cure is not None and "together" in cure.template
    assert cure.operands == (D("104.8e-9"),)  # Co 107 nF less Ci 2.2 nF


def test_no_source_cures_what_is_above_the_cap_of_the_one_percent_rule() -> None:
    """Halved Co is at most 600 nF in IIC, whatever the source permits (IEC 60079-11:2011, 10.1.5.2)."""
    case = make.device(make.row(co_f=D("100e-6")), ci_f=D("1e-6"), li_h=D("50e-6"))
    check = make.of(case, "capacitance")
    assert check.limit == D("600e-9")
    assert check.cure is not None and check.cure.operands == (D("600e-9"),)


def test_what_reaches_one_percent_is_not_told_to_be_below_it() -> None:
    """1 % of 3.9 mH is 39 uH."""
    below, reached = (make.of(make.device(li_h=D(li)), "lumped_rule") for li in ("38.9e-6", "39e-6"))
    assert (below.relation, reached.relation) == ("<", "reaches")
    assert below.margin is None and reached.margin is None
