"""Every comparison at its limit, one unit in the last place below and above it, missing, and at zero.

The limits are those of the standards named in the engine; equality passes everywhere (facts of the trade).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal as D

import pytest

from loops.engine.arithmetic import CONTEXT
from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    CableRole,
    CableType,
    Case,
    Fieldbus,
    Group,
    Level,
    Output,
    Parameter,
    Permitted,
    SimpleKind,
    Terminator,
)
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Verdict
from loops.engine.verdict import judge

from . import make


@dataclass(frozen=True)
class Sweep:
    """One comparison: what builds the case from the swept value, where, and what each point gives.

    ``up``: a larger value is worse. ``unknown`` and ``not_stated``: verdicts without a value.
    """

    name: str
    check: str
    build: Callable[[Parameter], Case]
    limit: D
    up: bool = True
    unknown: Verdict = INCOMPLETE
    not_stated: Verdict = INCOMPLETE
    zero: Verdict | None = None
    subject: str | None = None
    ok: Verdict = PASS


def _fisco(case: Case) -> Case:
    case = make.source(case, uo_v=D(15), io_a=D("0.133"), po_w=D("1.995"), output=Output.RECTANGULAR)
    case = make.device(case, ui_v=D("17.5"), ii_a=D("0.38"), pi_w=D("5.32"), ci_f=D("5e-9"), li_h=D("10e-6"))
    case = make.cable(case, resistance_ohm_per_m=D("0.04"), resistance_per_core=False)
    ends = (Terminator(D(100), D("1e-6")),) * 2
    return replace(case, fieldbus=Fieldbus.FISCO, terminators=ends)


FISCO = _fisco(make.CASE)
TWO_WISE = replace(make.cable(FISCO, length_m=D(200)), fieldbus=Fieldbus.TWO_WISE, terminators=())
RATIO = make.cable(length_m=D("7000"), capacitance_f_per_m=D(0))


def _terminator(field: str) -> Callable[[Parameter], Case]:
    return lambda v: replace(
        FISCO, terminators=(Terminator(D(100), D("1e-6")), replace(FISCO.terminators[0], **{field: v}))
    )


def _generating(**changes: object) -> Case:
    values = {"voltage_v": D("1"), "current_a": D("0.05"), "power_w": D("0.01"), **changes}
    return make.simple(simple_kind=SimpleKind.GENERATING, thermal_resistance_k_per_w=D(1), **values)


SWEEPS = [
    Sweep("Uo", "voltage", lambda v: make.source(uo_v=v), D(30)),
    Sweep("Ui", "voltage", lambda v: make.device(ui_v=v), D("25.2"), up=False, zero=FAIL),
    Sweep("Io", "current", lambda v: make.source(io_a=v), D("0.12")),
    Sweep("Ii", "current", lambda v: make.device(ii_a=v), D("0.095"), up=False, not_stated=NOT_APPLICABLE, zero=FAIL),
    # Po that is not given is computed for a linear source, so it is never missing here.
    Sweep("Po", "power", lambda v: make.source(po_w=v), D(1), unknown=PASS, not_stated=PASS),
    Sweep("Pi", "power", lambda v: make.device(pi_w=v), D("0.6"), up=False, not_stated=NOT_APPLICABLE, zero=FAIL),
    Sweep("Ci", "capacitance", lambda v: make.device(ci_f=v), D("74e-9")),
    Sweep("Co", "capacitance", lambda v: make.row(co_f=v), D("35.2e-9"), up=False, zero=FAIL),
    Sweep(
        "cable C",
        "capacitance",
        lambda v: make.cable(make.device(ci_f=D(0)), length_m=D(100), capacitance_f_per_m=v),
        D("1.07e-9"),
        unknown=PASS,
        not_stated=PASS,
    ),
    Sweep(
        "cable length, C",
        "capacitance",
        lambda v: make.cable(make.device(ci_f=D(0)), length_m=v, capacitance_f_per_m=D("107e-12")),
        D(1000),
    ),
    Sweep(
        "Li",
        "inductance",
        lambda v: make.device(make.row(lo_ro_h_per_ohm=NOT_STATED), ci_f=D(0), li_h=v),
        D("3.705e-3"),
    ),
    Sweep("Lo", "inductance", lambda v: make.row(lo_h=v, lo_ro_h_per_ohm=NOT_STATED), D("195e-6"), up=False, zero=FAIL),
    Sweep(
        "cable L",
        "inductance",
        lambda v: make.cable(make.row(lo_ro_h_per_ohm=NOT_STATED), length_m=D(100), inductance_h_per_m=v),
        D("39e-6"),
        unknown=PASS,
        not_stated=PASS,
    ),
    Sweep(
        "cable L/R",
        "inductance",
        lambda v: make.cable(RATIO, inductance_per_resistance_h_per_ohm=v),
        D("58e-6"),
        # L/R is then computed from L and R: 0.65 mH/km over 24.2 ohm/km.
        unknown=PASS,
        not_stated=PASS,
    ),
    Sweep(
        "Lo/Ro",
        "inductance",
        lambda v: make.row(RATIO, lo_ro_h_per_ohm=v),
        D("25e-6"),
        up=False,
        unknown=FAIL,
        not_stated=FAIL,
        zero=FAIL,
    ),
    Sweep("um", "um", lambda v: make.source(um_v=v, isolated=False), D(230), up=False, zero=FAIL),
    Sweep("safe area voltage", "um", lambda v: replace(make.CASE, safe_area_voltage_max_v=v), D(250)),
    Sweep("area max", "ambient", lambda v: make.area(ambient_max_c=v), D(70), subject="D1"),
    Sweep("area min", "ambient", lambda v: make.area(ambient_min_c=v), D(-40), up=False, subject="D1"),
    Sweep("device min", "ambient", lambda v: make.device(ambient_min_c=v), D(-20), subject="D1", not_stated=PASS),
    Sweep(
        "source max",
        "ambient",
        lambda v: make.source(ambient_max_c=v),
        D(40),
        up=False,
        subject="S1",
        unknown=Verdict.CONFIRM,
        zero=FAIL,
        not_stated=PASS,
    ),
    Sweep(
        "row ambient",
        "ambient",
        lambda v: make.device(temperature_classes=(replace(make.T4, ambient_max_c=v),)),
        D(40),
        up=False,
        subject="D1",
        zero=FAIL,
        not_stated=PASS,
    ),
    Sweep(
        "row Pi",
        "temperature_class",
        lambda v: make.device(temperature_classes=(replace(make.T4, pi_w=v),)),
        D("0.6"),
        up=False,
        not_stated=PASS,
        zero=FAIL,
    ),
    Sweep(
        "row Ii",
        "temperature_class",
        lambda v: make.device(temperature_classes=(replace(make.T4, ii_a=v),)),
        D("0.095"),
        up=False,
        not_stated=PASS,
        zero=FAIL,
    ),
    Sweep(
        "strand",
        "cable_construction",
        lambda v: make.cable(strand_diameter_m=v),
        D("0.1e-3"),
        up=False,
        unknown=Verdict.CONFIRM,
        not_stated=Verdict.CONFIRM,
        zero=FAIL,
    ),
    Sweep(
        "insulation",
        "cable_construction",
        lambda v: make.cable(insulation_thickness_m=v),
        D("0.2e-3"),
        up=False,
        unknown=Verdict.CONFIRM,
        not_stated=Verdict.CONFIRM,
        zero=FAIL,
    ),
    Sweep(
        "test voltage",
        "cable_construction",
        lambda v: make.cable(test_voltage_v=v),
        D(500),
        up=False,
        unknown=Verdict.CONFIRM,
        not_stated=Verdict.CONFIRM,
        zero=FAIL,
    ),
    Sweep("type B voltage", "cable_type", lambda v: make.source(make.cable(type=CableType.B), uo_v=v), D(60)),
    Sweep("generated V", "simple_apparatus", lambda v: _generating(voltage_v=v), D("1.5")),
    Sweep("generated A", "simple_apparatus", lambda v: _generating(current_a=v), D("0.1")),
    Sweep("generated W", "simple_apparatus", lambda v: _generating(power_w=v), D("0.025")),
    Sweep(
        "surface",
        "temperature_class",
        lambda v: make.simple(surface_area_m2=UNKNOWN, thermal_resistance_k_per_w=v, power_w=D(1)),
        D(90),
    ),
    Sweep("FISCO low Uo", "fisco", lambda v: make.source(FISCO, uo_v=v), D(14), up=False, subject="S1", zero=FAIL),
    Sweep("FISCO high Uo", "fisco", lambda v: make.source(FISCO, uo_v=v), D("17.5"), subject="S1", zero=FAIL),
    Sweep("FISCO Ui", "fisco", lambda v: make.device(FISCO, ui_v=v), D("17.5"), up=False, subject="D1", zero=FAIL),
    Sweep("FISCO Ii", "fisco", lambda v: make.device(FISCO, ii_a=v), D("0.38"), up=False, subject="D1", zero=FAIL),
    Sweep("FISCO Pi", "fisco", lambda v: make.device(FISCO, pi_w=v), D("5.32"), up=False, subject="D1", zero=FAIL),
    Sweep("FISCO Ci", "fisco", lambda v: make.device(FISCO, ci_f=v), D("5e-9"), subject="D1"),
    Sweep("FISCO Li", "fisco", lambda v: make.device(FISCO, li_h=v), D("10e-6"), subject="D1"),
    Sweep(
        "FISCO low R",
        "fisco",
        lambda v: make.cable(FISCO, resistance_ohm_per_m=v),
        D("0.015"),
        up=False,
        subject="W1",
        zero=FAIL,
    ),
    Sweep(
        "FISCO high R", "fisco", lambda v: make.cable(FISCO, resistance_ohm_per_m=v), D("0.15"), subject="W1", zero=FAIL
    ),
    Sweep(
        "FISCO low L",
        "fisco",
        lambda v: make.cable(FISCO, inductance_h_per_m=v),
        D("0.4e-6"),
        up=False,
        subject="W1",
        zero=FAIL,
    ),
    Sweep(
        "FISCO high L", "fisco", lambda v: make.cable(FISCO, inductance_h_per_m=v), D("1e-6"), subject="W1", zero=FAIL
    ),
    Sweep(
        "FISCO low C",
        "fisco",
        lambda v: make.cable(FISCO, capacitance_f_per_m=v),
        D("45e-12"),
        up=False,
        subject="W1",
        zero=FAIL,
    ),
    Sweep(
        "FISCO high C",
        "fisco",
        lambda v: make.cable(FISCO, capacitance_f_per_m=v),
        D("200e-12"),
        subject="W1",
        zero=FAIL,
    ),
    Sweep("FISCO length", "fisco", lambda v: make.cable(FISCO, length_m=v), D(1000), subject="cables"),
    Sweep(
        "FISCO length IIB",
        "fisco",
        lambda v: make.area(make.cable(FISCO, length_m=v), group=Group.IIB),
        D(5000),
        subject="cables",
    ),
    Sweep("FISCO spur", "fisco", lambda v: make.cable(FISCO, role=CableRole.SPUR, length_m=v), D(60), subject="W1"),
    Sweep("terminator low", "fisco", _terminator("resistance_ohm"), D(90), up=False, subject="terminators", zero=FAIL),
    Sweep("terminator high", "fisco", _terminator("resistance_ohm"), D(102), subject="terminators", zero=FAIL),
    Sweep("terminator C", "fisco", _terminator("capacitance_f"), D("2.2e-6"), subject="terminators"),
    Sweep("2-WISE Io", "fisco", lambda v: make.source(TWO_WISE, io_a=v), D("0.38"), subject="S1"),
    Sweep("2-WISE Po", "fisco", lambda v: make.source(TWO_WISE, po_w=v), D("5.32"), subject="S1"),
    Sweep("2-WISE length", "fisco", lambda v: make.cable(TWO_WISE, length_m=v), D(200), subject="cables"),
]


def _step(value: D, places: int) -> D:
    """One unit in the last of so many significant places."""
    return D((0, (1,), value.adjusted() - places + 1)) if value else D(1).scaleb(-places)


@pytest.mark.parametrize("sweep", SWEEPS, ids=lambda sweep: sweep.name)
@pytest.mark.parametrize("places", [4, 17, 40])
def test_at_below_and_above_the_limit(sweep: Sweep, places: int) -> None:
    step = _step(sweep.limit, places)
    above, below = CONTEXT.add(sweep.limit, step), CONTEXT.subtract(sweep.limit, step)
    worse, better = (above, below) if sweep.up else (below, above)

    def found(value: Parameter) -> set[Verdict]:
        checks = judge(sweep.build(value)).checks
        return {
            c.verdict for c in checks if c.id == sweep.check and (sweep.subject is None or sweep.subject in c.subject)
        }

    assert FAIL in found(worse)
    assert found(sweep.limit) == {sweep.ok}
    assert found(better) == {sweep.ok}


@pytest.mark.parametrize("sweep", SWEEPS, ids=lambda sweep: sweep.name)
def test_missing_and_zero(sweep: Sweep) -> None:
    def found(value: Parameter) -> set[Verdict]:
        checks = judge(sweep.build(value)).checks
        return {
            c.verdict for c in checks if c.id == sweep.check and (sweep.subject is None or sweep.subject in c.subject)
        }

    assert sweep.unknown in found(UNKNOWN)
    assert FAIL not in found(UNKNOWN) or sweep.unknown is FAIL
    assert sweep.not_stated in found(NOT_STATED)
    if sweep.zero is not None:
        assert sweep.zero in found(D(0))
    elif sweep.name not in ("area min", "device min"):
        assert found(D(0)) == {sweep.ok}


@pytest.mark.parametrize(
    "ci, li, halved",
    [
        ("1.07e-9", "39e-6", True),
        ("1.0699999e-9", "39e-6", False),
        ("1.07e-9", "38.9999999e-6", False),
        ("1.08e-9", "40e-6", True),
        ("0", "40e-6", False),
        ("50e-9", "0", False),
    ],
)
def test_the_one_percent_rule_at_exactly_one_percent(ci: str, li: str, halved: bool) -> None:
    """-11:2011, 10.1.5.2: both at least 1 % of Co (107 nF) and Lo (3.9 mH)."""
    result = judge(make.device(ci_f=D(ci), li_h=D(li)))
    assert result.halved is halved
    assert result.totals.permitted_capacitance_f == (D("53.5e-9") if halved else D("107e-9"))
    assert result.totals.permitted_inductance_h == (D("1.95e-3") if halved else D("3.9e-3"))


@pytest.mark.parametrize(
    "group, cap", [(Group.IIC, "600e-9"), (Group.IIB, "1e-6"), (Group.IIA, "1e-6"), (Group.I, "1e-6")]
)
def test_the_cap_of_the_halved_capacitance(group: Group, cap: str) -> None:
    rows = (Permitted(group, D("100e-6"), D(1)),)
    case = make.area(make.source(make.device(ci_f=D("2e-6"), li_h=D("0.1"), group=group), permitted=rows), group=group)
    assert judge(case).totals.permitted_capacitance_f == D(cap)
    at_cap = make.device(case, ci_f=D("1e-6"), li_h=D("0.01"))
    assert judge(at_cap).totals.permitted_capacitance_f == D(cap)


@pytest.mark.parametrize(
    "zone, division, level, good",
    [
        (zone, division, level, good)
        for zone, division, needed in [
            ("0", None, 3),
            ("20", None, 3),
            ("1", None, 2),
            ("21", None, 2),
            ("2", None, 1),
            ("22", None, 1),
            (None, "1", 3),
            (None, "2", 1),
            ("0", "2", 3),
            ("2", "1", 3),
        ]
        for rank, level in ((1, Level.IC), (2, Level.IB), (3, Level.IA))
        for good in [rank >= needed]
    ],
)
def test_level_against_area(zone: str | None, division: str | None, level: Level, good: bool) -> None:
    case = make.area(make.source(level=level), zone=zone, division=division)
    assert make.verdict(case, "level") is (PASS if good else FAIL)
    case = make.area(make.device(level=level), zone=zone, division=division)
    assert make.verdict(case, "level") is (PASS if good else FAIL)
