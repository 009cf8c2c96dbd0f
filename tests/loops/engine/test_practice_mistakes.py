"""Mistakes that practice reports; each must be seen (common practice, no source).

Two of them are met elsewhere: slips of unit by the reader of quantities, two 28 V channels in IIC by ``test_sources``.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D

import pytest

from loops.engine.case import (
    UNKNOWN,
    Certificate,
    CertificateStatus,
    DeviceKind,
    Group,
    Interconnection,
    Needs,
    Permitted,
    Screen,
    Supply,
)
from loops.engine.findings import CONFIRM, FAIL, INCOMPLETE, PASS, CircuitVerdict
from loops.engine.verdict import judge

from . import make


def test_the_complete_circuit_complies() -> None:
    result = judge(make.CASE)
    assert result.verdict is CircuitVerdict.COMPLIES
    assert result.confirmations == ()


def test_a_forgotten_cable_is_not_zero() -> None:
    result = judge(replace(make.CASE, cables=None))
    assert result.verdict is CircuitVerdict.INCOMPLETE
    assert make.of(result, "capacitance").verdict is INCOMPLETE
    assert any("No cable run is entered" in remark.template for remark in result.confirmations)


def test_no_cable_at_all_is_asked_about() -> None:
    result = judge(replace(make.CASE, cables=()))
    assert result.verdict is CircuitVerdict.COMPLIES
    assert any("no run was forgotten" in remark.template for remark in result.confirmations)
    assert result.max_length is None


def test_every_segment_of_the_cable_counts() -> None:
    second = replace(make.CABLE, name="W2", length_m=D(700))
    result = judge(replace(make.CASE, cables=(make.CABLE, second)))
    assert make.of(result, "capacitance").verdict is FAIL
    assert result.totals.capacitance_f == D("112.2e-9")


def test_a_segment_of_unknown_length_is_not_zero() -> None:
    result = judge(replace(make.CASE, cables=(replace(make.CABLE, name="W0", length_m=UNKNOWN), make.CABLE)))
    assert result.verdict is CircuitVerdict.INCOMPLETE
    assert "length of W0" in str(make.of(result, "capacitance").why.operands)
    assert result.max_length is None


def test_iib_values_in_a_iic_area() -> None:
    case = make.source(permitted=(Permitted(Group.IIB, D("820e-9"), D("15e-3")),))
    result = judge(case)
    assert make.of(result, "group", "S1").verdict is FAIL
    assert make.of(result, "capacitance").verdict is INCOMPLETE
    assert result.verdict is CircuitVerdict.DOES_NOT_COMPLY


def test_iib_device_in_a_iic_area() -> None:
    assert make.verdict(make.device(group=Group.IIB), "group", "D1") is FAIL


def test_the_one_percent_rule_is_applied_only_when_both_reach_it() -> None:
    assert not judge(make.device(li_h=D("38e-6"))).halved
    assert judge(make.device(li_h=D("40e-6"))).halved


def test_cable_does_not_count_for_the_one_percent_rule() -> None:
    assert not judge(make.cable(length_m=D(900))).halved


def test_a_barrier_counts_core_to_screen() -> None:
    core = {"capacitance_f_per_m": UNKNOWN, "core_core_f_per_m": D("100e-12"), "core_screen_f_per_m": D("180e-12")}
    case = make.cable(make.device(ci_f=D(0)), length_m=D(100), screen=Screen.ISOLATED, **core)
    assert judge(case).totals.capacitance_f == D("19e-9")
    assert judge(make.source(case, isolated=False)).totals.capacitance_f == D("28e-9")
    assert judge(make.source(case, isolated=None)).totals.capacitance_f == D("28e-9")
    assert judge(make.cable(case, screen=Screen.ON_ONE_CORE)).totals.capacitance_f == D("28e-9")


def test_a_barrier_with_a_plain_capacitance_asks_for_core_to_screen() -> None:
    result = judge(make.source(isolated=False))
    assert any("core to screen" in remark.template for remark in result.confirmations)


def test_per_core_figures_count_both_cores() -> None:
    case = make.cable(inductance_per_core=True)
    assert judge(case).totals.inductance_h == D("390e-6")


def test_simple_apparatus_without_temperature_check() -> None:
    case = make.simple(surface_area_m2=UNKNOWN)
    assert make.verdict(case, "temperature_class") is INCOMPLETE
    assert judge(case).verdict is CircuitVerdict.INCOMPLETE


def test_a_second_source_is_seen() -> None:
    second = replace(make.SOURCE, name="S2", permitted=())
    case = replace(make.CASE, sources=(make.SOURCE, second), interconnection=Interconnection.PARALLEL)
    result = judge(case)
    assert make.of(result, "current").value == D("0.19")
    assert make.of(result, "current").verdict is FAIL


def test_an_earthed_thermocouple_on_a_barrier() -> None:
    case = make.device(make.source(isolated=False), isolated_from_earth=False)
    check = make.of(case, "earthing")
    assert check.verdict is FAIL
    assert check.cure is not None and check.cure.template == "An isolated source would pass."
    assert make.verdict(make.device(isolated_from_earth=False), "earthing") is PASS


@pytest.mark.parametrize("kind", [DeviceKind.COMPONENT, DeviceKind.UNCERTIFIED])
def test_a_source_cannot_make_an_uncertified_device_safe(kind: DeviceKind) -> None:
    assert make.verdict(make.device(kind=kind), "certificate", "D1") is FAIL


@pytest.mark.parametrize("number", ["EXB 19 ATEX 0202 U", "EXB 19 ATEX 0202U", "IECEx EXB 19.0202u"])
def test_a_u_certificate_fails(number: str) -> None:
    case = make.device(certificate=replace(make.CERTIFICATE, number=number))
    assert make.verdict(case, "certificate", "D1") is FAIL


def test_x_is_not_ignored() -> None:
    case = make.device(certificate=replace(make.CERTIFICATE, number="EXB 19 ATEX 0202 X"))
    result = judge(case)
    assert make.of(result, "certificate", "D1").verdict is CONFIRM
    assert result.verdict is CircuitVerdict.COMPLIES
    assert any("specific condition" in remark.template for remark in result.confirmations)


def test_expired_is_not_illegal() -> None:
    expired = Certificate(
        "EXB 19 CC 0202", "national", CertificateStatus.CURRENT, date(2025, 5, 1), made_on=date(2023, 1, 1)
    )
    case = replace(make.device(certificate=expired), judge_on=date(2026, 11, 25))
    result = judge(case)
    assert make.of(result, "certificate", "D1").verdict is CONFIRM
    assert result.verdict is CircuitVerdict.COMPLIES


def test_a_barrier_swapped_without_recalculation() -> None:
    swapped = make.source(uo_v=D("28"), io_a=D("0.093"), permitted=(Permitted(Group.IIC, D("83e-9"), D("3.05e-3")),))
    assert judge(make.cable(length_m=D(900))).verdict is CircuitVerdict.COMPLIES
    assert judge(make.cable(swapped, length_m=D(900))).verdict is CircuitVerdict.DOES_NOT_COMPLY


def test_a_safe_loop_that_starves_its_transmitter() -> None:
    case = make.source(isolated=False, supply=Supply(D(24), resistance_ohm=D(340)))
    case = make.device(case, needs=Needs(D("12.5"), D("0.022")))
    result = judge(case)
    assert result.verdict is CircuitVerdict.COMPLIES
    assert result.function.verdict is FAIL
