"""From one case to one result: run every check, then let the most severe finding decide."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import Case, DeviceKind, Level, Output, Permitted, Source
from loops.engine.checks.cables import check_construction, check_type
from loops.engine.checks.certificates import check_certificate, check_device_certificate
from loops.engine.checks.earthing import check_earthing, check_um
from loops.engine.checks.entity import check_entity
from loops.engine.checks.simple import check_simple, check_simple_ambient, check_simple_temperature
from loops.engine.checks.storage import Storage, check_storage
from loops.engine.checks.suitability import check_group, check_level, system_of
from loops.engine.checks.temperature import check_ambient, check_source_ambient, check_temperature
from loops.engine.conductors import assumptions
from loops.engine.fieldbus import check_fieldbus, longest_run, no_sums
from loops.engine.findings import (
    BEYOND,
    CONFIRM,
    FAIL,
    INCOMPLETE,
    NOT_APPLICABLE,
    Check,
    CheckId,
    CircuitVerdict,
    Function,
    MaxLength,
    Remark,
    Result,
)
from loops.engine.function import check_function
from loops.engine.groups import zone_group
from loops.engine.limits import parts_of
from loops.engine.sources import FACTOR, Feed, feed_of, permitted_inductance
from loops.engine.tables import Outside, Tables, built_in_tables

RULES_VERSION = "8"
PLAUSIBLE = Decimal("0.05")
PLAUSIBLE_PERMITTED = Decimal("1.15")


class Decision(NamedTuple):
    """What decides of one circuit: its verdict with every check, the longest last run, and whether it will work."""

    verdict: CircuitVerdict
    checks: Sequence[Check]
    max_length: MaxLength | None
    function: Function


@with_full_precision
def judge(case: Case, tables: Tables | None = None) -> Result:
    """Judge one circuit: every check, the totals, the longest last run, function, and what a person confirms.

    ``tables`` replaces the built-in tables A.1 and A.2. The case must name at least one source. Never raises for a case
    that :mod:`loops.casefile` accepts. Unknown never passes: it makes a check incomplete, unless what is known already
    fails.

    >>> judge(Case((Source("S1"),))).verdict
    <CircuitVerdict.INCOMPLETE: 'incomplete'>
    """
    remarks: list[Remark] = []
    feed, storage, checks = _checked(case, tables or built_in_tables(), remarks)
    remarks.extend(check.why for check in checks if check.verdict is CONFIRM and check.id is not CheckId.CERTIFICATE)
    for source in case.sources:
        remarks.extend(plausibility(source))
        remarks.extend(plausibility_of_permitted(source, tables or built_in_tables()))
    remarks.extend(assumptions(case))
    return Result(
        verdict_of(checks),
        tuple(checks),
        storage.halved,
        storage.totals,
        storage.max_length,
        check_function(case),
        system_of(case, feed, storage.row_group),
        tuple(dict.fromkeys(remarks)),
    )


@with_full_precision
def decide(case: Case, tables: Tables | None = None) -> Decision:
    """The verdict, every check, the longest last run and the function of :func:`judge`, by the same rules.

    What a person confirms and what the circuit earns are left out: for whoever judges very many circuits to choose
    among them.

    >>> decide(Case((Source("S1"),))).verdict is judge(Case((Source("S1"),))).verdict
    True
    """
    _, storage, checks = _checked(case, tables or built_in_tables(), [])
    return Decision(verdict_of(checks), checks, storage.max_length, check_function(case))


def _checked(case: Case, tables: Tables, remarks: list[Remark]) -> tuple[Feed, Storage, list[Check]]:
    """Every check of safety, in the order in which they are told."""
    feed, source_checks = feed_of(case, tables, remarks)
    checks: list[Check] = []
    for device in case.devices:
        checks.extend(check_entity(feed, device, remarks))
    if not case.devices:
        checks.extend(_no_device(feed))
    storage = _storage(case, feed, remarks)
    checks.extend(storage.checks)
    checks.append(check_level(case, feed))
    checks.extend(check_group(case, feed, storage.row_group))
    _suitability(case, feed, checks, remarks)
    checks.append(check_earthing(case, feed, remarks))
    checks.extend(check_um(case, source) for source in case.sources)
    for cable in case.cables or ():
        checks.append(check_construction(cable))
        checks.append(check_type(cable, feed, remarks))
    checks.extend(source_checks)
    checks.extend(check_fieldbus(case))
    return feed, storage, checks


def verdict_of(checks: Sequence[Check]) -> CircuitVerdict:
    """The circuit's verdict: one failed check fails it; then beyond_simple_rules; then incomplete; else it complies.

    >>> verdict_of([])
    <CircuitVerdict.COMPLIES: 'complies'>
    """
    found = [check.verdict for check in checks]
    if FAIL in found:
        return CircuitVerdict.DOES_NOT_COMPLY
    if BEYOND in found:
        return CircuitVerdict.BEYOND_SIMPLE_RULES
    return CircuitVerdict.INCOMPLETE if INCOMPLETE in found else CircuitVerdict.COMPLIES


def plausibility(source: Source) -> list[Remark]:
    """Figures of a linear source that do not fit each other by over 5 %. The certificate governs; a person looks again.

    >>> odd = Source("S", output=Output.LINEAR, uo_v=Decimal(25), io_a=Decimal("0.099"), ro_ohm=Decimal(300))
    >>> [remark.operands[0] for remark in plausibility(odd)]
    ['S']
    """
    if source.output is not Output.LINEAR or not isinstance(source.uo_v, Decimal):
        return []
    found = []
    io, po, ro = source.io_a, source.po_w, source.ro_ohm
    if isinstance(io, Decimal) and isinstance(po, Decimal):
        matched = source.uo_v * io / 4
        if abs(po - matched) > PLAUSIBLE * matched:
            found.append(
                Remark("Po of {0} is {1:W}, but Uo and Io give {2:W}: confirm both.", (source.name, po, matched))
            )
    if isinstance(io, Decimal) and isinstance(ro, Decimal) and ro:
        expected = source.uo_v / ro
        if abs(io - expected) > PLAUSIBLE * expected:
            found.append(
                Remark("Io of {0} is {1:A}, but Uo and Ro give {2:A}: confirm both.", (source.name, io, expected))
            )
    return found


def plausibility_of_permitted(source: Source, tables: Tables) -> list[Remark]:
    """Co over 15 % above table A.2, or Lo over 15 % above 2e / (1.5 Io)^2, of a linear source (factor 1 for ic).

    Certificates read from the curves differ by about that much, older ones by more; the certificate governs.

    >>> from loops.engine.case import Group, Permitted
    >>> row = Permitted(Group.IIC, Decimal("83e-9"), Decimal("6e-3"))
    >>> odd = Source("S", output=Output.LINEAR, uo_v=Decimal(28), io_a=Decimal("0.093"), permitted=(row,))
    >>> [remark.operands[:2] for remark in plausibility_of_permitted(odd, built_in_tables())]
    [('Lo', 'S')]
    """
    if source.output is not Output.LINEAR:
        return []
    found = []
    factor, relief = ("x1", FACTOR**2) if source.level is Level.IC else ("x1.5", Decimal(1))
    for row in source.permitted:
        if isinstance(source.uo_v, Decimal) and isinstance(row.co_f, Decimal):
            cell = tables.capacitance.look_up(row.group, factor, source.uo_v)
            if not isinstance(cell, Outside) and row.co_f > cell.value * PLAUSIBLE_PERMITTED:
                found.append(_above(source, row, "Co", "F", row.co_f, cell.value))
        if isinstance(source.io_a, Decimal) and isinstance(row.lo_h, Decimal):
            usual = permitted_inductance(row.group, source.io_a) * relief
            if row.lo_h > usual * PLAUSIBLE_PERMITTED:
                found.append(_above(source, row, "Lo", "H", row.lo_h, usual))
    return found


def _above(source: Source, row: Permitted, name: str, unit: str, stated: Decimal, usual: Decimal) -> Remark:
    return Remark(
        f"{{0}} of {{1}} for group {{2}} is {{3:{unit}-}}, over 15 % above the {{4:{unit}-}} that its output gives by "
        "the standard: the certificate governs; confirm that it was read correctly.",
        (name, source.name, row.group, stated, usual),
    )


def _storage(case: Case, feed: Feed, remarks: list[Remark]) -> Storage:
    if case.fieldbus is None:
        return check_storage(case, feed, remarks)
    # The sums are not judged, yet the rows still say for which group the source is certified.
    row_group = zone_group(feed.rows[0].group) if feed.rows else None
    return Storage(no_sums(case), parts_of(case, feed).totals, False, longest_run(case), row_group)


def _suitability(case: Case, feed: Feed, checks: list[Check], remarks: list[Remark]) -> None:
    for source in case.sources:
        checks.append(check_certificate(source.name, source.certificate, case, remarks))
        ambient = check_source_ambient(case, source)
        if ambient is not None:
            checks.append(ambient)
    simple = [device for device in case.devices if device.kind is DeviceKind.SIMPLE]
    for device in case.devices:
        checks.append(check_device_certificate(case, device, remarks))
        if device.kind is DeviceKind.SIMPLE:
            checks.extend(check_simple(case, device, feed, remarks))
            checks.append(check_simple_temperature(case, device, feed, remarks))
            checks.append(check_simple_ambient(case, device))
        else:
            checks.append(check_temperature(case, device, feed))
            checks.append(check_ambient(case, device))
    if not simple:
        checks.append(_NO_SIMPLE)


_NO_SIMPLE = Check(
    CheckId.SIMPLE_APPARATUS,
    NOT_APPLICABLE,
    ("circuit",),
    Remark("No simple apparatus is on the circuit."),
    "simple_apparatus",
)


def _no_device(feed: Feed) -> list[Check]:
    why = Remark("No device is on the circuit.")
    return [
        Check(check, INCOMPLETE, (feed.name,), why, "entity")
        for check in (CheckId.VOLTAGE, CheckId.CURRENT, CheckId.POWER)
    ]
