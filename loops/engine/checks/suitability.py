"""Level of protection and group: is every part certified for where it stands?

Sources: IEC 60079-14:2013, 5.3 to 5.5 (zones and EPL); IEC 60079-25:2020, clause 5 (the system has the lowest level of
its parts); NEC 504.10. Simple apparatus has neither level nor group of its own.

An item may be of a lower EPL than its level earns: a cell, an enclosure or another type of protection keeps an ``ia``
circuit at Gb. Where an EPL is stated it must reach what the place needs, too (IEC 60079-14:2013, 5.3, from memory).
"""

from __future__ import annotations

from loops.engine.case import Area, Case, Device, DeviceKind, Epl, Group, Level
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Check, CheckId, Remark, System
from loops.engine.groups import COVERS, DUST, covers, is_dust, least_severe, zone_group
from loops.engine.sources import Feed

RANK = {Level.IC: 1, Level.IB: 2, Level.IA: 3}
NEEDED_BY_ZONE = {
    "0": Level.IA,
    "20": Level.IA,
    "1": Level.IB,
    "21": Level.IB,
    "2": Level.IC,
    "22": Level.IC,
}
NEEDED_BY_DIVISION = {"1": Level.IA, "2": Level.IC}
EPLS = {epl.value: epl.value for epl in Epl}


EARNED = {Level.IA: "a", Level.IB: "b", Level.IC: "c"}
"""The letter of the EPL that a level earns at the most (IEC 60079-0:2017, from memory); ``a`` is the highest."""


def needed_level(area: Area) -> Level | None:
    """The level that the zone or division needs; the higher one where both are given.

    >>> needed_level(Area(zone="1")), needed_level(Area(division="1")), needed_level(Area())
    (<Level.IB: 'ib'>, <Level.IA: 'ia'>, None)
    """
    if area.division is None:
        return None if area.zone is None else NEEDED_BY_ZONE[area.zone]
    needed = NEEDED_BY_DIVISION[area.division]
    return needed if area.zone is None else max(needed, NEEDED_BY_ZONE[area.zone], key=RANK.__getitem__)


def check_level(case: Case, feed: Feed) -> Check:
    """The lowest level of all parts against the level that the area needs.

    A combination of sources proved by calculation is capped at ib. A part whose level is unknown makes the check
    incomplete, unless another part is already too low. An EPL that a part states must reach the place as well; one
    of another atmosphere counts by its letter, so that it can only make the verdict worse.
    """
    lowest, holder, unknown = lowest_level(case, feed)
    needed = needed_level(case.area)
    subject = ("circuit",)
    if needed is None:
        why = Remark("The zone or division of the area is not known.")
        return Check(CheckId.LEVEL, INCOMPLETE, subject, why, "level", lowest, None, "", ">=")
    shown = (lowest, needed, "", ">=")
    place = f"zone {case.area.zone}" if case.area.division is None else f"Division {case.area.division}"
    if lowest is not None and RANK[lowest] < RANK[needed]:
        why = Remark("{0} is {1}; {2} needs {3}.", (holder, lowest, place, needed))
        cure = Remark("{0} of level {1} in place of {2} would pass.", ("A part", needed, holder))
        if feed.calculated and holder == feed.name:
            cure = Remark("One certified source of level {0} would pass.", (needed,))
        return Check(CheckId.LEVEL, FAIL, subject, why, "level", *shown, cure=cure)
    weak = lowest_epl(case)
    if weak is not None and weak[0][1] > EARNED[needed]:
        epl, holder = weak
        wanted = f"{_air(case.area)}{EARNED[needed]}"
        why = Remark("{0} is of EPL {1}; {2} needs EPL {3}, whatever the level.", (holder, epl, place, wanted))
        cure = Remark("{0} of EPL {1} in place of {2} would pass.", ("A part", wanted, holder))
        return Check(CheckId.LEVEL, FAIL, subject, why, "epl", epl, wanted, "", ">=", cure=cure)
    if unknown or lowest is None:
        why = Remark("The level of {0} is not known; {1} needs {2}.", (" and ".join(unknown), place, needed))
        return Check(CheckId.LEVEL, INCOMPLETE, subject, why, "level", *shown)
    why = Remark("The lowest level on the circuit is {0} ({1}); {2} needs {3}.", (lowest, holder, place, needed))
    if weak is not None:
        why = Remark(
            "The lowest level on the circuit is {0} ({1}), the lowest EPL stated is {4} ({5}); {2} needs {3}.",
            (lowest, holder, place, needed, *weak),
        )
    return Check(CheckId.LEVEL, PASS, subject, why, "level", *shown)


def lowest_level(case: Case, feed: Feed) -> tuple[Level | None, str, list[str]]:
    """The lowest known level, the part that has it, and the parts whose level is unknown."""
    lowest, holder = (Level.IB, feed.name) if feed.calculated else (None, "")
    unknown = []
    for source in case.sources:
        if source.level is None:
            unknown.append(source.name)
        elif lowest is None or RANK[source.level] < RANK[lowest]:
            lowest, holder = source.level, source.name
    for device in case.devices:
        if device.kind is DeviceKind.SIMPLE:
            continue
        if device.level is None:
            unknown.append(device.name)
        elif lowest is None or RANK[device.level] < RANK[lowest]:
            lowest, holder = device.level, device.name
    return lowest, holder, unknown


def lowest_epl(case: Case) -> tuple[Epl, str] | None:
    """The lowest EPL that a part states, and the part; ``None`` where none states one. Simple apparatus has none."""
    stated = [(part.epl, part.name) for part in case.sources if part.epl is not None]
    stated += [
        (part.epl, part.name) for part in case.devices if part.epl is not None and part.kind is not DeviceKind.SIMPLE
    ]
    return max(stated, key=lambda pair: pair[0][1], default=None)


def _air(area: Area) -> str:
    """The first letter of the EPLs of a place."""
    return "M" if area.group is Group.I else "D" if is_dust(area) else "G"


def check_group(case: Case, feed: Feed, row_group: Group | None) -> list[Check]:
    """Each device's marked group, and the source's permitted rows, against the group of the area."""
    area = case.area.group
    if area is None:
        why = Remark("The group of the area is not known.")
        return [Check(CheckId.GROUP, INCOMPLETE, ("area",), why, "group")]
    checks = []
    conflict = _conflict(case.area, area)
    if conflict is not None:
        cure = Remark(
            "A {0} group for this place, or another zone or class, would pass.",
            ("dust" if is_dust(case.area) else "gas",),
        )
        checks.append(Check(CheckId.GROUP, FAIL, ("area",), conflict, "group", None, area, "", "covers", cure))
    if row_group is None and feed.unsettled is None:
        marked = sorted({row.group for source in case.sources for row in source.permitted})
        subject = (feed.name,)
        if not marked:
            why = Remark("{0} has no row of permitted values, so its group is not known.", (feed.name,))
            checks.append(Check(CheckId.GROUP, INCOMPLETE, subject, why, "group", None, area, "", "covers"))
        else:
            why = Remark(
                "{0} has permitted values for {1} only; the area is {2}.", (feed.name, ", ".join(marked), area)
            )
            cure = Remark("A source with permitted values for group {0} would pass.", (area,))
            checks.append(Check(CheckId.GROUP, FAIL, subject, why, "group", marked[-1], area, "", "covers", cure))
    elif row_group is not None:
        why = Remark(
            "The permitted values of {0} for group {1} hold for an area of group {2}.", (feed.name, row_group, area)
        )
        checks.append(Check(CheckId.GROUP, PASS, (feed.name,), why, "group", row_group, area, "", "covers"))
    checks.extend(_device_group(device, area) for device in case.devices)
    return checks


def _device_group(device: Device, area: Group) -> Check:
    subject = (device.name,)
    if device.kind is DeviceKind.SIMPLE:
        why = Remark("{0} is simple apparatus and has no group of its own.", (device.name,))
        return Check(CheckId.GROUP, NOT_APPLICABLE, subject, why, "group", None, area, "", "covers")
    if device.group is None:
        why = Remark("The group of {0} is not known.", (device.name,))
        return Check(CheckId.GROUP, INCOMPLETE, subject, why, "group", None, area, "", "covers")
    shown = (device.group, area, "", "covers")
    if covers(device.group, area):
        why = Remark("{0} is marked {1}, which covers {2}.", (device.name, *shown[:2]))
        return Check(CheckId.GROUP, PASS, subject, why, "group", *shown)
    why = Remark("{0} is marked {1}, which does not cover {2}.", (device.name, *shown[:2]))
    cure = Remark("A device marked {0} would pass.", (area,))
    return Check(CheckId.GROUP, FAIL, subject, why, "group", *shown, cure=cure)


def _conflict(area: Area, group: Group) -> Remark | None:
    """A zone of gas with a group of dust, or the other way round: one of the two is wrong."""
    if (area.zone is None and area.material_class is None) or group is Group.I:
        return None
    dust_group = zone_group(group) in DUST
    if is_dust(area) == dust_group:
        return None
    place = f"Class {area.material_class}" if area.zone is None else f"Zone {area.zone}"
    kinds = ("a dust group", "gas") if dust_group else ("a gas group", "dust")
    return Remark(f"{{0}} is for {kinds[1]}, but {{1}} is {kinds[0]}.", (place, group))


def system_of(case: Case, feed: Feed, row_group: Group | None) -> System:
    """Level, group and EPL that the circuit as a whole earns; a value is ``None`` while a part of it is unknown.

    The group is the least severe one of the row of permitted values used and of the devices, so that a IIB row makes
    the system IIB.
    """
    lowest, _, unknown = lowest_level(case, feed)
    level = None if unknown else lowest
    marked = [device.group for device in case.devices if device.kind is not DeviceKind.SIMPLE]
    group = None
    known = [group for group in marked if group is not None]
    if row_group is not None and len(known) == len(marked):
        if is_dust(case.area) and row_group not in DUST:
            # The row stands for dust, so it says nothing about which dust; simple apparatus alone leaves the area's.
            own = case.area.group
            group = least_severe(known) if known else zone_group(own) if own is not None else None
        else:
            group = least_severe([row_group, *known])
    return System(level, group, _epl_of(case, level))


def _epl_of(case: Case, level: Level | None) -> str | None:
    """The lower one of what the level earns and what the parts state; ``None`` while the level is not known."""
    if level is None:
        return None
    weak = lowest_epl(case)
    letter = max(EARNED[level], weak[0][1]) if weak is not None else EARNED[level]
    return EPLS.get(f"{_air(case.area)}{letter}")


assert set(COVERS) == set(Group)
