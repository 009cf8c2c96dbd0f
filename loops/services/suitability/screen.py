"""The screen: thousands of parts in thousands of places at once, in floating point, rejected only with certainty.

What it rejects, the engine fails; what it lets through, the engine judges. It never passes anything. Floating point is
off by some parts in 10**16 here (sums of few positive numbers); a value counts as above its limit only where it is
above by one part in 10**9. Numbers too small to have their digits are left out. What is no comparison of numbers
(level, group, class, certificate, ambient) is judged by the engine itself, once for each part and kind of place: with
everything else unknown, so that whatever fails there fails in every circuit of such a place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import UNKNOWN, CableType, Case, Device, Parameter, Permitted, Source
from loops.engine.checks.cables import LARGEST_TYPE_B_V
from loops.engine.findings import Verdict
from loops.engine.groups import permitted_rows
from loops.engine.limits import halved_cap, parts_of
from loops.engine.sources import feed_of, power
from loops.engine.tables import Tables, built_in_tables
from loops.engine.totals import cable_capacitance, cable_inductance, ratio, settle
from loops.engine.verdict import decide

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.uint8]

ABOVE = 1.0 + 1e-9
BELOW = 1.0 - 1e-9
SMALLEST = Decimal("1e-290")
LARGEST = Decimal("1e290")
CHUNK = 500


class Code(IntEnum):
    """Why the screen rejects a pair; LOOK where it does not."""

    LOOK = 0
    PLACE = 1
    VOLTAGE = 2
    CURRENT = 3
    POWER = 4
    STORAGE = 5
    EARTHING = 6
    CABLE = 7


def number(value: Parameter | None) -> float:
    """A value as a float; "not a number", which no comparison rejects, where there is none or it loses its digits."""
    if not isinstance(value, Decimal):
        return float("nan")
    if value and not SMALLEST < abs(value) < LARGEST:
        return float("nan")
    return float(value)


def known(value: Parameter | None) -> float:
    """A value as a share of a sum: what is not known adds nothing."""
    found = number(value)
    return 0.0 if found != found else found


class DeviceColumns:
    """Field devices as columns of numbers."""

    def __init__(self, devices: Sequence[Device]) -> None:
        self.devices = devices
        self.ui = np.array([number(item.ui_v) for item in devices])
        self.ii = np.array([number(item.ii_a) for item in devices])
        self.pi = np.array([number(item.pi_w) for item in devices])
        self.ci = np.array([known(item.ci_f) for item in devices])
        self.li = np.array([known(item.li_h) for item in devices])
        self.complete = np.array([isinstance(item.li_h, Decimal) for item in devices], dtype=bool)
        self.earthed = np.array([item.isolated_from_earth is False for item in devices], dtype=bool)


class SourceColumns:
    """Sources as columns of numbers."""

    def __init__(self, sources: Sequence[Source]) -> None:
        self.sources = sources
        self.uo = np.array([number(item.uo_v) for item in sources])
        self.io = np.array([number(item.io_a) for item in sources])
        self.po = np.array([number(_po(item)) for item in sources])
        self.isolated = np.array([item.isolated is True for item in sources], dtype=bool)
        self.earthed = np.array([item.isolated is False for item in sources], dtype=bool)
        self.rows: dict[Any, Rows] = {}

    def rows_for(self, group: Any) -> Rows:
        """The rows of permitted values of each source for an area of a group."""
        if group not in self.rows:
            self.rows[group] = Rows([permitted_rows(item.permitted, group) if group else () for item in self.sources])
        return self.rows[group]


class Rows:
    """Permitted values, several alternatives for each of many, padded with rows that are not there."""

    def __init__(self, found: Sequence[Sequence[Permitted]]) -> None:
        depth = max([len(rows) for rows in found], default=0) or 1
        shape = (len(found), depth)
        self.there = np.zeros(shape, dtype=bool)
        self.co, self.lo, self.ratio, self.cap = (np.full(shape, np.nan) for _ in range(4))
        self.together = np.zeros(shape, dtype=bool)
        for index, rows in enumerate(found):
            for place, row in enumerate(rows):
                self.there[index, place] = True
                self.co[index, place], self.lo[index, place] = number(row.co_f), number(row.lo_h)
                stated = row.lo_ro_h_per_ohm
                # A ratio that cannot be written as a float may still be stated: then the way by L/R may be open.
                self.ratio[index, place] = np.nan if not isinstance(stated, Decimal) else _open(number(stated))
                self.cap[index, place] = float(halved_cap(row.group))
                self.together[index, place] = row.together


def _open(value: float) -> float:
    return float("inf") if value != value else value


@with_full_precision
def _po(source: Source) -> Parameter:
    return power(source)[0]


def surely_fails_here(case: Case, tables: Tables | None) -> bool:
    """Whether the engine fails what is known of a circuit, everything else being unknown."""
    return any(check.verdict is Verdict.FAIL for check in decide(case, tables).checks)


class Places:
    """Answers of the engine on one part in one kind of place, each asked once."""

    def __init__(self, tables: Tables | None) -> None:
        self.tables = tables
        self.found: dict[Any, Flags] = {}

    def devices(self, case: Case, devices: Sequence[Device]) -> Flags:
        """Which of some devices fail in the area of a case whatever feeds them."""
        place = (case.area, case.basis, case.accepted_schemes, case.judge_on, case.fieldbus)
        if place not in self.found:
            bare = replace(_bare(case), sources=(Source("source"),))
            self.found[place] = np.array(
                [surely_fails_here(replace(bare, devices=(device,)), self.tables) for device in devices], dtype=bool
            )
        return self.found[place]

    def sources(self, case: Case, sources: Sequence[Source]) -> Flags:
        """Which of some sources, alone on a circuit, fail for the place of a case whatever they feed."""
        safe = (case.safe_area_ambient_min_c, case.safe_area_ambient_max_c, case.safe_area_voltage_max_v)
        place = (case.area, case.basis, case.accepted_schemes, case.judge_on, case.fieldbus, safe)
        if place not in self.found:
            bare = _bare(case)
            self.found[place] = np.array(
                [surely_fails_here(replace(bare, sources=(source,)), self.tables) for source in sources], dtype=bool
            )
        return self.found[place]


def _bare(case: Case) -> Case:
    """The place of a case alone."""
    return replace(case, devices=(), cables=None, terminators=(), load_resistance_ohm=UNKNOWN)


# ------------------------------------------------------------------------------------------------------------ devices


@with_full_precision
def screen_devices(
    places: Sequence[tuple[Case, int]], devices: Sequence[Device], tables: Tables | None = None
) -> Codes:
    """Which devices fail for sure in which places: a row for each case with the index of the device that stands there.

    The other parts of each circuit stay as they are.
    """
    columns, found, answers = DeviceColumns(devices), [], Places(tables)
    for start in range(0, len(places), CHUNK):
        found.append(_device_chunk(places[start : start + CHUNK], columns, answers, tables or built_in_tables()))
    return np.concatenate(found) if found else np.zeros((0, len(devices)), dtype=np.uint8)


def _device_chunk(places: Sequence[tuple[Case, int]], columns: DeviceColumns, answers: Places, tables: Tables) -> Codes:
    numbers, rows, worst, complete, summed, here = [], [], [], [], [], []
    for case, index in places:
        others = case.devices[:index] + case.devices[index + 1 :]
        bare = replace(case, devices=others)
        feed, _ = feed_of(bare, tables, [])
        parts = parts_of(bare, feed)
        barrier = any(source.isolated is False for source in case.sources)
        earths = int(barrier) + sum(device.isolated_from_earth is False for device in others)
        sums = [known(total.known) for total in (parts.ci, parts.li, parts.cc, parts.lc)]
        numbers.append([number(feed.uo_v), number(feed.io_a), number(feed.po_w), *sums, float(earths)])
        rows.append(feed.rows)
        worst.append(max([number(value) for value, _ in parts.ratios if value is not None], default=float("nan")))
        complete.append(not parts.li.missing)
        summed.append(case.fieldbus is None)
        here.append(answers.devices(case, columns.devices))
    uo, io, po, ci, li, cc, lc, earths_there = np.array(numbers).T[:, :, None]
    storage = _storage(
        Rows(rows),
        np.array(worst)[:, None, None],
        (ci + columns.ci)[:, :, None],
        (li + columns.li)[:, :, None],
        cc[:, :, None],
        lc[:, :, None],
        (np.array(complete)[:, None] & columns.complete)[:, :, None],
        by_place=True,
    )
    return _coded(
        np.array(here),
        uo > columns.ui * ABOVE,
        io > columns.ii * ABOVE,
        po > columns.pi * ABOVE,
        storage & np.array(summed)[:, None],
        earths_there + columns.earthed > 1,
    )


def _storage(
    rows: Rows, worst: Floats, ci: Floats, li: Floats, cc: Floats, lc: Floats, complete: Flags, *, by_place: bool
) -> Flags:
    """Where every alternative of the permitted values is surely exceeded, in capacitance or in inductance.

    Arrays have the axes place, part, row; the rows belong to the places or to the parts. `complete`: Li of every device
    is known, so that the way by L/R is not merely undecided.
    """

    def spread(values: NDArray[Any]) -> NDArray[Any]:
        return values[:, None, :] if by_place else values[None, :, :]

    co, lo, stated = spread(rows.co), spread(rows.lo), spread(rows.ratio)
    halved = (li * BELOW >= lo / 100) & (ci * BELOW >= co / 100) & ~spread(rows.together)
    co = np.where(halved, np.minimum(co / 2, spread(rows.cap)), co)
    lo = np.where(halved, lo / 2, lo)
    # L/R in place of L: closed where it is not stated, where a cable exceeds it, and under the 1 % rule.
    closed = np.isnan(stated) | ((worst > stated * ABOVE) & complete) | halved
    exceeded = (ci + cc > co * ABOVE) | ((li + lc > lo * ABOVE) & closed)
    there = spread(rows.there)
    return np.any(there, axis=2) & np.all(exceeded | ~there, axis=2)


def _coded(here: Flags, *reasons: Flags) -> Codes:
    """The first reason of each pair."""
    found = np.where(here, np.uint8(Code.PLACE), np.uint8(Code.LOOK))
    for code, flags in zip(list(Code)[2:], reasons, strict=False):
        found = np.where((found == Code.LOOK) & flags, np.uint8(code), found)
    return found.astype(np.uint8)


# ------------------------------------------------------------------------------------------------------------ sources


@with_full_precision
def screen_sources(
    places: Sequence[tuple[Case, int]], sources: Sequence[Source], tables: Tables | None = None
) -> Codes:
    """Which sources fail for sure in which places; a circuit with several sources is left to the engine."""
    columns, answers = SourceColumns(sources), Places(tables)
    found = np.zeros((len(places), len(sources)), dtype=np.uint8)
    by_group: dict[Any, list[int]] = {}
    for index, (case, _) in enumerate(places):
        if len(case.sources) == 1:
            by_group.setdefault(case.area.group, []).append(index)
    for group, indexes in by_group.items():
        for start in range(0, len(indexes), CHUNK):
            chunk = indexes[start : start + CHUNK]
            found[chunk] = _source_chunk(
                [places[index][0] for index in chunk], columns, columns.rows_for(group), answers
            )
    return found


def _source_chunk(cases: Sequence[Case], columns: SourceColumns, rows: Rows, answers: Places) -> Codes:
    numbers, worst, complete, summed, bundled, here = [], [], [], [], [], []
    for case in cases:
        least = [
            min([found for found in map(number, values) if found == found], default=float("nan"))
            for values in zip(*((item.ui_v, item.ii_a, item.pi_w) for item in case.devices), strict=True)
        ] or [float("nan")] * 3
        cables = case.cables or ()
        floating = [settle(cable, case.basis, False) for cable in cables]
        earthed = [settle(cable, case.basis, True) for cable in cables]
        coldest = case.area.ambient_min_c
        ratios = [number(ratio(cable, case.basis, UNKNOWN, coldest)[0]) for cable in cables]
        earths = sum(device.isolated_from_earth is False for device in case.devices)
        sums = (
            sum(known(item.ci_f) for item in case.devices),
            sum(known(item.li_h) for item in case.devices),
            known(cable_capacitance(floating).known),
            known(cable_capacitance(earthed).known),
            known(cable_inductance(floating).known),
        )
        numbers.append([*least, *sums, float(earths)])
        worst.append(max([value for value in ratios if value == value], default=float("nan")))
        complete.append(all(isinstance(item.li_h, Decimal) for item in case.devices))
        summed.append(case.fieldbus is None)
        bundled.append(any(cable.type is CableType.B for cable in cables))
        here.append(answers.sources(case, columns.sources))
    ui, ii, pi, ci, li, cc_floating, cc_earthed, lc, earths_there = np.array(numbers).T[:, :, None]
    cc = np.where(columns.isolated, cc_floating, cc_earthed)
    storage = _storage(
        rows,
        np.array(worst)[:, None, None],
        ci[:, :, None],
        li[:, :, None],
        cc[:, :, None],
        lc[:, :, None],
        np.array(complete)[:, None, None],
        by_place=False,
    )
    return _coded(
        np.array(here),
        columns.uo > ui * ABOVE,
        columns.io > ii * ABOVE,
        columns.po > pi * ABOVE,
        storage & np.array(summed)[:, None],
        earths_there + columns.earthed > 1,
        np.array(bundled)[:, None] & (columns.uo > float(LARGEST_TYPE_B_V) * ABOVE),
    )
