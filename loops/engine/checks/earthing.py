"""Earthing of the circuit, and the highest voltage behind the source.

Sources: IEC 60079-14:2013, 16.2.3 (one point or none; conductors and 1 ohm for the earth of a barrier) and 16.2.1 (Um),
from memory; NEC 504.50.
"""

from __future__ import annotations

from decimal import Decimal

from loops.engine.arithmetic import at_most
from loops.engine.case import Case, Source
from loops.engine.findings import CONFIRM, FAIL, INCOMPLETE, PASS, Check, CheckId, Remark
from loops.engine.sources import Feed


def check_earthing(case: Case, feed: Feed, remarks: list[Remark]) -> Check:
    """A circuit is earthed at one point or not at all.

    Sources that are not isolated share one earth, which counts once. A part whose isolation is unknown may be one more
    earth: the check passes only if even then there is at most one.
    """
    barriers = [source.name for source in case.sources if source.isolated is False]
    open_sources = [source.name for source in case.sources if source.isolated is None]
    earthed = [device.name for device in case.devices if device.isolated_from_earth is False]
    open_devices = [device.name for device in case.devices if device.isolated_from_earth is None]
    if barriers:
        remarks.append(
            Remark(
                "Not isolated: {0}. Confirm its earth (one conductor of at least 4 mm2 or two of at least 1.5 mm2, "
                "under 1 ohm to the earth of the power system{1}).",
                (" and ".join(barriers), ", the same for all" if len(barriers) > 1 else ""),
            )
        )
    least = bool(barriers) + len(earthed)
    most = bool(barriers or open_sources) + len(earthed) + len(open_devices)
    subject, points = ("circuit",), ", ".join([*barriers, *earthed])
    limit = Decimal(1)
    if least > 1:
        why = Remark("The circuit is earthed at {0} points: {1}.", (least, points))
        cure = Remark(
            "An isolated source would pass."
            if barriers and len(earthed) == 1
            else "Devices isolated from earth would pass."
        )
        return Check(CheckId.EARTHING, FAIL, subject, why, "earthing", str(least), str(limit), cure=cure)
    if most > 1:
        unknown = " and ".join([*open_sources, *open_devices])
        why = Remark("Not known to be isolated from earth: {0}; there may be a second earth.", (unknown,))
        return Check(CheckId.EARTHING, INCOMPLETE, subject, why, "earthing", str(least), str(limit))
    why = (
        Remark("The circuit is earthed at one point: {0}.", (points,))
        if points
        else Remark("The circuit is not earthed.")
    )
    if most > least:
        why = Remark("The circuit has at most one earth.")
    return Check(CheckId.EARTHING, PASS, subject, why, "earthing", str(least), str(limit))


def check_um(case: Case, source: Source) -> Check:
    """The highest voltage in the connected safe-area equipment against Um.

    Unknown is incomplete only where the source needs it: Um is declared, or the source is not known to be isolated.
    """
    subject, highest = (source.name,), case.safe_area_voltage_max_v
    if isinstance(source.um_v, Decimal) and isinstance(highest, Decimal):
        operands = (source.name, source.um_v, highest)
        if at_most(highest, source.um_v):
            why = Remark("The safe area reaches {2:V}, within Um of {0}, {1:V}.", operands)
            return Check(CheckId.UM, PASS, subject, why, "um", highest, source.um_v, "V")
        why = Remark("The safe area reaches {2:V}, above Um of {0}, {1:V}.", operands)
        cure = Remark("A source with Um of at least {0:V} would pass.", (highest,))
        return Check(CheckId.UM, FAIL, subject, why, "um", highest, source.um_v, "V", cure=cure)
    shown = (
        highest if isinstance(highest, Decimal) else None,
        source.um_v if isinstance(source.um_v, Decimal) else None,
        "V",
    )
    if isinstance(source.um_v, Decimal):
        why = Remark(
            "The highest voltage in the safe area is not known; Um of {0} is {1:V}.", (source.name, source.um_v)
        )
        return Check(CheckId.UM, INCOMPLETE, subject, why, "um", *shown)
    if source.isolated is True:
        why = Remark("Um of {0} is not known: confirm that the safe area keeps within it.", subject)
        return Check(CheckId.UM, CONFIRM, subject, why, "um", *shown)
    why = Remark("Um of {0} is not known, and the source is not known to be isolated.", subject)
    return Check(CheckId.UM, INCOMPLETE, subject, why, "um", *shown)
