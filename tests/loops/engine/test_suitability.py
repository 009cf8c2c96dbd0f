"""Level, group, temperature class and ambient. Clauses are named in the engine; facts of the trade elsewhere."""

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
    Case,
    Epl,
    Group,
    Level,
    Output,
    Permitted,
    TemperatureRow,
)
from loops.engine.findings import (
    CONFIRM,
    FAIL,
    INCOMPLETE,
    NOT_APPLICABLE,
    PASS,
    Check,
    CheckId,
)
from loops.engine.groups import covers, is_dust, least_severe
from loops.engine.verdict import judge

from . import make

TODAY = date(2026, 11, 25)


def text(check: Check) -> str:
    """Template and operands, to look for words in."""
    return f"{check.why.template} {check.why.operands}"


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


@pytest.mark.parametrize(
    ("zone", "group", "epl", "good"),
    [
        # Ga for zone 0, Gb for 1, Gc for 2; Da, Db, Dc for 20, 21, 22 (IEC 60079-14:2013, Table 1, from memory)
        ("0", Group.IIC, Epl.GA, True),
        ("0", Group.IIC, Epl.GB, False),
        ("1", Group.IIC, Epl.GB, True),
        ("1", Group.IIC, Epl.GC, False),
        ("2", Group.IIC, Epl.GC, True),
        ("20", Group.IIIC, Epl.DA, True),
        ("20", Group.IIIC, Epl.DB, False),
        ("21", Group.IIIC, Epl.DB, True),
        ("21", Group.IIIC, Epl.DC, False),
        ("22", Group.IIIC, Epl.DC, True),
        # One of another atmosphere counts by its letter.
        ("20", Group.IIIC, Epl.GB, False),
        ("20", Group.IIIC, Epl.GA, True),
    ],
)
@pytest.mark.parametrize("part", ["device", "source"])
def test_an_epl_reaches_what_the_zone_needs(zone: str, group: Group, epl: Epl, good: bool, part: str) -> None:
    stated = getattr(make, part)(make.area(zone=zone, group=group), epl=epl)
    check = make.of(stated, "level")
    assert check.verdict is (PASS if good else FAIL)
    name = {"device": "D1", "source": "S1"}[part]
    assert name in check.why.operands and epl in check.why.operands
    if not good:
        assert (check.value, check.rule) == (epl, "epl")
        assert check.cure is not None and "EPL" in check.cure.template


def test_an_epl_can_only_make_the_verdict_worse() -> None:
    zone_0 = make.area(zone="0")
    assert make.verdict(zone_0, "level") is PASS, "not stated: the level decides"
    assert make.verdict(make.device(zone_0, level=Level.IB, epl=Epl.GA), "level") is FAIL
    assert make.verdict(make.device(zone_0, level=None, epl=Epl.GA), "level") is INCOMPLETE
    assert make.verdict(make.source(make.device(zone_0, epl=Epl.GB), level=None), "level") is FAIL
    assert make.verdict(make.device(make.area(zone=None), epl=Epl.GA), "level") is INCOMPLETE
    assert make.verdict(make.device(make.area(make.simple(), zone="0"), epl=Epl.GC), "level") is PASS, (
        "simple apparatus has no EPL"
    )


def test_epl_of_the_system_is_the_lowest_of_its_parts() -> None:
    assert judge(make.device(epl=Epl.GB)).system.epl == "Gb"
    assert judge(make.source(make.device(epl=Epl.GA), epl=Epl.GC)).system.epl == "Gc"
    assert judge(make.device(level=Level.IB, epl=Epl.GA)).system.epl == "Gb"


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


def test_what_is_missing_of_the_ambient_is_named() -> None:
    nothing = make.area(make.device(temperature_classes=(), ambient_min_c=UNKNOWN), ambient_min_c=UNKNOWN)
    words = "highest ambient of D1, lowest ambient of D1, lowest ambient of the area"
    assert make.of(nothing, "ambient", "D1").why.operands == (words,)
    area_alone = make.area(ambient_min_c=UNKNOWN, ambient_max_c=UNKNOWN)
    words = "highest ambient of the area, lowest ambient of the area"
    assert make.of(area_alone, "ambient", "D1").why.operands == (words,)


def test_permitted_values_for_hydrogen_do_not_hold_for_acetylene() -> None:
    """Groups A (acetylene) and B (hydrogen) of NEC 500.6: a row for B alone says nothing of A; from memory."""
    row = Permitted(Group.B, D("107e-9"), D("3.9e-3"))
    case = replace(make.source(permitted=(row,)), area=replace(make.CASE.area, group=Group.A))
    assert FAIL in {c.verdict for c in judge(case).checks if c.id == "group" and c.subject == ("S1",)}
    both = replace(make.source(permitted=(row, replace(row, group=Group.A))), area=case.area)
    assert FAIL not in {c.verdict for c in judge(both).checks if c.id == "group" and c.subject == ("S1",)}
