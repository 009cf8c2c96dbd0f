"""Construction of cables, and which circuits share them.

Source: IEC 60079-14:2013, 16.2.2.2 and 16.2.2.6 to 16.2.2.8, from memory.
"""

from __future__ import annotations

from decimal import Decimal

from loops.engine.arithmetic import at_most
from loops.engine.case import Cable, CableType
from loops.engine.findings import BEYOND, CONFIRM, FAIL, INCOMPLETE, PASS, Check, CheckId, Remark
from loops.engine.sources import Feed

LEAST_STRAND_M = Decimal("0.1e-3")
LEAST_INSULATION_M = Decimal("0.2e-3")
LEAST_TEST_V = Decimal(500)
LARGEST_TYPE_B_V = Decimal(60)
TRADE_WORDS = {
    CableType.SINGLE_CIRCUIT: "one circuit",
    CableType.A: "type A",
    CableType.B: "type B",
    CableType.C: "type C",
    CableType.MIXED: "with other circuits",
}


def check_construction(cable: Cable) -> Check:
    """Strand at least 0.1 mm, insulation at least 0.2 mm, tested with 500 V a.c.; a person confirms what is missing."""
    subject = (cable.name,)
    compared = (
        ("strand diameter", cable.strand_diameter_m, LEAST_STRAND_M, "m"),
        ("insulation thickness", cable.insulation_thickness_m, LEAST_INSULATION_M, "m"),
        ("test voltage", cable.test_voltage_v, LEAST_TEST_V, "V"),
    )
    missing = []
    for words, value, limit, unit in compared:
        if not isinstance(value, Decimal):
            missing.append(words)
        elif not at_most(limit, value):
            why = Remark(
                f"{{0}}: {{1}} is {{2:{unit}}}; at least {{3:{unit}}} is needed.", (cable.name, words, value, limit)
            )
            cure = Remark(f"A cable with {{0}} of at least {{1:{unit}}} would pass.", (words, limit))
            return Check(
                CheckId.CABLE_CONSTRUCTION, FAIL, subject, why, "cable_construction", value, limit, unit, ">=", cure
            )
    if missing:
        why = Remark(
            "{0}: confirm {1} (strand at least 0.1 mm, insulation at least 0.2 mm, test with 500 V a.c.).",
            (cable.name, ", ".join(missing)),
        )
        return Check(CheckId.CABLE_CONSTRUCTION, CONFIRM, subject, why, "cable_construction")
    # Reported with the insulation, the figure that most often decides.
    why = Remark("{0} has strand, insulation and test voltage as needed.", subject)
    value = cable.insulation_thickness_m
    shown = value if isinstance(value, Decimal) else None
    return Check(
        CheckId.CABLE_CONSTRUCTION, PASS, subject, why, "cable_construction", shown, LEAST_INSULATION_M, "m", ">="
    )


def check_type(cable: Cable, feed: Feed, remarks: list[Remark]) -> Check:
    """One circuit, or a type of multi-circuit cable.

    Type A: each circuit screened. Type B: fixed, protected, no circuit above 60 V. Type C: faults between circuits must
    be assumed, which these rules do not cover. Never together with circuits that are not intrinsically safe.
    """
    subject = (cable.name,)
    if cable.type is None:
        why = Remark("Whether {0} carries other circuits is not known: enter its type.", subject)
        return Check(CheckId.CABLE_TYPE, INCOMPLETE, subject, why, "cable_type")
    words = TRADE_WORDS[cable.type]
    if cable.type is CableType.MIXED:
        why = Remark("{0} also carries circuits that are not intrinsically safe.", subject)
        cure = Remark("A cable of its own for the intrinsically safe circuits would pass.")
        return Check(CheckId.CABLE_TYPE, FAIL, subject, why, "cable_type", words, cure=cure)
    if cable.type is CableType.C:
        why = Remark(
            "{0} is type C: two shorts and up to four opens between its circuits must be assumed; a specialist "
            "assesses it.",
            subject,
        )
        return Check(CheckId.CABLE_TYPE, BEYOND, subject, why, "cable_type", words)
    if cable.type is CableType.B:
        return _type_b(cable, feed, remarks)
    if cable.type is CableType.A:
        remarks.append(Remark("{0} is type A: confirm that each circuit has a conducting screen of its own.", subject))
        why = Remark("{0} is type A, each circuit screened.", subject)
        return Check(CheckId.CABLE_TYPE, PASS, subject, why, "cable_type", words)
    why = Remark("{0} carries this circuit alone.", subject)
    return Check(CheckId.CABLE_TYPE, PASS, subject, why, "cable_type", words)


def _type_b(cable: Cable, feed: Feed, remarks: list[Remark]) -> Check:
    subject = (cable.name,)
    remarks.append(
        Remark(
            "{0} is type B: confirm that it is fixed, protected from damage, and carries no circuit above 60 V.",
            subject,
        )
    )
    if not isinstance(feed.uo_v, Decimal):
        why = Remark("{0} is type B, for circuits up to 60 V; Uo of {1} is not known.", (cable.name, feed.name))
        return Check(CheckId.CABLE_TYPE, INCOMPLETE, subject, why, "cable_type", None, LARGEST_TYPE_B_V, "V")
    shown = (feed.uo_v, LARGEST_TYPE_B_V, "V")
    operands = (cable.name, feed.name, feed.uo_v, LARGEST_TYPE_B_V)
    if not at_most(feed.uo_v, LARGEST_TYPE_B_V):
        why = Remark("{0} is type B, for circuits up to {3:V}; Uo of {1} is {2:V}.", operands)
        cure = Remark("A cable of type A would pass.")
        return Check(CheckId.CABLE_TYPE, FAIL, subject, why, "cable_type", *shown, cure=cure)
    why = Remark("{0} is type B, for circuits up to {3:V}; Uo of {1} is {2:V}.", operands)
    return Check(CheckId.CABLE_TYPE, feed.unsettled or PASS, subject, why, "cable_type", *shown)
