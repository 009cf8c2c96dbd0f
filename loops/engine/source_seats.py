"""One circuit and very many sources for it: whatever does not depend on the source is judged once.

As :mod:`loops.engine.seats`, which does this for devices: the verdicts are those of
:func:`loops.engine.verdict.decide`, put together from the same checks, and no sentence is told. What a source decides
by itself is judged once for each kind of place, what it decides with a device once for each output and kind of device;
the sums remain for each pair.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from loops.engine.case import UNKNOWN, Case, Device, DeviceKind, Source
from loops.engine.checks.cables import check_type
from loops.engine.checks.certificates import check_certificate
from loops.engine.checks.earthing import check_earthing, check_um
from loops.engine.checks.entity import check_entity
from loops.engine.checks.simple import check_simple, check_simple_temperature
from loops.engine.checks.storage import stored
from loops.engine.checks.suitability import check_group, check_level
from loops.engine.checks.temperature import check_source_ambient, check_temperature
from loops.engine.findings import CheckId, Function
from loops.engine.function import check_function
from loops.engine.limits import Parts, parts_of
from loops.engine.seats import ENTITY, GRAVITY, OF_THE_PAIR, OUTCOMES, Seated, Share, share_of, share_of_whole
from loops.engine.sources import Feed, feed_of
from loops.engine.tables import Tables, built_in_tables
from loops.engine.totals import ratio
from loops.engine.verdict import decide

BY_SOURCE = (
    frozenset({*ENTITY, CheckId.LEVEL, CheckId.GROUP, CheckId.TEMPERATURE_CLASS, CheckId.SIMPLE_APPARATUS})
    | {CheckId.CABLE_TYPE, CheckId.SOURCES}
    | OF_THE_PAIR
)
"""Checks that a source has a part in; what else is told of devices and cables stands without it."""
NAME = "\0"
"""The name of every source here: one that no item on a circuit has."""


class Sources:
    """Many sources, with what is known of each in each kind of place and with each kind of device.

    Made once for all seats. Sources that give alike, work alike or are marked alike have the same number in `outputs`,
    `works` and `marks`.
    """

    def __init__(self, sources: Sequence[Source]) -> None:
        self.sources = tuple(replace(source, name=NAME) for source in sources)
        self.outputs = numbered((one.uo_v, one.io_a, one.po_w, one.output) for one in self.sources)
        self.works = numbered((one.supply, one.ro_ohm, one.uo_v, one.io_a, one.isolated) for one in self.sources)
        self.marks = numbered((one.level, one.epl) for one in self.sources)
        self._feeds: dict[Hashable, list[Feed | None]] = {}
        self._places: dict[Hashable, list[int | None]] = {}
        self._devices: dict[Device, int] = {}
        self._with_devices: dict[Hashable, Share] = {}

    def feeds(self, case: Case) -> list[Feed | None]:
        """For each source what it feeds in an area of a group, as far as it was asked."""
        return self._feeds.setdefault(case.area.group, [None] * len(self.sources))

    def places(self, case: Case) -> list[int | None]:
        """For each source how grave it is what it decides by itself at the place of a case, as far as it was asked."""
        safe = (case.safe_area_ambient_min_c, case.safe_area_ambient_max_c, case.safe_area_voltage_max_v)
        key = (case.basis, case.accepted_schemes, case.judge_on, safe)
        return self._places.setdefault(key, [None] * len(self.sources))

    def in_place(self, case: Case, number: int) -> int:
        """How grave it is what a source decides by itself."""
        source = self.sources[number]
        checks = [check_certificate(source.name, source.certificate, case, []), check_um(case, source)]
        ambient = check_source_ambient(case, source)
        return min(GRAVITY[check.verdict] for check in (*checks, *([ambient] if ambient else [])))

    def number_of(self, device: Device) -> int:
        """The number of a device, the same for all that differ in nothing but their name."""
        return self._devices.setdefault(replace(device, name=""), len(self._devices))

    def with_device(self, case: Case, feed: Feed, device: Device, key: Hashable) -> Share:
        """How it stands what a feed gives a device in the area of a case; `key` names the three."""
        found = self._with_devices.get(key)
        if found is None:
            checks = [*check_entity(feed, device, [])]
            if device.kind is DeviceKind.SIMPLE:
                checks += [*check_simple(case, device, feed, []), check_simple_temperature(case, device, feed, [])]
            else:
                checks.append(check_temperature(case, device, feed))
            found = self._with_devices[key] = share_of(checks)
        return found


def numbered(keys: Any) -> tuple[int, ...]:
    """A number for each key, the same for those that are equal.

    >>> numbered("abca")
    (0, 1, 2, 0)
    """
    found: dict[Hashable, int] = {}
    return tuple(found.setdefault(key, len(found)) for key in keys)


class SourceSeat:
    """The place of the one source of a circuit. Make and use it in the engine's context.

    A fieldbus segment is judged as a whole.
    """

    def __init__(self, case: Case, sources: Sources, tables: Tables | None = None) -> None:
        self.case, self.sources, self.tables = case, sources, tables
        self.by_shares = case.fieldbus is None
        if not self.by_shares:
            return
        self.feeds, self.places = sources.feeds(case), sources.places(case)
        self.devices = [(device, (sources.number_of(device), case.area, case.basis)) for device in case.devices]
        bare = self._with(Source(NAME))
        checks = decide(bare, tables).checks
        fixed = [check for check in checks if check.subject != (NAME,) and check.id not in BY_SOURCE]
        # Without a device the entity checks are told as missing, with the feed alone as their subject.
        missing = [check for check in checks if check.id in ENTITY] if not case.devices else []
        self.fixed = min((GRAVITY[check.verdict] for check in (*fixed, *missing)), default=3)
        coldest = case.area.ambient_min_c
        self.by_current = any(
            len({ratio(cable, case.basis, io, coldest) for io in (UNKNOWN, Decimal(1), Decimal(1000))}) > 1
            for cable in case.cables or ()
        )
        self._parts: dict[Hashable, Parts] = {}
        self._gravities: dict[Hashable, int] = {}
        self._functions: dict[Hashable, Function] = {}

    def decide(self, number: int) -> Seated:
        """What comes of one of the sources in this seat, exactly."""
        source = self.sources.sources[number]
        if not self.by_shares:
            return share_of_whole(decide(self._with(replace(source, name=self.case.sources[0].name)), self.tables))
        feed = self.feeds[number]
        if feed is None:
            bare = self._with(source)
            feed = self.feeds[number] = feed_of(bare, self.tables or built_in_tables(), [])[0]
        place = self.places[number]
        if place is None:
            place = self.places[number] = self.sources.in_place(self.case, number)
        output = self.sources.outputs[number]
        verdict, margin, group = stored(feed, self._parts_with(source, feed))
        gravity = min(self.fixed, place, GRAVITY[verdict], self._earthed(source, feed), self._cables(feed, output))
        gravity = min(gravity, self._level(source, feed, number), self._group(source, feed, group))
        for device, key in self.devices:
            share = self.sources.with_device(self.case, feed, device, (*key, output))
            gravity = min(gravity, share.gravity)
            if margin is None or (share.margin is not None and share.margin < margin):
                margin = share.margin
        return Seated(OUTCOMES[gravity], self._function(source, number), margin)

    def _with(self, source: Source) -> Case:
        return replace(self.case, sources=(source,))

    def _parts_with(self, source: Source, feed: Feed) -> Parts:
        key = (source.isolated is True, feed.io_a if self.by_current else None)
        found = self._parts.get(key)
        if found is None:
            found = self._parts[key] = parts_of(self._with(source), feed)
        return found

    def _kept(self, key: Hashable, checks: Any) -> int:
        found = self._gravities.get(key)
        if found is None:
            found = self._gravities[key] = min((GRAVITY[check.verdict] for check in checks()), default=3)
        return found

    def _earthed(self, source: Source, feed: Feed) -> int:
        key = ("earth", source.isolated)
        return self._kept(key, lambda: [check_earthing(self._with(source), feed, [])])

    def _cables(self, feed: Feed, output: int) -> int:
        return self._kept(("cables", output), lambda: [check_type(cable, feed, []) for cable in self.case.cables or ()])

    def _level(self, source: Source, feed: Feed, number: int) -> int:
        key = ("level", self.sources.marks[number])
        return self._kept(key, lambda: [check_level(self._with(source), feed)])

    def _group(self, source: Source, feed: Feed, group: Any) -> int:
        key = ("group", group, bool(source.permitted))
        return self._kept(key, lambda: check_group(self._with(source), feed, group))

    def _function(self, source: Source, number: int) -> Function:
        key = self.sources.works[number]
        found = self._functions.get(key)
        if found is None:
            found = self._functions[key] = check_function(self._with(source))
        return found
