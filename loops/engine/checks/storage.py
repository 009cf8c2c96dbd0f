"""Capacitance, inductance, the 1 % rule for both together, and the longest cable.

Sources: IEC 60079-25:2020, Annex A (sums, and L/R in place of L); IEC 60079-11:2011, 10.1.5.2 (1 % rule). The L/R limit
with inductance on the circuit is from memory, IEC 60079-11:2011, 10.1.4.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import at_most
from loops.engine.case import Case, Group, Permitted
from loops.engine.findings import (
    BEYOND,
    FAIL,
    INCOMPLETE,
    NOT_APPLICABLE,
    PASS,
    Check,
    CheckId,
    MaxLength,
    Remark,
    Totals,
    Verdict,
)
from loops.engine.groups import zone_group
from loops.engine.limits import ZERO, Limits, Parts, RatioWay, halved_cap, limits_of, parts_of, ratio_way
from loops.engine.longest import longest_by, max_length
from loops.engine.sources import Feed
from loops.engine.totals import Sum


class Storage(NamedTuple):
    """Outcome of the family."""

    checks: tuple[Check, ...]
    totals: Totals
    halved: bool
    max_length: MaxLength | None
    row_group: Group | None


class _View(NamedTuple):
    """One row of permitted values, judged."""

    limits: Limits
    capacitance: Check
    inductance: Check
    lumped: Check
    way: RatioWay
    max_length: MaxLength | None

    @property
    def rank(self) -> tuple[int, Decimal]:
        """Order of preference: the least severe verdict, then the largest margin."""
        checks = (self.capacitance, self.inductance)
        worst = max(_SEVERITY.get(check.verdict, 1) for check in checks)
        margins = [check.margin for check in checks if check.margin is not None]
        return worst, -min(margins, default=ZERO)


class Sided(NamedTuple):
    """One sum against its limit, without words: F or H, and where the way by L/R is taken H/ohm (``by_ratio``).

    ``open_way``: the sum fails, but the way by L/R is not decided.
    """

    verdict: Verdict
    value: Decimal | None
    limit: Decimal | None
    by_ratio: bool = False
    open_way: bool = False

    @property
    def margin(self) -> Decimal | None:
        """As :attr:`loops.engine.findings.Check.margin`."""
        if self.value is None or self.limit is None or not self.limit:
            return None
        return (self.limit - self.value) / self.limit


class Stored(NamedTuple):
    """The row of permitted values that suits a circuit best, without words: the most severe verdict of the family, the
    least margin of what is judged (``None`` where nothing is), and the group of the row as in :class:`Storage`."""

    verdict: Verdict
    margin: Decimal | None
    row_group: Group | None


_SEVERITY = {PASS: 0, FAIL: 2}
_GRAVITY = {FAIL: 0, BEYOND: 1, INCOMPLETE: 2, PASS: 3}
_HALVING_OPEN = ", halved as long as the 1 % rule is open"  # a failure is told against the full limit


def check_storage(case: Case, feed: Feed, remarks: list[Remark]) -> Storage:
    """Judge the circuit against each usable row of permitted values and keep the row that suits it best.

    Any one row that covers the circuit is enough; the row used is named. Without a usable row nothing can pass.
    """
    parts = parts_of(case, feed)
    totals = parts.totals
    if not feed.rows:
        verdict = feed.unsettled or INCOMPLETE
        why = _no_row(case, feed)
        checks = (
            Check(CheckId.CAPACITANCE, verdict, (feed.name,), why, "storage", totals.capacitance_f, None, "F"),
            Check(CheckId.INDUCTANCE, verdict, (feed.name,), why, "storage", totals.inductance_h, None, "H"),
            Check(CheckId.LUMPED_RULE, verdict, (feed.name,), why, "lumped_rule", parts.li.known, None, "H", "<"),
        )
        return Storage(checks, totals, False, None, None)
    views = [_view(row, number, parts, feed) for number, row in enumerate(feed.rows, 1)]
    best = views[0] if len(views) == 1 else min(views, key=lambda view: view.rank)
    limits = best.limits
    _remark(case, feed, parts, best, remarks)
    settled = feed.unsettled is None
    return Storage(
        (best.capacitance, best.inductance, best.lumped),
        Totals(totals.capacitance_f, totals.inductance_h, limits.strict_c, limits.strict_l) if settled else totals,
        bool(limits.halved),
        _longest(views) if settled else None,
        zone_group(limits.row.group) if settled else None,
    )


def _view(row: Permitted, number: int, parts: Parts, feed: Feed) -> _View:
    limits = limits_of(row, parts.ci, parts.li)
    way = ratio_way(limits, parts, feed)
    note = f"for group {row.group}"
    if len(feed.rows) > 1:
        note += f", pair {number} of {len(feed.rows)}"
    if limits.halved is not False:
        note += ", halved by the 1 % rule" if limits.halved else _HALVING_OPEN
    metres_c = longest_by(limits.strict_c, parts, parts.ci, capacitance=True)
    metres_l = None if way.passed else longest_by(limits.strict_l, parts, parts.li, capacitance=False)
    capacitance = _capacitance(limits, parts, feed, note, metres_c)
    inductance = _inductance(limits, parts, feed, note, metres_l, way)
    lumped = _lumped(limits, parts, feed)
    return _View(limits, capacitance, inductance, lumped, way, max_length(metres_c, metres_l, way, parts))


def _verdict(total: Decimal, missing: bool, strict: Decimal | None, lenient: Decimal | None, feed: Feed) -> Verdict:
    if strict is None or lenient is None:
        return INCOMPLETE
    if not at_most(total, lenient):
        return FAIL
    if missing or not at_most(total, strict):
        return INCOMPLETE
    return feed.unsettled or PASS


_SUMS = {
    "F": (
        "Devices {0:F} and cables {1:F} make {2:F}, within the {3:F-} permitted ({4}).",
        "Devices {0:F} and cables {1:F} make {2:F}, above the {3:F-} permitted ({4}).",
        "Devices {0:F} and cables {1:F} make at least {2:F} of the {3:F-} permitted ({4}); open: {5}.",
        "Devices {0:F} and cables {1:F} make at least {2:F}; Co of the source is not known ({4}).",
    ),
}
_SUMS["H"] = tuple(text.replace(":F", ":H").replace("Co of", "Lo of") for text in _SUMS["F"])  # type: ignore[assignment]


def _sum_why(
    unit: str, verdict: Verdict, sums: tuple[Sum, Sum], limit: Decimal | None, note: str, feed: Feed
) -> Remark:
    device, cable = sums
    within, above, is_open, no_limit = _SUMS[unit]
    total = device.known + cable.known
    if limit is None:
        return Remark(no_limit, (device.known, cable.known, total, ZERO, note))
    operands = (device.known, cable.known, total, limit, note)
    if verdict is PASS:
        return Remark(within, operands)
    if verdict is FAIL:
        return Remark(above, (*operands[:4], note.removesuffix(_HALVING_OPEN)))
    missing = " and ".join((*device.missing, *cable.missing)) or (
        "the combination of sources" if feed.unsettled else "whether the 1 % rule applies"
    )
    return Remark(is_open, (*operands, missing))


def _sided_capacitance(limits: Limits, parts: Parts, feed: Feed) -> Sided:
    total = parts.ci.known + parts.cc.known
    missing = bool(parts.ci.missing or parts.cc.missing)
    verdict = _verdict(total, missing, limits.strict_c, limits.lenient_c, feed)
    return Sided(verdict, total, limits.lenient_c if verdict is FAIL else limits.strict_c)


def _sided_inductance(limits: Limits, parts: Parts, feed: Feed, way: RatioWay | None) -> Sided:
    """``way`` may be left out where the sum passes; it is worked out where it is needed."""
    total = parts.li.known + parts.lc.known
    missing = bool(parts.li.missing or parts.lc.missing)
    verdict = _verdict(total, missing, limits.strict_l, limits.lenient_l, feed)
    limit = limits.lenient_l if verdict is FAIL else limits.strict_l
    if verdict is PASS:
        return Sided(verdict, total, limit)
    way = way or ratio_way(limits, parts, feed)
    if way.passed:
        return Sided(feed.unsettled or PASS, parts.worst_ratio, way.limit, True)
    if verdict is FAIL and way.passed is None:
        return Sided(INCOMPLETE, total, limit, False, True)
    return Sided(verdict, total, limit)


def stored(feed: Feed, parts: Parts) -> Stored:
    """What :func:`check_storage` finds, without words: for whoever judges very many parts in one place.

    Call in the engine's context.
    """
    if not feed.rows:
        return Stored(feed.unsettled or INCOMPLETE, None, None)
    found = [_stored(row, feed, parts) for row in feed.rows]
    return (found[0] if len(found) == 1 else min(found, key=lambda item: item[0]))[1]


def _stored(row: Permitted, feed: Feed, parts: Parts) -> tuple[tuple[int, Decimal], Stored]:
    """One row of permitted values: the order of preference of :class:`_View`, and what is found."""
    limits = limits_of(row, parts.ci, parts.li)
    one, other = _sided_capacitance(limits, parts, feed), _sided_inductance(limits, parts, feed, None)
    lumped = feed.unsettled or (INCOMPLETE if limits.halved is None else PASS)
    verdict = min(one.verdict, other.verdict, lumped, key=_GRAVITY.__getitem__)
    margins = (one.margin, other.margin)
    least = min([margin for margin in margins if margin is not None], default=ZERO)
    judged = [
        m for m, side in zip(margins, (one, other), strict=True) if m is not None and side.verdict in (PASS, FAIL)
    ]
    worst = max(_SEVERITY.get(one.verdict, 1), _SEVERITY.get(other.verdict, 1))
    group = zone_group(row.group) if feed.unsettled is None else None
    return (worst, -least), Stored(verdict, min(judged, default=None), group)


def _capacitance(limits: Limits, parts: Parts, feed: Feed, note: str, metres: int | None) -> Check:
    verdict, total, limit, _, _ = _sided_capacitance(limits, parts, feed)
    why = _sum_why("F", verdict, (parts.ci, parts.cc), limit, note, feed)
    cure = None
    if verdict is FAIL:
        cure = _cure(limits, parts, metres, "F")
    return Check(CheckId.CAPACITANCE, verdict, (feed.name,), why, "storage", total, limit, "F", cure=cure)


def _inductance(limits: Limits, parts: Parts, feed: Feed, note: str, metres: int | None, way: RatioWay) -> Check:
    verdict, total, limit, by_ratio, open_way = _sided_inductance(limits, parts, feed, way)
    if by_ratio:
        why = Remark(
            "L/R of every cable, at most {0:H/ohm}, is within Lo/Ro, {1:H/ohm-}{2}, so the inductance of the cable "
            "sets no limit; Li of the devices is {3:H}.",
            (
                parts.worst_ratio or ZERO,
                way.limit or ZERO,
                ", recomputed for the inductance of the devices" if way.recomputed else "",
                parts.li.known,
            ),
        )
        rule = "inductance_ratio_computed" if way.recomputed else "inductance_ratio"
        return Check(
            CheckId.INDUCTANCE,
            verdict,
            (feed.name,),
            why,
            rule,
            total,
            limit,
            "H/ohm",
        )
    why = _sum_why("H", FAIL if open_way else verdict, (parts.li, parts.lc), limit, note, feed)
    cure = None
    if open_way:
        why = Remark(
            why.template + " Lo/Ro is stated, but L/R of a cable or Li of a device is not known, so this way is open.",
            why.operands,
        )
    elif verdict is FAIL:
        cure = _cure(limits, parts, metres, "H")
    return Check(CheckId.INDUCTANCE, verdict, (feed.name,), why, "storage", total, limit, "H", cure=cure)


def _lumped(limits: Limits, parts: Parts, feed: Feed) -> Check:
    row = limits.row
    one_percent = row.lo_h / 100 if isinstance(row.lo_h, Decimal) else None
    reached = one_percent is not None and at_most(one_percent, parts.li.known)
    shown = (parts.li.known, one_percent, "H", "reaches" if reached else "<")
    if feed.unsettled is not None:
        why = Remark("What {0} together permit is not settled.", (feed.name,))
        return Check(CheckId.LUMPED_RULE, feed.unsettled, (feed.name,), why, "lumped_rule", *shown)
    if row.together:
        why = Remark("The certificate of {0} declares this Co and Lo valid together; nothing is halved.", (feed.name,))
        return Check(CheckId.LUMPED_RULE, NOT_APPLICABLE, (feed.name,), why, "lumped_rule", *shown)
    seen = (parts.ci.known, parts.li.known)
    if limits.halved is None:
        why = Remark(
            "Ci of the devices is at least {0:F} and Li at least {1:H}; what is missing decides whether both reach 1 % "
            "of Co and Lo, so that both are halved.",
            seen,
        )
        return Check(CheckId.LUMPED_RULE, INCOMPLETE, (feed.name,), why, "lumped_rule", *shown)
    if limits.halved:
        why = Remark(
            "Ci of the devices, {0:F}, and their Li, {1:H}, both reach 1 % of Co and Lo: both are halved, to {2:F-} "
            "and {3:H-}.",
            (*seen, limits.strict_c or ZERO, limits.strict_l or ZERO),
        )
    else:
        why = Remark(
            "Ci of the devices is {0:F} and their Li {1:H}; they do not both reach 1 % of Co and Lo, so nothing is "
            "halved.",
            seen,
        )
    return Check(CheckId.LUMPED_RULE, PASS, (feed.name,), why, "lumped_rule", *shown)


def _longest(views: Sequence[_View]) -> MaxLength | None:
    """The longest last run that any one row allows."""
    found = [view.max_length for view in views if view.max_length is not None]
    unlimited = next((length for length in found if length.metres is None), None)
    return unlimited or max(found, key=lambda length: length.metres or 0, default=None)


def _cure(limits: Limits, parts: Parts, metres: int | None, unit: str) -> Remark:
    """A shorter last run, else less cable in all, else what the source must permit for the circuit as it is."""
    if metres and metres > 0 and parts.runs:
        return Remark("Cable {0} of at most {1} m would pass.", (parts.runs[-1].name, metres))
    devices, cables, limit = parts.ci, parts.cc, limits.strict_c
    if unit == "H":
        devices, cables, limit = parts.li, parts.lc, limits.strict_l
    if limit is not None and devices.known < limit:
        return Remark(f"Cables of at most {{0:{unit}-}} together would pass.", (limit - devices.known,))
    total = devices.known + cables.known
    if limits.halved and unit == "F" and total > (cap := halved_cap(limits.row.group)):
        return Remark("Devices with less Ci would pass: under the 1 % rule no source permits more than {0:F-}.", (cap,))
    permits, stored = ("Co", "Ci") if unit == "F" else ("Lo", "Li")
    return Remark(
        f"A source with {permits} of at least {{0:{unit}}} would pass, or devices with less {stored}.",
        (total * (2 if limits.halved else 1),),
    )


def _no_row(case: Case, feed: Feed) -> Remark:
    group = case.area.group
    if group is None:
        return Remark("The group of the area is not known, so no permitted values can be chosen.")
    return Remark(
        "{0} has no permitted values for group {1} or a more severe one; values for a less severe group do not hold.",
        (feed.name, group),
    )


def _remark(case: Case, feed: Feed, parts: Parts, view: _View, remarks: list[Remark]) -> None:
    """What a person confirms about the values used."""
    earthed = any(source.isolated is not True for source in case.sources)
    if parts.runs is None:
        remarks.append(Remark("No cable run is entered: enter the runs, or an empty list where there is no cable."))
    elif not parts.runs:
        remarks.append(Remark("The circuit has no cable: confirm that no run was forgotten."))
    for position, run in enumerate(parts.runs or ()):
        if run.default_capacitance:
            remarks.append(
                Remark(
                    "The default of {0:F/m} stands in for the capacitance of {1}: confirm that it is two- or "
                    "three-core cable of ordinary construction.",
                    (run.capacitance_f_per_m, run.name),
                )
            )
        elif earthed and case.cables is not None and isinstance(case.cables[position].capacitance_f_per_m, Decimal):
            remarks.append(
                Remark(
                    "The circuit is earthed at its source: confirm that the capacitance of {0} counts core to screen.",
                    (run.name,),
                )
            )
        if run.default_inductance:
            remarks.append(
                Remark(
                    "The default of {0:H/m} stands in for the inductance of {1}: confirm that it is two- or "
                    "three-core cable of ordinary construction.",
                    (run.inductance_h_per_m, run.name),
                )
            )
    if view.inductance.unit != "H/ohm" and not (view.way.passed and view.max_length is not None):
        return
    for (value, origin), run in zip(parts.ratios, parts.runs or (), strict=True):
        if origin == "computed" and value is not None:
            remarks.append(
                Remark(
                    "L/R of {0}, {1:H/ohm}, is computed from its L and R: confirm that R is the least loop resistance.",
                    (run.name, value),
                )
            )
        elif origin == "default" and value is not None:
            remarks.append(Remark("The default of {0:H/ohm} stands in for L/R of {1}.", (value, run.name)))
    if view.way.recomputed:
        remarks.append(
            Remark(
                "Lo/Ro of {0} is recomputed for the inductance of the devices, {1:H/ohm-}: a competent person confirms "
                "the calculation.",
                (feed.name, view.way.limit or ZERO),
            )
        )
