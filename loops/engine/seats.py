"""One place on a circuit and very many devices for it: whatever does not depend on the device is judged once.

The verdicts are those of :func:`loops.engine.verdict.decide`, put together from the same checks; no sentence is
written. What a device decides by itself (certificate, group, level, class, ambient) is judged once for each kind of
place, what it decides with the feed once for each feed; the sums and the function remain for each pair.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

from loops.engine.case import NOT_STATED, Case, Device, DeviceKind, Level, Source
from loops.engine.checks.earthing import check_earthing
from loops.engine.checks.entity import check_entity
from loops.engine.checks.storage import stored
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
    Function,
    Verdict,
)
from loops.engine.function import check_function
from loops.engine.limits import Parts, parts_of
from loops.engine.sources import Feed, feed_of
from loops.engine.tables import Tables, built_in_tables
from loops.engine.totals import Sum
from loops.engine.verdict import Decision, decide

GRAVITY = {FAIL: 0, BEYOND: 1, INCOMPLETE: 2, PASS: 3, CONFIRM: 3, NOT_APPLICABLE: 3}
OUTCOMES = (
    CircuitVerdict.DOES_NOT_COMPLY,
    CircuitVerdict.BEYOND_SIMPLE_RULES,
    CircuitVerdict.INCOMPLETE,
    CircuitVerdict.COMPLIES,
)
OF_THE_PAIR = frozenset({CheckId.CAPACITANCE, CheckId.INDUCTANCE, CheckId.LUMPED_RULE, CheckId.EARTHING})
ENTITY = (CheckId.VOLTAGE, CheckId.CURRENT, CheckId.POWER)


class Seated(NamedTuple):
    """What comes of a device in a seat: the circuit's verdict, the function, and the least margin of what is judged."""

    verdict: CircuitVerdict
    function: Function
    margin: Decimal | None


class Share(NamedTuple):
    """A part of the verdict: how grave it is (0 fails, 3 is in order), and its least margin."""

    gravity: int
    margin: Decimal | None


class Devices:
    """Many devices, with what is known of each in each kind of place and with each feed.

    Made once for all seats. `plain` tells which devices can be judged by shares: a device whose temperature class
    depends on the power it gets, and simple apparatus, are judged as a whole.
    """

    def __init__(self, devices: Sequence[Device]) -> None:
        self.devices = tuple(devices)
        self.plain = tuple(
            device.kind is not DeviceKind.SIMPLE
            and all(row.pi_w is NOT_STATED and row.ii_a is NOT_STATED for row in device.temperature_classes)
            for device in self.devices
        )
        works = [
            (device.needs, device.series_resistance_ohm, device.voltage_drop_v, device.kind) for device in self.devices
        ]
        numbers = {key: number for number, key in enumerate(dict.fromkeys(works))}
        self.works = tuple(numbers[key] for key in works)
        """Devices that work alike have the same number."""
        self._places: dict[Hashable, list[int | None]] = {}
        self._feeds: dict[Hashable, list[Share | None]] = {}

    def places(self, case: Case) -> list[int | None]:
        """For each device how grave it is what it decides by itself in the area of a case, as far as it was asked."""
        key = (case.area, case.basis, case.accepted_schemes, case.judge_on)
        return self._places.setdefault(key, [None] * len(self.devices))

    def in_place(self, case: Case, number: int) -> int:
        """How grave it is what a device decides by itself in the area of a case."""
        device = self.devices[number]
        bare = replace(case, sources=(Source("source", level=Level.IA),), devices=(device,), cables=None)
        return min((GRAVITY[check.verdict] for check in decide(bare).checks if _own(check, device)), default=3)

    def feeds(self, feed: Feed) -> list[Share | None]:
        """For each device how it stands what a feed gives, as far as it was asked."""
        key = (feed.uo_v, feed.io_a, feed.po_w, feed.unsettled)
        return self._feeds.setdefault(key, [None] * len(self.devices))


def _own(check: Check, device: Device) -> bool:
    """Whether a check on a circuit of which only the device is known says something of it alone."""
    return check.id is CheckId.LEVEL or (check.subject == (device.name,) and check.id not in OF_THE_PAIR)


def share_of(checks: Sequence[Check]) -> Share:
    """The gravest of some checks, and the least margin of the quantities among them that are judged."""
    margins = [
        margin
        for check in checks
        if check.id in ENTITY and check.verdict in (PASS, FAIL) and (margin := check.margin) is not None
    ]
    return Share(min((GRAVITY[check.verdict] for check in checks), default=3), min(margins, default=None))


def share_of_whole(decision: Decision) -> Seated:
    """What comes of a circuit that was judged as a whole."""
    margins = [
        margin
        for check in decision.checks
        if check.id in (*ENTITY, CheckId.CAPACITANCE, CheckId.INDUCTANCE)
        and check.verdict in (PASS, FAIL)
        and (margin := check.margin) is not None
    ]
    return Seated(decision.verdict, decision.function, min(margins, default=None))


class Seat:
    """The place of a device on a circuit. Make and use it in the engine's context."""

    def __init__(self, case: Case, index: int, devices: Devices, tables: Tables | None = None) -> None:
        self.case, self.index, self.devices, self.tables = case, index, devices, tables
        others = case.devices[:index] + case.devices[index + 1 :]
        bare = replace(case, devices=others)
        self.feed, _ = feed_of(bare, tables or built_in_tables(), [])
        self.parts = parts_of(bare, self.feed)
        # Without a device the entity checks are told as missing, with the feed alone as their subject.
        fixed = [
            check
            for check in decide(bare, tables).checks
            if check.id not in OF_THE_PAIR and not (check.id in ENTITY and len(check.subject) == 1)
        ]
        self.fixed = share_of(fixed)
        self.by_sums = case.fieldbus is None
        self.counts_ci = any(device.needs is not None and device.needs.hart for device in others)
        self._places, self._feeds = devices.places(case), devices.feeds(self.feed)
        self._earthing: dict[bool | None, int] = {}
        self._functions: dict[Hashable, Function] = {}

    def decide(self, number: int) -> Seated:
        """What comes of one of the devices in this seat, exactly."""
        devices = self.devices
        device = devices.devices[number]
        if not (self.by_sums and devices.plain[number]):
            return self._whole(device)
        entity = self._feeds[number]
        if entity is None:
            entity = self._feeds[number] = share_of(check_entity(self.feed, device, []))
        place = self._places[number]
        if place is None:
            place = self._places[number] = devices.in_place(self.case, number)
        ci, li, cc, lc, runs, ratios = self.parts
        parts = Parts(_with(ci, device.ci_f, "Ci"), _with(li, device.li_h, "Li"), cc, lc, runs, ratios)
        verdict, margin, _ = stored(self.feed, parts)
        gravity = min(
            self.fixed.gravity, entity.gravity, place, GRAVITY[verdict], self._earthed(device.isolated_from_earth)
        )
        for other in (self.fixed.margin, entity.margin):
            if margin is None or (other is not None and other < margin):
                margin = other
        return Seated(OUTCOMES[gravity], self._function(number), margin)

    def _whole(self, device: Device) -> Seated:
        return share_of_whole(decide(self._with(device), self.tables))

    def _with(self, device: Device) -> Case:
        rows = list(self.case.devices)
        rows[self.index] = replace(device, name=rows[self.index].name)
        return replace(self.case, devices=tuple(rows))

    def _earthed(self, isolated: bool | None) -> int:
        if isolated not in self._earthing:
            case = self._with(Device("device", isolated_from_earth=isolated))
            self._earthing[isolated] = GRAVITY[check_earthing(case, self.feed, []).verdict]
        return self._earthing[isolated]

    def _function(self, number: int) -> Function:
        device, key = self.devices.devices[number], self.devices.works[number]
        counts = self.counts_ci or (device.needs is not None and device.needs.hart)
        whole: Hashable = (key, device.ci_f) if counts else key
        found = self._functions.get(whole)
        if found is None:
            found = self._functions[whole] = check_function(self._with(device))
        return found


def _with(total: Sum, value: object, name: str) -> Sum:
    """A sum with the share of one more device."""
    if isinstance(value, Decimal):
        return Sum(total.known + value, total.missing)
    return Sum(total.known, (*total.missing, name))


assert set(GRAVITY) == set(Verdict)
