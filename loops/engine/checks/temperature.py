"""Temperature class and ambient.

Sources: IEC 60079-0:2017, 5.1 and 5.3 (ambient -20 to 40 degC where none is marked; classes); NEC 500.8(C) for the
subclasses; IEC 60079-14:2013, 5.6 and 5.7. Simple apparatus: :mod:`loops.engine.checks.simple`.
"""

from __future__ import annotations

from decimal import Decimal

from loops.engine.arithmetic import and3, at_most
from loops.engine.case import NOT_STATED, Case, Device, Parameter, Source, TemperatureRow
from loops.engine.findings import CONFIRM, FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Check, CheckId, Remark, Verdict
from loops.engine.groups import is_dust
from loops.engine.sources import Feed

CLASS_LIMIT_C = {
    "T1": Decimal(450),
    "T2": Decimal(300),
    "T2A": Decimal(280),
    "T2B": Decimal(260),
    "T2C": Decimal(230),
    "T2D": Decimal(215),
    "T3": Decimal(200),
    "T3A": Decimal(180),
    "T3B": Decimal(165),
    "T3C": Decimal(160),
    "T4": Decimal(135),
    "T4A": Decimal(120),
    "T5": Decimal(100),
    "T6": Decimal(85),
}
UNMARKED_MIN_C = Decimal(-20)
UNMARKED_MAX_C = Decimal(40)


def class_limit(name: str) -> Decimal:
    """Highest surface temperature of a class in degC. Raises ``KeyError`` for a name that is no class.

    >>> class_limit("T4"), class_limit("T3C")
    (Decimal('135'), Decimal('160'))
    """
    return CLASS_LIMIT_C[name]


def usable_rows(case: Case, device: Device) -> list[TemperatureRow]:
    """The rows of a device's table that speak of the area's kind of atmosphere: gas or dust.

    Under North American rules the T codes hold for dust too.
    """
    dust = is_dust(case.area)
    by_code = dust and case.area.zone is None and case.area.material_class is not None
    return [row for row in device.temperature_classes if row.dust == dust or (by_code and not row.dust)]


def check_temperature(case: Case, device: Device, feed: Feed) -> Check:
    """The device's class at the area's ambient: one row that covers the ambient must be good enough.

    Rows may hold only up to a power or current; the feed must keep within it. Where no row reaches the ambient,
    ``ambient`` fails and this check has nothing to judge.
    """
    subject = (device.name,)
    limit, rows = case.area.temperature_c, usable_rows(case, device)
    name = case.area.temperature_class
    if not rows:
        why = Remark("The temperature class of {0} is not known.", (device.name,))
        return Check(CheckId.TEMPERATURE_CLASS, INCOMPLETE, subject, why, "temperature_class", None, limit, "degC")
    if limit is None or name is None:
        why = Remark("The temperature class that the area needs is not known.")
        return Check(CheckId.TEMPERATURE_CLASS, INCOMPLETE, subject, why, "temperature_class", None, None, "degC")
    ambient = case.area.ambient_max_c
    shown = ambient if isinstance(ambient, Decimal) else "an ambient not known"
    best: tuple[int, TemperatureRow] | None = None
    for row in rows:
        holds, warm_enough = _holds(row, ambient, feed)
        strong = row.limit_c <= limit
        if strong:
            rank = {True: 0, None: 1, False: 2 if warm_enough is not False else 3}[holds]
        else:
            rank = 2 if warm_enough is not False else 3
        if best is None or rank < best[0] or (rank == best[0] and row.limit_c < best[1].limit_c):
            best = (rank, row)
    assert best is not None
    rank, row = best
    operands = (device.name, row.name, _reach(row), shown, name)
    value = (row.limit_c, limit, "degC")
    until = "{2:degC}" if isinstance(operands[2], Decimal) else "{2}"
    at = "{3:degC}" if isinstance(shown, Decimal) else "{3}"
    if rank == 0:
        why = Remark(f"{{0}} is {{1}} up to {until}; the area needs {{4}} at {at}.", operands)
        return Check(CheckId.TEMPERATURE_CLASS, PASS, subject, why, "temperature_class", *value)
    if rank == 1:
        why = Remark(
            f"{{0}} is {{1}} up to {until}; whether that holds at {at} and the power of the source is not known.",
            operands,
        )
        return Check(CheckId.TEMPERATURE_CLASS, INCOMPLETE, subject, why, "temperature_class", *value)
    if rank == 2:
        why = Remark(f"{{0}} is no better than {{1}} up to {until}; the area needs {{4}} at {at}.", operands)
        if row.limit_c <= limit:
            why = Remark(
                f"{{0}} is {{1}} up to {until}, but only at less power or current than the source gives; the area "
                f"needs {{4}} at {at}.",
                operands,
            )
        cure = Remark(f"A device of class {{0}} or better at {at.replace('3', '1')} would pass.", (name, shown))
        return Check(CheckId.TEMPERATURE_CLASS, FAIL, subject, why, "temperature_class", *value, cure=cure)
    why = Remark(f"No row of the table of {{0}} reaches {at}; see the ambient check.", operands)
    return Check(CheckId.TEMPERATURE_CLASS, NOT_APPLICABLE, subject, why, "temperature_class", None, limit, "degC")


def _reach(row: TemperatureRow) -> Decimal | str:
    """Ambient up to which a row holds; 40 degC where the certificate states none."""
    if isinstance(row.ambient_max_c, Decimal):
        return row.ambient_max_c
    return UNMARKED_MAX_C if row.ambient_max_c is NOT_STATED else "an ambient not known"


def _holds(row: TemperatureRow, ambient: Parameter, feed: Feed) -> tuple[bool | None, bool | None]:
    """Whether a row holds here, and whether its ambient alone does."""
    reach = _reach(row)
    warm: bool | None = None
    if isinstance(reach, Decimal) and isinstance(ambient, Decimal):
        warm = ambient <= reach
    power = _within(feed.po_w, row.pi_w, feed)
    return and3(warm, and3(power, _within(feed.io_a, row.ii_a, feed))), warm


def _within(given: Parameter, allowed: Parameter, feed: Feed) -> bool | None:
    """What the feed gives is within a row's own limit; a limit that the row does not have is kept."""
    if allowed is NOT_STATED:
        return True
    if not isinstance(given, Decimal) or not isinstance(allowed, Decimal):
        return None
    if not at_most(given, allowed):
        return False
    return True if feed.unsettled is None else None


def check_ambient(case: Case, device: Device) -> Check:
    """The area's ambient range within the device's; the upper end is the highest row of its temperature table."""
    subject = (device.name,)
    rows = usable_rows(case, device)
    reaches = [_reach(row) for row in rows]
    tops = [reach for reach in reaches if isinstance(reach, Decimal)]
    warmest = case.area.ambient_max_c
    top = max(tops, default=None)
    if top is not None and len(tops) < len(reaches) and not (isinstance(warmest, Decimal) and warmest <= top):
        top = None  # a row of unknown reach may be the one that matters
    bottom = UNMARKED_MIN_C if device.ambient_min_c is NOT_STATED else device.ambient_min_c
    return _range(subject, device.name, "the area", bottom, top, case.area.ambient_min_c, warmest, INCOMPLETE)


def check_source_ambient(case: Case, source: Source) -> Check | None:
    """The ambient at the source's place within the source's range; what is not known a person confirms."""
    place_min, place_max = case.safe_area_ambient_min_c, case.safe_area_ambient_max_c
    bottom, top = source.ambient_min_c, source.ambient_max_c
    if not any(isinstance(value, Decimal) for value in (place_max, place_min, bottom, top)):
        return None
    bottom = UNMARKED_MIN_C if bottom is NOT_STATED else bottom
    top = UNMARKED_MAX_C if top is NOT_STATED else top
    if not isinstance(place_min, Decimal):
        # Nobody asks how cold a control room is: only an upper end was given, and only that is judged.
        if isinstance(top, Decimal) and isinstance(place_max, Decimal):
            return _upper_end((source.name,), source.name, "its place", top, place_max)
        bottom = place_min = UNMARKED_MIN_C
    return _range((source.name,), source.name, "its place", bottom, top, place_min, place_max, CONFIRM)


def _upper_end(subject: tuple[str, ...], name: str, place: str, top: Decimal, warmest: Decimal) -> Check:
    why = Remark("{0} is good up to {1:degC}; {2} reaches {3:degC}.", (name, top, place, warmest))
    if warmest <= top:
        return Check(CheckId.AMBIENT, PASS, subject, why, "ambient", warmest, top, "degC")
    cure = Remark("A part good up to {0:degC} would pass.", (warmest,))
    return Check(CheckId.AMBIENT, FAIL, subject, why, "ambient", warmest, top, "degC", cure=cure)


def _range(
    subject: tuple[str, ...],
    name: str,
    place: str,
    bottom: Parameter,
    top: Parameter | None,
    coldest: Parameter,
    warmest: Parameter,
    unknown: Verdict,
) -> Check:
    if isinstance(top, Decimal) and isinstance(warmest, Decimal) and warmest > top:
        return _upper_end(subject, name, place, top, warmest)
    if isinstance(bottom, Decimal) and isinstance(coldest, Decimal):
        if coldest < bottom:
            why = Remark("{0} is good down to {1:degC}; {2} falls to {3:degC}.", (name, bottom, place, coldest))
            cure = Remark("A part good down to {0:degC} would pass.", (coldest,))
            return Check(CheckId.AMBIENT, FAIL, subject, why, "ambient", coldest, bottom, "degC", ">=", cure)
        if isinstance(top, Decimal) and isinstance(warmest, Decimal):
            why = Remark(
                "{0} is good from {1:degC} to {2:degC}; {3} goes from {4:degC} to {5:degC}.",
                (name, bottom, top, place, coldest, warmest),
            )
            return Check(CheckId.AMBIENT, PASS, subject, why, "ambient", warmest, top, "degC")
    missing = []
    if not isinstance(top, Decimal):
        missing.append(f"highest ambient of {name}")
    if not isinstance(warmest, Decimal):
        missing.append(f"highest ambient of {place}")
    if not isinstance(bottom, Decimal):
        missing.append(f"lowest ambient of {name}")
    if not isinstance(coldest, Decimal):
        missing.append(f"lowest ambient of {place}")
    if unknown is CONFIRM:
        why = Remark("Confirm that {0} stands the ambient of its place (not known: {1}).", (name, ", ".join(missing)))
        return Check(CheckId.AMBIENT, CONFIRM, subject, why, "ambient")
    return Check(CheckId.AMBIENT, INCOMPLETE, subject, Remark("Not known: {0}.", (", ".join(missing),)), "ambient")
