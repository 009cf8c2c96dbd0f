"""Level, group, temperature, certificates, earthing, cables: every rule that is no comparison of two numbers.

Clauses are named in the engine; facts of the trade where none is.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D

import pytest

from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Area,
    Basis,
    CableType,
    Case,
    Certificate,
    CertificateStatus,
    DeviceKind,
    Group,
    Interconnection,
    Level,
    Output,
    Permitted,
    TemperatureRow,
)
from loops.engine.checks.certificates import suffix
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
from loops.engine.groups import covers, is_dust, least_severe
from loops.engine.references import RULES, cite
from loops.engine.verdict import judge, plausibility, verdict_of

from . import make

TODAY = date(2026, 11, 25)


def text(check: Check) -> str:
    """Template and operands, to look for words in."""
    return f"{check.why.template} {check.why.operands}"


# --- level and group -------------------------------------------------------------------------------------------------


def test_unknown_level_never_passes_but_a_known_low_one_fails() -> None:
    assert make.verdict(make.source(level=None), "level") is INCOMPLETE
    assert make.verdict(make.device(level=None), "level") is INCOMPLETE
    low = make.device(make.source(make.area(zone="0"), level=None), level=Level.IB)
    check = make.of(low, "level")
    assert check.verdict is FAIL
    assert check.cure is not None and check.cure.operands == ("A part", "ia", "D1")
    assert make.verdict(make.area(zone=None), "level") is INCOMPLETE
    everything_open = make.area(make.source(replace(make.CASE, devices=()), level=None), zone=None)
    assert make.of(everything_open, "level").value is None
    assert make.verdict(make.area(everything_open, zone="2"), "level") is INCOMPLETE


def test_simple_apparatus_has_no_level() -> None:
    assert make.verdict(make.simple(), "level") is PASS


@pytest.mark.parametrize(
    "area, level, epl",
    [
        (Area("1", group=Group.IIC), Level.IA, "Ga"),
        (Area("1", group=Group.IIC), Level.IB, "Gb"),
        (Area("2", group=Group.IIC), Level.IC, "Gc"),
        (Area("21", group=Group.IIIC), Level.IA, "Da"),
        (Area("21", group=Group.IIIC), Level.IB, "Db"),
        (Area("22", group=Group.IIIC), Level.IC, "Dc"),
        (Area(group=Group.I), Level.IA, "Ma"),
        (Area(group=Group.I), Level.IB, "Mb"),
        (Area(group=Group.I), Level.IC, None),
    ],
)
def test_epl_of_the_system(area: Area, level: Level, epl: str | None) -> None:
    assert judge(make.device(replace(make.CASE, area=area), level=level)).system.epl == epl


def test_system_is_unknown_while_a_part_is() -> None:
    system = judge(make.device(level=None, group=None)).system
    assert (system.level, system.group, system.epl) == (None, None, None)


@pytest.mark.parametrize(
    "area, row, device, group",
    [
        (Group.IIB, Group.IIB, Group.IIC, Group.IIB),
        (Group.IIB, Group.IIC, Group.IIB, Group.IIB),
        (Group.IIC, Group.IIC, Group.A, Group.IIC),
        (Group.IIIB, Group.IIB, Group.IIIC, Group.IIIC),
        (Group.IIIB, Group.IIIC, Group.IIIB, Group.IIIB),
        (Group.I, Group.I, Group.I, Group.I),
        (Group.I, Group.I, Group.IIC, None),
    ],
)
def test_group_of_the_system(area: Group, row: Group, device: Group, group: Group | None) -> None:
    case = make.source(make.device(group=device), permitted=(Permitted(row, D(1), D(1)),))
    case = make.area(case, group=area, zone="21" if area.value.startswith("III") else "1")
    assert judge(case).system.group is group


def test_group_of_a_system_of_simple_apparatus() -> None:
    assert judge(make.simple()).system.group is Group.IIC
    dust = make.area(
        make.source(make.simple(), permitted=(Permitted(Group.IIB, D(1), D(1)),)), zone="21", group=Group.G
    )
    assert judge(dust).system.group is Group.IIIB


@pytest.mark.parametrize(
    "marked, area, good",
    [
        (Group.IIC, Group.IIA, True),
        (Group.IIA, Group.IIB, False),
        (Group.IIC, Group.IIIC, False),
        (Group.IIIC, Group.IIC, False),
        (Group.I, Group.IIA, False),
        (Group.B, Group.A, False),
        (Group.B, Group.IIC, False),
        (Group.IIC, Group.A, True),
        (Group.C, Group.IIB, True),
        (Group.D, Group.IIA, True),
        (Group.G, Group.F, False),
        (Group.F, Group.G, True),
        (Group.IIIB, Group.F, True),
        (Group.E, Group.IIIC, True),
    ],
)
def test_marking_covers_area(marked: Group, area: Group, good: bool) -> None:
    assert covers(marked, area) is good


def test_least_severe_of_nothing() -> None:
    assert least_severe([]) is None
    assert least_severe([Group.IIIC, Group.IIIA]) is Group.IIIA


def test_zone_and_group_that_contradict_each_other_fail() -> None:
    assert make.verdict(make.area(zone="21"), "group", "area") is FAIL
    assert make.verdict(make.area(group=Group.IIIC), "group", "area") is FAIL
    nec = replace(make.area(zone=None, division="1", material_class="II"), basis=Basis.NEC)
    assert make.verdict(nec, "group", "area") is FAIL
    assert "Class II" in text(make.of(nec, "group", "area"))
    bare = make.area(zone=None, division="1")
    assert not [c for c in judge(bare).checks if c.subject == ("area",)]
    mines = make.area(group=Group.I)
    assert not [c for c in judge(mines).checks if c.subject == ("area",)]


def test_is_dust() -> None:
    assert is_dust(Area(material_class="III"))
    assert not is_dust(Area(material_class="I"))
    assert not is_dust(Area())


def test_source_without_rows() -> None:
    assert make.verdict(make.source(permitted=()), "group", "S1") is INCOMPLETE
    check = make.of(make.source(permitted=(Permitted(Group.IIB), Permitted(Group.IIA))), "group", "S1")
    assert check.verdict is FAIL
    assert "IIA, IIB" in text(check)


def test_unknown_group_of_a_device() -> None:
    assert make.verdict(make.device(group=None), "group", "D1") is INCOMPLETE
    assert make.verdict(make.simple(), "group", "RTD") is NOT_APPLICABLE


# --- temperature -----------------------------------------------------------------------------------------------------


def rows(*pairs: tuple[str, int, int]) -> Case:
    return make.device(
        temperature_classes=tuple(TemperatureRow(n, D(limit), False, D(reach)) for n, limit, reach in pairs)
    )


def test_the_row_that_covers_the_ambient_must_be_good_enough() -> None:
    """A row covers it but its class is too weak: temperature_class; beyond every row: ambient."""
    weak = make.area(
        rows(("T6", 85, 45), ("T4", 135, 70)), temperature_class="T6", temperature_c=D(85), ambient_max_c=D(50)
    )
    assert make.verdict(weak, "temperature_class") is FAIL
    assert make.verdict(weak, "ambient", "D1") is PASS
    beyond = make.area(weak, ambient_max_c=D(71))
    assert make.verdict(beyond, "temperature_class") is NOT_APPLICABLE
    assert make.verdict(beyond, "ambient", "D1") is FAIL
    assert make.verdict(make.area(weak, ambient_max_c=D(45)), "temperature_class") is PASS


def test_missing_temperatures() -> None:
    assert make.verdict(make.area(temperature_c=None, temperature_class=None), "temperature_class") is INCOMPLETE
    empty = make.device(temperature_classes=())
    assert make.verdict(empty, "temperature_class") is INCOMPLETE
    assert make.verdict(empty, "ambient", "D1") is INCOMPLETE
    assert make.verdict(make.area(ambient_max_c=UNKNOWN), "temperature_class") is INCOMPLETE
    too_weak = make.area(rows(("T3", 200, 70)), ambient_max_c=UNKNOWN)
    assert make.verdict(too_weak, "temperature_class") is FAIL


def test_a_row_without_ambient() -> None:
    """Nobody has looked: unknown. Not stated: -20 to 40 degC (-0:2017, 5.1)."""
    unknown = make.device(temperature_classes=(replace(make.T4, ambient_max_c=UNKNOWN),))
    assert make.verdict(unknown, "temperature_class") is INCOMPLETE
    assert make.verdict(unknown, "ambient", "D1") is INCOMPLETE
    other = make.device(temperature_classes=(replace(make.T6, ambient_max_c=UNKNOWN), make.T4))
    assert make.verdict(other, "ambient", "D1") is PASS
    assert make.verdict(make.area(other, ambient_max_c=D(71)), "ambient", "D1") is INCOMPLETE
    assert make.verdict(make.area(other, ambient_max_c=UNKNOWN), "ambient", "D1") is INCOMPLETE


def test_a_row_for_less_power_than_the_source_gives() -> None:
    row = replace(make.T4, pi_w=D("0.5"))
    case = make.device(temperature_classes=(row,))
    check = make.of(case, "temperature_class")
    assert check.verdict is FAIL
    assert "less power" in check.why.template
    assert make.verdict(make.area(case, ambient_max_c=UNKNOWN), "temperature_class") is FAIL
    assert make.verdict(make.area(case, ambient_max_c=D(80)), "temperature_class") is NOT_APPLICABLE
    unsettled = make.source(case, po_w=UNKNOWN, output=Output.TRAPEZOIDAL)
    assert make.verdict(unsettled, "temperature_class") is INCOMPLETE
    two = replace(case, sources=(replace(make.SOURCE, po_w=D("0.1")), replace(make.SOURCE, name="S2", output=None)))
    assert make.verdict(make.source(two, po_w=D("0.1")), "temperature_class") is FAIL
    small = replace(two, sources=tuple(replace(s, po_w=D("0.1")) for s in two.sources))
    assert make.verdict(small, "temperature_class") is INCOMPLETE


def test_dust_takes_surface_temperatures_alone() -> None:
    dust_row = TemperatureRow("T135 degC", D(135), True, D(60))
    dust = make.area(make.device(group=Group.IIIC), zone="21", group=Group.IIIC, temperature_class="135 degC")
    assert make.verdict(dust, "temperature_class") is INCOMPLETE
    good = make.device(dust, temperature_classes=(make.T6, dust_row))
    assert make.verdict(good, "temperature_class") is PASS
    hot = make.device(dust, temperature_classes=(replace(dust_row, limit_c=D(136)),))
    assert make.verdict(hot, "temperature_class") is FAIL
    by_code = replace(
        make.area(make.CASE, zone=None, division="1", material_class="II", group=Group.G), basis=Basis.NEC
    )
    assert make.verdict(by_code, "temperature_class") is PASS


def test_ambient_at_the_source_is_confirmed_where_it_is_not_known() -> None:
    assert make.verdict(make.source(ambient_max_c=UNKNOWN), "ambient", "S1") is CONFIRM
    silent = make.source(
        replace(make.CASE, safe_area_ambient_max_c=UNKNOWN), ambient_min_c=UNKNOWN, ambient_max_c=UNKNOWN
    )
    assert not [c for c in judge(silent).checks if c.id is CheckId.AMBIENT and "S1" in c.subject]
    cold = replace(make.CASE, safe_area_ambient_min_c=D(-21))
    assert make.verdict(cold, "ambient", "S1") is FAIL
    assert make.verdict(replace(cold, safe_area_ambient_min_c=D(-20)), "ambient", "S1") is PASS
    not_stated = make.source(cold, ambient_min_c=NOT_STATED)
    assert make.verdict(not_stated, "ambient", "S1") is FAIL
    assert make.verdict(make.source(cold, ambient_min_c=UNKNOWN), "ambient", "S1") is CONFIRM


def test_lowest_ambient() -> None:
    assert make.verdict(make.device(ambient_min_c=D(-10)), "ambient", "D1") is FAIL
    assert make.verdict(make.area(ambient_min_c=UNKNOWN), "ambient", "D1") is INCOMPLETE


# --- certificates ----------------------------------------------------------------------------------------------------


def certificate(case: Case = make.CASE, **changes: object) -> Check:
    changed = replace(make.CERTIFICATE, **changes)  # type: ignore[arg-type]
    return make.of(make.device(case, certificate=changed), "certificate", "D1")


@pytest.mark.parametrize(
    "number, letter",
    [
        ("EXB 19 ATEX 0202", ""),
        ("EXB 19 ATEX 0202X", "X"),
        ("EXB 19 ATEX 0202 X issue 3", "X"),
        ("IECEx EXB 19.0202X/2", "X"),
        ("EXB19ATEX0202-U", "U"),
        ("EXB 19 ATEX 0202 XU", ""),
        ("3 X and 0202 U", "U"),
        ("UL 19 ATEX 0202", ""),
        ("EXB 19 UKEX 0202", ""),
        ("CSA 19 XP 0202", ""),
    ],
)
def test_suffix(number: str, letter: str) -> None:
    assert suffix(number) == letter


def test_certificate_verdicts() -> None:
    assert certificate().verdict is PASS
    assert certificate(number=None).verdict is INCOMPLETE
    assert certificate(number="").verdict is INCOMPLETE
    assert make.verdict(make.device(certificate=None), "certificate", "D1") is INCOMPLETE
    assert make.verdict(make.source(certificate=None), "certificate", "S1") is INCOMPLETE
    assert certificate(status=None).verdict is CONFIRM
    assert certificate(scheme=None).verdict is CONFIRM
    assert certificate(status=CertificateStatus.SUPERSEDED).verdict is CONFIRM
    assert certificate(status=CertificateStatus.WITHDRAWN).verdict is FAIL
    assert certificate(status=CertificateStatus.SUSPENDED).verdict is FAIL
    assert certificate(status=CertificateStatus.WITHDRAWN, number=None).verdict is FAIL
    assert make.verdict(make.simple(), "certificate", "RTD") is NOT_APPLICABLE


def test_scheme_accepted_at_the_site() -> None:
    case = replace(make.CASE, accepted_schemes=("IECEx", "atex"))
    assert certificate(case).verdict is PASS
    check = certificate(case, scheme="national")
    assert check.verdict is FAIL
    assert "does not accept" in check.why.template


@pytest.mark.parametrize(
    "valid_to, made_on, judge_on, verdict, words",
    [
        (date(2026, 11, 25), None, TODAY, PASS, ""),
        (date(2026, 11, 24), None, TODAY, CONFIRM, "made before"),
        (date(2026, 11, 24), date(2026, 11, 24), TODAY, CONFIRM, "while it was valid"),
        (date(2026, 11, 24), date(2026, 11, 25), TODAY, CONFIRM, "made later"),
        (date(2026, 11, 24), None, None, CONFIRM, "no day of judgement"),
        (None, None, TODAY, PASS, ""),
    ],
)
def test_the_last_day_is_valid_and_two_dates_are_kept_apart(
    valid_to: date | None, made_on: date | None, judge_on: date | None, verdict: Verdict, words: str
) -> None:
    check = certificate(replace(make.CASE, judge_on=judge_on), valid_to=valid_to, made_on=made_on)
    assert check.verdict is verdict
    assert words in check.why.template


def test_several_findings_keep_their_operands() -> None:
    check = certificate(number="EXB 1 X", scheme=None)
    sentence = check.why.template.format(*check.why.operands)
    assert sentence.count("EXB 1 X") == 2 and sentence.count("D1") == 2
    assert Certificate() == Certificate(None)


# --- earthing, Um, cables --------------------------------------------------------------------------------------------


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


# --- the whole -------------------------------------------------------------------------------------------------------


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


def test_what_is_missing_of_the_ambient_is_named() -> None:
    nothing = make.area(make.device(temperature_classes=(), ambient_min_c=UNKNOWN), ambient_min_c=UNKNOWN)
    words = "highest ambient of D1, lowest ambient of D1, lowest ambient of the area"
    assert make.of(nothing, "ambient", "D1").why.operands == (words,)
    area_alone = make.area(ambient_min_c=UNKNOWN, ambient_max_c=UNKNOWN)
    words = "highest ambient of the area, lowest ambient of the area"
    assert make.of(area_alone, "ambient", "D1").why.operands == (words,)
