"""FISCO and 2-WISE segments; their limits themselves are swept in ``test_boundaries``."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from loops.engine.case import (
    UNKNOWN,
    CableRole,
    Fieldbus,
    Group,
    Screen,
    Terminator,
)
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, CircuitVerdict, MaxLength, Verdict
from loops.engine.verdict import judge

from . import make
from .test_boundaries import FISCO, TWO_WISE


def test_a_good_segment_complies() -> None:
    for case in (FISCO, TWO_WISE):
        result = judge(case)
        assert result.verdict is CircuitVerdict.COMPLIES
        assert {c.verdict for c in result.checks if c.id == "fisco"} == {PASS}
        for name in ("capacitance", "inductance", "lumped_rule"):
            assert make.of(result, name).verdict is NOT_APPLICABLE
        assert result.totals.capacitance_f is not None
        assert result.totals.permitted_capacitance_f is None
        assert not result.halved


def test_other_circuits_are_no_segment() -> None:
    assert make.verdict(make.CASE, "fisco") is NOT_APPLICABLE


def test_one_supply_alone() -> None:
    two = replace(FISCO, sources=(FISCO.sources[0], replace(FISCO.sources[0], name="S2")))
    assert make.verdict(two, "fisco", "circuit") is FAIL
    assert judge(two).verdict is CircuitVerdict.DOES_NOT_COMPLY


def test_lengths_add_up_and_spurs_are_short() -> None:
    spur = replace(FISCO.cables[0], name="spur", role=CableRole.SPUR, length_m=D(60))  # type: ignore[index]
    trunk = replace(FISCO.cables[0], length_m=D(940))  # type: ignore[index]
    assert judge(replace(FISCO, cables=(trunk, spur))).verdict is CircuitVerdict.COMPLIES
    assert make.verdict(replace(FISCO, cables=(replace(trunk, length_m=D(941)), spur)), "fisco", "cables") is FAIL
    assert make.verdict(replace(FISCO, cables=(trunk, replace(spur, length_m=D(61)))), "fisco", "spur") is FAIL
    assert judge(replace(FISCO, cables=(trunk, spur))).max_length == MaxLength(60, "none")
    assert judge(replace(FISCO, cables=(spur, trunk))).max_length == MaxLength(940, "none")
    unknown = replace(trunk, length_m=UNKNOWN)
    assert judge(replace(FISCO, cables=(unknown, spur))).max_length is None
    assert make.verdict(replace(FISCO, cables=(unknown, spur)), "fisco", "cables") is INCOMPLETE
    over = replace(FISCO, cables=(unknown, replace(trunk, name="W9", length_m=D(1001))))
    assert make.verdict(over, "fisco", "cables") is FAIL
    assert make.verdict(replace(FISCO, cables=None), "fisco", "cables") is INCOMPLETE
    assert judge(replace(FISCO, cables=None)).max_length is None


@pytest.mark.parametrize(
    "group, limit",
    [(Group.IIC, 1000), (Group.IIB, 5000), (Group.IIA, 5000), (Group.IIIC, 5000), (Group.I, 1000), (None, 1000)],
)
def test_length_by_group(group: Group | None, limit: int) -> None:
    case = make.area(FISCO, group=group)
    assert judge(case).max_length == MaxLength(limit, "none")


@pytest.mark.parametrize(
    "terminators, verdict",
    [
        ((), INCOMPLETE),
        ((Terminator(D(100), D(0)),), FAIL),
        ((Terminator(D(100), D(0)),) * 2, PASS),
        ((Terminator(D(100), D(0)),) * 3, FAIL),
        ((Terminator(D(100), D(0)), Terminator(D(89), UNKNOWN)), FAIL),
    ],
)
def test_terminators(terminators: tuple[Terminator, ...], verdict: Verdict) -> None:
    assert make.verdict(replace(FISCO, terminators=terminators), "fisco", "terminators") is verdict


def test_simple_apparatus_needs_no_ui() -> None:
    case = replace(FISCO, devices=(make.SIMPLE,))
    assert make.verdict(case, "fisco", "RTD") is PASS


def test_cable_figures_per_core_and_from_cores() -> None:
    per_core = make.cable(FISCO, inductance_h_per_m=D("0.3e-6"), inductance_per_core=True)
    assert make.verdict(per_core, "fisco", "W1") is PASS
    cores = {"capacitance_f_per_m": UNKNOWN, "core_core_f_per_m": D("150e-12"), "core_screen_f_per_m": D("100e-12")}
    assert make.verdict(make.cable(FISCO, screen=Screen.ISOLATED, **cores), "fisco", "W1") is PASS
    assert make.verdict(make.cable(FISCO, screen=Screen.ON_ONE_CORE, **cores), "fisco", "W1") is FAIL


def test_group_of_the_supply_still_counts() -> None:
    iib = make.row(FISCO, group=Group.IIB)
    assert make.verdict(iib, "group", "S1") is FAIL
    assert judge(make.area(iib, group=Group.IIB)).system.group is Group.IIB
    assert FISCO.fieldbus is Fieldbus.FISCO
