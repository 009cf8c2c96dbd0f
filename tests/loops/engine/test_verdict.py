"""The whole circuit: precedence, confirmations, references, ids and margins (the agreed words of a result)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D

import pytest

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Basis,
    DeviceKind,
    Group,
    Level,
    Output,
    Permitted,
)
from loops.engine.findings import (
    BEYOND,
    CONFIRM,
    FAIL,
    INCOMPLETE,
    NOT_APPLICABLE,
    PASS,
    Check,
    CheckId,
    CircuitVerdict,
    Remark,
    Verdict,
)
from loops.engine.references import RULES, cite
from loops.engine.tables import built_in_tables
from loops.engine.verdict import judge, plausibility, plausibility_of_permitted, verdict_of

from . import make

TODAY = date(2026, 11, 25)


def text(check: Check) -> str:
    """Template and operands, to look for words in."""
    return f"{check.why.template} {check.why.operands}"


def check(verdict: Verdict) -> Check:
    return Check(CheckId.UM, verdict, ("S",), Remark(""), "um")


@pytest.mark.parametrize(
    "verdicts, whole",
    [
        ([PASS, FAIL, BEYOND, INCOMPLETE], CircuitVerdict.DOES_NOT_COMPLY),
        ([PASS, BEYOND, INCOMPLETE], CircuitVerdict.BEYOND_SIMPLE_RULES),
        ([PASS, INCOMPLETE, CONFIRM], CircuitVerdict.INCOMPLETE),
        ([PASS, CONFIRM, NOT_APPLICABLE], CircuitVerdict.COMPLIES),
    ],
)
def test_precedence(verdicts: list[Verdict], whole: CircuitVerdict) -> None:
    assert verdict_of([check(verdict) for verdict in verdicts]) is whole


def test_a_circuit_without_devices_is_incomplete() -> None:
    result = judge(replace(make.CASE, devices=()))
    assert result.verdict is CircuitVerdict.INCOMPLETE
    assert {c.verdict for c in result.checks if c.id in {"voltage", "current", "power"}} == {INCOMPLETE}


def test_a_certificate_that_rests_on_ui_alone_is_confirmed() -> None:
    case = make.device(ii_a=NOT_STATED, pi_w=NOT_STATED)
    result = judge(case)
    assert result.verdict is CircuitVerdict.COMPLIES
    assert any("rests on Ui alone" in remark.template for remark in result.confirmations)
    assert judge(make.device(case, ui_v=NOT_STATED)).verdict is CircuitVerdict.INCOMPLETE
    assert make.verdict(make.device(case, ui_v=UNKNOWN), "current") is INCOMPLETE
    assert make.verdict(make.device(ii_a=NOT_STATED, pi_w=UNKNOWN), "power") is INCOMPLETE


def test_every_missing_value_is_named() -> None:
    check = make.of(make.device(make.source(uo_v=UNKNOWN), ui_v=UNKNOWN), "voltage")
    assert check.why.operands == ("Uo of S1 and Ui of D1",)
    simple = make.source(make.simple(), uo_v=UNKNOWN)
    assert make.of(simple, "voltage").why.operands == ("Uo of S1",)
    assert make.verdict(make.simple(), "voltage") is NOT_APPLICABLE
    rated = replace(make.SIMPLE, ui_v=D(10))
    assert make.verdict(replace(make.CASE, devices=(rated,)), "voltage") is FAIL


def test_computed_power_is_said_to_be_computed() -> None:
    assert "computed from Uo and Io" in make.of(make.source(po_w=UNKNOWN), "power").why.template


def test_figures_that_do_not_fit_are_confirmed() -> None:
    fits = make.SOURCE
    assert plausibility(fits) == []
    assert plausibility(replace(fits, po_w=D("0.62"))) == []  # Uo*Io/4 is 0.5985 W; 5 % above is 0.628
    assert len(plausibility(replace(fits, po_w=D("0.63")))) == 1
    assert len(plausibility(replace(fits, ro_ohm=D(200)))) == 1
    assert plausibility(replace(fits, ro_ohm=D(0))) == []
    assert plausibility(replace(fits, output=Output.RECTANGULAR, po_w=D(2))) == []
    assert plausibility(replace(fits, uo_v=UNKNOWN)) == []
    assert plausibility(replace(fits, io_a=UNKNOWN)) == []


def test_every_check_has_a_reference_for_both_bases() -> None:
    used = {check.rule for case in (make.CASE, make.simple()) for check in judge(case).checks}
    assert used <= set(RULES)
    for basis in Basis:
        assert all(cite(rule, basis) for rule in RULES)
    assert "NEC 504" in make.of(make.CASE, "voltage").reference(Basis.NEC)


def test_every_id_is_there_for_every_circuit() -> None:
    assert {check.id for check in judge(make.CASE).checks} == set(CheckId)


def test_margins() -> None:
    assert make.of(make.CASE, "voltage").margin == D("0.16")
    assert make.of(make.CASE, "cable_construction").margin == 1
    assert make.of(make.CASE, "ambient", "D1").margin is None
    assert make.of(make.CASE, "lumped_rule").margin is None
    assert make.of(make.CASE, "level").margin is None


def test_kinds_of_device() -> None:
    assert make.verdict(make.device(kind=DeviceKind.UNCERTIFIED), "voltage") is PASS


def test_permitted_values_far_above_the_curves_are_confirmed() -> None:
    """28 V and 93 mA in IIC: table A.2 gives 83 nF and the formula 4.11 mH; 3.05 mH to 4.2 mH are in print."""

    def doubts(**row: object) -> list[object]:
        permitted = Permitted(Group.IIC, **{"co_f": D("83e-9"), "lo_h": D("4.2e-3"), **row})  # type: ignore[arg-type]
        source = replace(make.SOURCE, uo_v=D(28), io_a=D("0.093"), permitted=(permitted,), **changes)  # type: ignore[arg-type]
        return [remark.operands[0] for remark in plausibility_of_permitted(source, built_in_tables())]

    changes: dict[str, object] = {}
    assert doubts() == []
    assert doubts(co_f=D("95.45e-9")) == []  # 83 nF and 15 %
    assert doubts(co_f=D("95.46e-9")) == ["Co"]
    assert doubts(lo_h=D("4.8e-3"), co_f=NOT_STATED) == ["Lo"]
    changes = {"level": Level.IC}
    assert doubts(co_f=D("272e-9"), lo_h=D("9.2e-3")) == []  # factor 1
    assert doubts(co_f=D("313e-9"), lo_h=D("11e-3")) == ["Co", "Lo"]
    changes = {"output": Output.RECTANGULAR}
    assert doubts(lo_h=D(1)) == []


def test_outside_the_curves_nothing_is_doubted() -> None:
    rows = (Permitted(Group.IIC, D(1), D(1)),)
    above = replace(make.SOURCE, uo_v=D(200), io_a=UNKNOWN, permitted=rows)
    assert plausibility_of_permitted(above, built_in_tables()) == []
    assert plausibility_of_permitted(replace(above, uo_v=UNKNOWN), built_in_tables()) == []
    odd = replace(make.CASE, sources=(replace(make.SOURCE, permitted=rows),))
    assert any("over 15 %" in remark.template for remark in judge(odd).confirmations)
