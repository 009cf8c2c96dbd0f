"""Voltage, current and power: every device must stand all that the feed can give.

Source: IEC 60079-25:2020, Annex A; IEC 60079-14:2013, 16.2.2. Equality passes.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import at_most
from loops.engine.case import NOT_STATED, Device, DeviceKind, Parameter
from loops.engine.findings import FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Check, CheckId, Remark
from loops.engine.sources import Feed


class _Pair(NamedTuple):
    """Words and templates of one comparison."""

    id: CheckId
    unit: str
    output: str
    input: str
    within: str
    above: str
    open: str
    cure: str


def _pair(check: CheckId, unit: str, output: str, limit: str) -> _Pair:
    return _Pair(
        check,
        unit,
        output,
        limit,
        f"{output} of {{0}} is {{1:{unit}}}, within the {limit} of {{3}}, {{2:{unit}-}}.",
        f"{output} of {{0}} is {{1:{unit}}}, above the {limit} of {{3}}, {{2:{unit}-}}.",
        f"{output} of {{0}} is at least {{1:{unit}}} ({limit} of {{3}} is {{2:{unit}-}}); the combination is open.",
        f"A source with {output} of at most {{0:{unit}-}} would pass, "
        f"or a device with {limit} of at least {{1:{unit}}}.",
    )


VOLTAGE = _pair(CheckId.VOLTAGE, "V", "Uo", "Ui")
CURRENT = _pair(CheckId.CURRENT, "A", "Io", "Ii")
POWER = _pair(CheckId.POWER, "W", "Po", "Pi")
COMPUTED_POWER = POWER._replace(
    within=POWER.within.replace("Po of {0} is", "Po of {0}, not given and computed from Uo and Io, is"),
    above=POWER.above.replace("Po of {0} is", "Po of {0}, not given and computed from Uo and Io, is"),
)


def check_entity(feed: Feed, device: Device, remarks: list[Remark]) -> tuple[Check, Check, Check]:
    """The three comparisons of one device with the feed.

    Ii or Pi that the certificate does not state: that comparison does not apply, provided Ui is stated. Where neither
    is stated the certificate rests on Ui alone, which a person confirms. Simple apparatus has no certified input to
    compare with, but what the feed gives must be known all the same.
    """
    if device.ii_a is NOT_STATED and device.pi_w is NOT_STATED and isinstance(device.ui_v, Decimal):
        remarks.append(
            Remark(
                "The certificate of {0} states neither Ii nor Pi: confirm that it rests on Ui alone.", (device.name,)
            )
        )
    return (
        _compare(VOLTAGE, feed, device, feed.uo_v, device.ui_v, may_be_unstated=False),
        _compare(CURRENT, feed, device, feed.io_a, device.ii_a, may_be_unstated=True),
        _compare(
            COMPUTED_POWER if feed.po_computed else POWER, feed, device, feed.po_w, device.pi_w, may_be_unstated=True
        ),
    )


def _compare(
    pair: _Pair, feed: Feed, device: Device, value: Parameter, limit: Parameter, *, may_be_unstated: bool
) -> Check:
    subject = (feed.name, device.name)
    if isinstance(value, Decimal) and isinstance(limit, Decimal):
        operands = (feed.name, value, limit, device.name)
        if not at_most(value, limit):
            cure = Remark(pair.cure, (limit, value))
            return Check(
                pair.id, FAIL, subject, Remark(pair.above, operands), "entity", value, limit, pair.unit, cure=cure
            )
        if feed.unsettled is None:
            return Check(pair.id, PASS, subject, Remark(pair.within, operands), "entity", value, limit, pair.unit)
        return Check(pair.id, feed.unsettled, subject, Remark(pair.open, operands), "entity", value, limit, pair.unit)
    shown = (value if isinstance(value, Decimal) else None, limit if isinstance(limit, Decimal) else None, pair.unit)
    if device.kind is DeviceKind.SIMPLE and shown[0] is not None:
        why = Remark("{0} is simple apparatus and has no certified {1}.", (device.name, pair.input))
        return Check(pair.id, NOT_APPLICABLE, subject, why, "entity", *shown)
    if may_be_unstated and limit is NOT_STATED and isinstance(device.ui_v, Decimal):
        why = Remark("The certificate of {0} does not state {1}; Ui governs.", (device.name, pair.input))
        return Check(pair.id, NOT_APPLICABLE, subject, why, "entity", *shown)
    missing = []
    if shown[0] is None:
        missing.append(f"{pair.output} of {feed.name}")
    if shown[1] is None and device.kind is not DeviceKind.SIMPLE:
        missing.append(f"{pair.input} of {device.name}")
    why = Remark("Not known: {0}.", (" and ".join(missing),))
    return Check(pair.id, INCOMPLETE, subject, why, "entity", *shown)
