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
    Output,
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
from loops.engine.verdict import judge, plausibility, verdict_of

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
