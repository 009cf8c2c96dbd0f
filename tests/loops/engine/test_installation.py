"""Earthing, Um and cable types (IEC 60079-14:2013, 16.2, from memory)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D

import pytest

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    CableType,
    Interconnection,
    Output,
)
from loops.engine.findings import (
    BEYOND,
    CONFIRM,
    FAIL,
    INCOMPLETE,
    PASS,
    Check,
    Verdict,
)
from loops.engine.verdict import judge

from . import make

TODAY = date(2026, 11, 25)


def text(check: Check) -> str:
    """Template and operands, to look for words in."""
    return f"{check.why.template} {check.why.operands}"


@pytest.mark.parametrize(
    "sources, devices, verdict",
    [
        ([True], [True, True], PASS),
        ([True], [False, True], PASS),
        ([True], [None], PASS),
        ([True], [None, None], INCOMPLETE),
        ([True], [False, None], INCOMPLETE),
        ([True], [False, False], FAIL),
        ([False], [True], PASS),
        ([False], [None], INCOMPLETE),
        ([False], [False], FAIL),
        ([None], [True], PASS),
        ([None], [False], INCOMPLETE),
        ([False, False], [True], PASS),
        ([False, None], [True], PASS),
    ],
)
def test_one_earth_or_none(sources: list[bool | None], devices: list[bool | None], verdict: Verdict) -> None:
    case = replace(
        make.CASE,
        sources=tuple(replace(make.SOURCE, name=f"S{n}", isolated=value) for n, value in enumerate(sources)),
        devices=tuple(replace(make.DEVICE, name=f"D{n}", isolated_from_earth=value) for n, value in enumerate(devices)),
    )
    assert make.verdict(case, "earthing") is verdict


def test_the_earth_of_a_barrier_is_confirmed() -> None:
    result = judge(make.source(isolated=False))
    assert any("4 mm2" in remark.template for remark in result.confirmations)
    two = replace(make.CASE, sources=tuple(replace(make.SOURCE, name=n, isolated=False) for n in ("S1", "S2")))
    assert any("the same for all" in str(remark.operands) for remark in judge(two).confirmations)
    cure = make.of(make.device(replace(make.CASE, devices=(make.DEVICE,) * 2)), "earthing").cure
    assert cure is None


def test_the_cure_for_two_earths() -> None:
    devices = tuple(replace(make.DEVICE, name=n, isolated_from_earth=False) for n in ("D1", "D2"))
    cure = make.of(replace(make.CASE, devices=devices), "earthing").cure
    assert cure is not None and "isolated from earth" in cure.template


@pytest.mark.parametrize(
    "um, isolated, verdict",
    [
        (D(250), True, PASS),
        (UNKNOWN, True, CONFIRM),
        (NOT_STATED, True, CONFIRM),
        (UNKNOWN, False, INCOMPLETE),
        (UNKNOWN, None, INCOMPLETE),
    ],
)
def test_um_unknown_is_incomplete_only_where_it_is_needed(um: D, isolated: bool | None, verdict: Verdict) -> None:
    assert make.verdict(make.source(um_v=um, isolated=isolated), "um") is verdict
    silent = replace(make.source(um_v=um, isolated=isolated), safe_area_voltage_max_v=UNKNOWN)
    assert make.verdict(silent, "um") is (INCOMPLETE if verdict is PASS else verdict)


@pytest.mark.parametrize(
    "kind, verdict",
    [
        (CableType.SINGLE_CIRCUIT, PASS),
        (CableType.A, PASS),
        (CableType.B, PASS),
        (CableType.C, BEYOND),
        (CableType.MIXED, FAIL),
        (None, INCOMPLETE),
    ],
)
def test_cable_types(kind: CableType | None, verdict: Verdict) -> None:
    assert make.verdict(make.cable(type=kind), "cable_type") is verdict


def test_type_b_on_an_open_combination() -> None:
    sources = (make.SOURCE, replace(make.SOURCE, name="S2", output=Output.RECTANGULAR))
    case = make.cable(replace(make.CASE, sources=sources, interconnection=Interconnection.PARALLEL), type=CableType.B)
    assert make.verdict(case, "cable_type") is BEYOND
