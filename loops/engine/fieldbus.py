"""Fieldbus concepts whose rules replace the sums of capacitance and inductance: FISCO and 2-WISE.

Sources: FISCO, IEC 60079-25:2020 with IEC 60079-11:2011, Annex G (seen in published manuals, partly from memory);
2-WISE, IEC TS 60079-47:2021 (from memory).
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import at_most, whole_steps
from loops.engine.case import Area, Cable, CableRole, Case, Device, DeviceKind, Fieldbus, Group, Parameter, Terminator
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Check, CheckId, MaxLength, Remark
from loops.engine.groups import zone_group
from loops.engine.totals import loop_resistance

Range = tuple[Decimal, Decimal]


class Profile(NamedTuple):
    """The limits of one concept, in SI. ``supply_a`` and ``supply_w`` are ``None`` where only devices are limited."""

    name: str
    rule: str
    supply_v: Range
    supply_a: Decimal | None
    supply_w: Decimal | None
    device_v: Decimal
    device_a: Decimal
    device_w: Decimal
    device_f: Decimal
    device_h: Decimal
    cable_ohm_per_m: Range
    cable_h_per_m: Range
    cable_f_per_m: Range
    length_severe_m: Decimal
    length_m: Decimal
    spur_m: Decimal
    terminators: int


PROFILES = {
    Fieldbus.FISCO: Profile(
        "FISCO",
        "fisco",
        (Decimal(14), Decimal("17.5")),
        None,
        None,
        Decimal("17.5"),
        Decimal("0.38"),
        Decimal("5.32"),
        Decimal("5e-9"),
        Decimal("10e-6"),
        (Decimal("15e-3"), Decimal("150e-3")),
        (Decimal("0.4e-6"), Decimal("1e-6")),
        (Decimal("45e-12"), Decimal("200e-12")),
        Decimal(1000),
        Decimal(5000),
        Decimal(60),
        2,
    ),
    Fieldbus.TWO_WISE: Profile(
        "2-WISE",
        "two_wise",
        (Decimal(14), Decimal("17.5")),
        Decimal("0.38"),
        Decimal("5.32"),
        Decimal("17.5"),
        Decimal("0.38"),
        Decimal("5.32"),
        Decimal("5e-9"),
        Decimal("10e-6"),
        (Decimal("15e-3"), Decimal("150e-3")),
        (Decimal("0.4e-6"), Decimal("1e-6")),
        (Decimal("45e-12"), Decimal("200e-12")),
        Decimal(200),
        Decimal(200),
        Decimal(200),
        0,
    ),
}
TERMINATOR_OHM = (Decimal(90), Decimal(102))
TERMINATOR_F = (Decimal(0), Decimal("2.2e-6"))
LONG_TRUNK = frozenset({Group.IIB, Group.IIA, Group.IIIA, Group.IIIB, Group.IIIC})


def check_fieldbus(case: Case) -> list[Check]:
    """Every requirement of the concept: supply, devices, cables, lengths, terminators.

    One ``not_applicable`` check where the circuit is no such segment.
    """
    if case.fieldbus is None:
        return _NO_FIELDBUS
    profile = PROFILES[case.fieldbus]
    checks = [_supply(case, profile)]
    checks.extend(_device(device, profile) for device in case.devices)
    checks.extend(_cable(cable, profile) for cable in case.cables or ())
    checks.extend(_lengths(case, profile))
    if profile.terminators:
        checks.append(_terminators(case.terminators, profile))
    return checks


_NO_FIELDBUS = [
    Check(CheckId.FISCO, NOT_APPLICABLE, ("circuit",), Remark("The circuit is no fieldbus segment."), "fisco")
]


def no_sums(case: Case) -> tuple[Check, Check, Check]:
    """The checks that the concept makes needless: its limits on cable and devices stand in for the sums."""
    profile = PROFILES[case.fieldbus or Fieldbus.FISCO]
    why = Remark("{0} limits devices and cable instead of their sum; see the fisco checks.", (profile.name,))
    return (
        Check(CheckId.CAPACITANCE, NOT_APPLICABLE, ("circuit",), why, profile.rule, unit="F"),
        Check(CheckId.INDUCTANCE, NOT_APPLICABLE, ("circuit",), why, profile.rule, unit="H"),
        Check(CheckId.LUMPED_RULE, NOT_APPLICABLE, ("circuit",), why, profile.rule),
    )


def longest_run(case: Case) -> MaxLength | None:
    """Longest last run by the lengths that the concept allows; neither capacitance nor inductance limits it."""
    if not case.cables:
        return None
    profile = PROFILES[case.fieldbus or Fieldbus.FISCO]
    limit = longest_segment(case.area, profile)
    for cable in case.cables[:-1]:
        if not isinstance(cable.length_m, Decimal):
            return None
        limit -= cable.length_m
    if case.cables[-1].role is CableRole.SPUR:
        limit = min(limit, profile.spur_m)
    return MaxLength(whole_steps(limit, Decimal(1)), "none")


def longest_segment(area: Area, profile: Profile) -> Decimal:
    """Trunk and spurs together, in m: the longer limit only for a group known to be less severe than IIC.

    >>> fisco = PROFILES[Fieldbus.FISCO]
    >>> longest_segment(Area(group=Group.IIB), fisco), longest_segment(Area(), fisco)
    (Decimal('5000'), Decimal('1000'))
    """
    long = area.group is not None and zone_group(area.group) in LONG_TRUNK
    return profile.length_m if long else profile.length_severe_m


class _Item(NamedTuple):
    """One figure with the range it must keep; a bound of ``None`` is open."""

    words: str
    value: Parameter | None
    least: Decimal | None
    most: Decimal | None
    unit: str


def _judge(subject: str, items: list[_Item], profile: Profile, what: str) -> Check:
    """The first figure outside its range fails; else the first missing one is incomplete."""
    missing = None
    for item in items:
        if not isinstance(item.value, Decimal):
            missing = missing or item
            continue
        below = item.least is not None and not at_most(item.least, item.value)
        above = item.most is not None and not at_most(item.value, item.most)
        limit = item.least if below else item.most
        if (below or above) and limit is not None:
            least = "at least" if below else "at most"
            why = Remark(
                f"{{0}}: {item.words} is {{1:{item.unit}}}; {profile.name} needs {least} {{2:{item.unit}}}.",
                (subject, item.value, limit),
            )
            cure = Remark(f"With {item.words} of {least} {{0:{item.unit}}} it would pass.", (limit,))
            relation = ">=" if below else "<="
            return Check(
                CheckId.FISCO, FAIL, (subject,), why, profile.rule, item.value, limit, item.unit, relation, cure
            )
    if missing is not None:
        why = Remark("{0}: {1} is not known.", (subject, missing.words))
        return Check(CheckId.FISCO, INCOMPLETE, (subject,), why, profile.rule, None, missing.most, missing.unit)
    why = Remark("{0}: within the limits of {1} for {2}.", (subject, profile.name, what))
    return Check(CheckId.FISCO, PASS, (subject,), why, profile.rule)


def _supply(case: Case, profile: Profile) -> Check:
    if len(case.sources) > 1:
        names = " and ".join(source.name for source in case.sources)
        why = Remark("{0} feed one segment; {1} allows a single source.", (names, profile.name))
        cure = Remark("One source alone would pass.")
        return Check(CheckId.FISCO, FAIL, ("circuit",), why, profile.rule, str(len(case.sources)), "1", cure=cure)
    source = case.sources[0]
    items = [_Item("Uo", source.uo_v, *profile.supply_v, "V")]
    if profile.supply_a is not None:
        items.append(_Item("Io", source.io_a, None, profile.supply_a, "A"))
    if profile.supply_w is not None:
        items.append(_Item("Po", source.po_w, None, profile.supply_w, "W"))
    return _judge(source.name, items, profile, "a supply")


def _device(device: Device, profile: Profile) -> Check:
    items = [
        _Item("Ci", device.ci_f, None, profile.device_f, "F"),
        _Item("Li", device.li_h, None, profile.device_h, "H"),
    ]
    if device.kind is not DeviceKind.SIMPLE:
        items = [
            _Item("Ui", device.ui_v, profile.device_v, None, "V"),
            _Item("Ii", device.ii_a, profile.device_a, None, "A"),
            _Item("Pi", device.pi_w, profile.device_w, None, "W"),
            *items,
        ]
    return _judge(device.name, items, profile, "a device")


def _cable(cable: Cable, profile: Profile) -> Check:
    inductance = cable.inductance_h_per_m
    if isinstance(inductance, Decimal) and cable.inductance_per_core:
        inductance = 2 * inductance
    capacitance = cable.capacitance_f_per_m
    core, screen = cable.core_core_f_per_m, cable.core_screen_f_per_m
    if isinstance(core, Decimal) and isinstance(screen, Decimal) and not isinstance(capacitance, Decimal):
        capacitance = core + screen / 2 if cable.screen == "isolated" else core + screen
    items = [
        _Item("resistance of the loop", loop_resistance(cable), *profile.cable_ohm_per_m, "ohm/m"),
        _Item("inductance", inductance, *profile.cable_h_per_m, "H/m"),
        _Item("capacitance", capacitance, *profile.cable_f_per_m, "F/m"),
    ]
    if cable.role is CableRole.SPUR:
        items.append(_Item("length of the spur", cable.length_m, None, profile.spur_m, "m"))
    return _judge(cable.name, items, profile, "a cable")


def _lengths(case: Case, profile: Profile) -> list[Check]:
    if case.cables is None:
        why = Remark("The cable runs are not known.")
        return [Check(CheckId.FISCO, INCOMPLETE, ("cables",), why, profile.rule, unit="m")]
    known = [cable.length_m for cable in case.cables if isinstance(cable.length_m, Decimal)]
    total: Parameter | None = sum(known, Decimal(0))
    limit = longest_segment(case.area, profile)
    if len(known) < len(case.cables) and sum(known) <= limit:
        total = None
    return [_judge("cables", [_Item("length of trunk and spurs", total, None, limit, "m")], profile, "lengths")]


def _terminators(terminators: tuple[Terminator, ...], profile: Profile) -> Check:
    if not terminators:
        why = Remark("The terminators are not known; {0} needs one at each end of the trunk.", (profile.name,))
        return Check(CheckId.FISCO, INCOMPLETE, ("terminators",), why, profile.rule, None, str(profile.terminators))
    if len(terminators) != profile.terminators:
        why = Remark(
            "The number of terminators is {0}; {1} needs {2}, one at each end of the trunk.",
            (len(terminators), profile.name, profile.terminators),
        )
        cure = Remark("{0} terminators would pass.", (profile.terminators,))
        return Check(
            CheckId.FISCO,
            FAIL,
            ("terminators",),
            why,
            profile.rule,
            str(len(terminators)),
            str(profile.terminators),
            relation="=",
            cure=cure,
        )
    items = [
        item
        for terminator in terminators
        for item in (
            _Item("terminator resistance", terminator.resistance_ohm, *TERMINATOR_OHM, "ohm"),
            _Item("terminator capacitance", terminator.capacitance_f, *TERMINATOR_F, "F"),
        )
    ]
    return _judge("terminators", items, profile, "terminators")
