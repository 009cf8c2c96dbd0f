"""What a source permits on its terminals once the devices are known: the 1 % rule, and L/R in place of L.

Sources: IEC 60079-11:2011, 10.1.5.2 (1 % rule); IEC 60079-25:2020, Annex A (L/R). The L/R limit with inductance on the
circuit is from memory, IEC 60079-11:2011, 10.1.4.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import and3, at_most
from loops.engine.case import Case, Group, Output, Parameter, Permitted
from loops.engine.findings import Totals
from loops.engine.groups import zone_group
from loops.engine.sources import Feed, least_resistance, spark_energy
from loops.engine.totals import (
    Run,
    Sum,
    cable_capacitance,
    cable_inductance,
    device_capacitance,
    device_inductance,
    ratio,
    settle,
)

ZERO = Decimal(0)
HALVED_CAP_F = Decimal("1e-6")
HALVED_CAP_IIC_F = Decimal("600e-9")


class Parts(NamedTuple):
    """Everything on the circuit that stores energy, before any limit: F, H, H/ohm."""

    ci: Sum
    li: Sum
    cc: Sum
    lc: Sum
    runs: tuple[Run, ...] | None
    ratios: tuple[tuple[Decimal | None, str], ...]

    @property
    def totals(self) -> Totals:
        """Capacitance and inductance of devices and cables together; ``None`` where a part is missing."""
        return Totals(
            None if self.ci.missing or self.cc.missing else self.ci.known + self.cc.known,
            None if self.li.missing or self.lc.missing else self.li.known + self.lc.known,
        )

    @property
    def worst_ratio(self) -> Decimal | None:
        """The largest L/R of the cables in H/ohm; ``None`` where one is unknown or no cable is named."""
        known = [value for value, _ in self.ratios if value is not None]
        return max(known) if known and len(known) == len(self.ratios) else None


class Limits(NamedTuple):
    """One row of permitted values with the 1 % rule applied.

    ``halved`` is ``None`` where a missing Ci or Li decides; then ``strict`` holds the halved values and ``lenient`` the
    full ones. Both are equal otherwise. F and H; ``None`` where the certificate's value is missing.
    """

    row: Permitted
    halved: bool | None
    strict_c: Decimal | None
    lenient_c: Decimal | None
    strict_l: Decimal | None
    lenient_l: Decimal | None


class RatioWay(NamedTuple):
    """The way by L/R: open and passed (True), closed or failed (False), or undecided (None).

    ``limit`` in H/ohm where it is passed; ``recomputed``: it allows for the inductance of the devices.
    """

    passed: bool | None
    limit: Decimal | None = None
    recomputed: bool = False


def parts_of(case: Case, feed: Feed) -> Parts:
    """Add up devices and cables of a case."""
    ci, li = device_capacitance(case.devices), device_inductance(case.devices)
    if case.cables is None:
        unknown = Sum(ZERO, ("the cables",))
        return Parts(ci, li, unknown, unknown, None, ())
    runs = runs_of(case)
    coldest = case.area.ambient_min_c
    ratios = tuple(ratio(cable, case.basis, feed.io_a, coldest) for cable in case.cables)
    return Parts(ci, li, cable_capacitance(runs), cable_inductance(runs), runs, ratios)


def runs_of(case: Case) -> tuple[Run, ...]:
    """The runs of a case with the values that they count with; a source that may be earthed makes the screen count."""
    earthed = any(source.isolated is not True for source in case.sources)
    return tuple(settle(cable, case.basis, earthed) for cable in case.cables or ())


def reaches_one_percent(total: Sum, limit: Parameter) -> bool | None:
    """The sum of the devices is at least 1 % of the limit; ``None`` while a missing part decides.

    >>> reaches_one_percent(Sum(Decimal(1), ()), Decimal(100)), reaches_one_percent(Sum(Decimal(0), ("x",)), Decimal(9))
    (True, None)
    """
    if not isinstance(limit, Decimal):
        return False if not total.missing and not total.known else None
    if at_most(limit / 100, total.known):
        return True
    return None if total.missing else False


def halved_cap(group: Group) -> Decimal:
    """The most that a halved Co may be, in F (IEC 60079-11:2011, 10.1.5.2).

    >>> halved_cap(Group.A), halved_cap(Group.IIB)
    (Decimal('6.00E-7'), Decimal('0.000001'))
    """
    return HALVED_CAP_IIC_F if zone_group(group) is Group.IIC else HALVED_CAP_F


def limits_of(row: Permitted, ci: Sum, li: Sum) -> Limits:
    """A row of permitted values after the 1 % rule (IEC 60079-11:2011, 10.1.5.2).

    Both the devices' Li reaches 1 % of Lo and their Ci 1 % of Co: both limits are halved, and the halved Co is at most
    600 nF for IIC and 1 uF for every other group. Not for a pair that the certificate declares valid together.

    >>> row = Permitted(Group.IIC, Decimal("93e-9"), Decimal("2.7e-3"))
    >>> limits_of(row, Sum(Decimal("7.8e-9"), ()), Sum(Decimal("100e-6"), ()))[1:3]
    (True, Decimal('4.65E-8'))
    """
    co = row.co_f if isinstance(row.co_f, Decimal) else None
    lo = row.lo_h if isinstance(row.lo_h, Decimal) else None
    halved: bool | None = False
    if not row.together:
        halved = and3(reaches_one_percent(li, row.lo_h), reaches_one_percent(ci, row.co_f))
    if halved is False:
        return Limits(row, False, co, co, lo, lo)
    half_c = None if co is None else min(co / 2, halved_cap(row.group))
    half_l = None if lo is None else lo / 2
    if halved:
        return Limits(row, True, half_c, half_c, half_l, half_l)
    return Limits(row, None, half_c, co, half_l, lo)


def ratio_limit_with_inductance(
    voltage_v: Decimal, resistance_ohm: Decimal, inductance_h: Decimal, energy_j: Decimal
) -> Decimal | None:
    """Lo/Ro in H/ohm of a linear source with lumped inductance on its terminals, or ``None`` where none is left.

    (8 e R + sqrt(64 e^2 R^2 - 72 U^2 e L)) / (4.5 U^2), IEC 60079-11:2011, 10.1.4, from memory. Without inductance it
    is 32 e R / (9 U^2). ``voltage_v`` must be above zero.

    >>> round(ratio_limit_with_inductance(Decimal(28), Decimal(300), Decimal(0), Decimal("40e-6")) * 10**6, 1)
    Decimal('54.4')
    """
    under = 64 * energy_j**2 * resistance_ohm**2 - 72 * voltage_v**2 * energy_j * inductance_h
    if under < 0:
        return None
    return (8 * energy_j * resistance_ohm + under.sqrt()) / (Decimal("4.5") * voltage_v**2)


def ratio_way(limits: Limits, parts: Parts, feed: Feed) -> RatioWay:
    """Whether every cable's L/R is within Lo/Ro, so that the cable's inductance sets no limit.

    Open where the devices' Li is under 1 % of Lo. Above that only for one linear source, outside the 1 % rule, with the
    limit recomputed for the devices' Li (and never above the stated one).
    """
    row = limits.row
    if not isinstance(row.lo_ro_h_per_ohm, Decimal):
        return RatioWay(False)
    limit, recomputed = row.lo_ro_h_per_ohm, False
    reached = reaches_one_percent(parts.li, row.lo_h)
    if reached is None:
        return RatioWay(None)
    if reached:
        with_inductance = _recomputed(limits, parts, feed)
        if with_inductance is None:
            return RatioWay(False)
        limit, recomputed = min(limit, with_inductance), True
    if any(value is not None and not at_most(value, limit) for value, _ in parts.ratios):
        return RatioWay(False)
    if parts.runs is None or any(value is None for value, _ in parts.ratios):
        return RatioWay(None)
    return RatioWay(True, limit, recomputed)


def _recomputed(limits: Limits, parts: Parts, feed: Feed) -> Decimal | None:
    source = feed.sources[0]
    lo = limits.lenient_l
    if feed.calculated or source.output is not Output.LINEAR or limits.halved is not False or parts.li.missing:
        return None
    if lo is None or not at_most(parts.li.known, lo) or not isinstance(source.uo_v, Decimal) or not source.uo_v:
        return None
    resistance = least_resistance(source)
    if resistance is None:
        return None
    return ratio_limit_with_inductance(source.uo_v, resistance, parts.li.known, spark_energy(limits.row.group))
