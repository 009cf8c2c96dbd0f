"""Where each rule comes from: every source once, with its edition, so that another edition can stand beside it.

A reference marked "from memory" was written without the text at hand: confirm it against the team's own copy.
"""

from __future__ import annotations

from typing import NamedTuple

from loops.engine.case import Basis


class Standard(NamedTuple):
    """A published document and the edition that the rules were written from."""

    name: str
    edition: str

    @property
    def text(self) -> str:
        """The document as it is cited.

        >>> IEC_11.text
        'IEC 60079-11:2011'
        """
        return f"{self.name}:{self.edition}" if self.edition else self.name


IEC_0 = Standard("IEC 60079-0", "2017")
IEC_11 = Standard("IEC 60079-11", "2011")
IEC_14 = Standard("IEC 60079-14", "2013")
IEC_25 = Standard("IEC 60079-25", "2020")
IEC_47 = Standard("IEC TS 60079-47", "2021")
NEC_504 = Standard("NEC 504", "")
NEC_505 = Standard("NEC 505", "")
ISA_RP = Standard("ISA-RP12.06.01", "")
COMMON = Standard("Common practice", "")
NAMUR_SENSOR = Standard("IEC 60947-5-6", "1999")


class Rule(NamedTuple):
    """What one check rests on, for each basis. ``seen``: read in a published source while it was written."""

    iec: tuple[Standard, str]
    nec: tuple[Standard, str] = (NEC_504, "with ISA-RP12.06.01")
    seen: bool = False


RULES: dict[str, Rule] = {
    "entity": Rule((IEC_25, "Annex A"), (NEC_504, "504.10 with ISA-RP12.06.01"), seen=True),
    "storage": Rule((IEC_25, "Annex A"), (NEC_504, "504.10 with ISA-RP12.06.01"), seen=True),
    "inductance_ratio": Rule((IEC_14, "16.2.2, with IEC 60079-25:2020, 9.3"), (ISA_RP, "L/R ratio"), seen=True),
    "inductance_ratio_computed": Rule((IEC_11, "10.1.4, Lo/Ro with inductance in the circuit"), (ISA_RP, "L/R ratio")),
    "lumped_rule": Rule((IEC_11, "10.1.5.2"), (ISA_RP, "lumped inductance and capacitance"), seen=True),
    "level": Rule((IEC_25, "5, with IEC 60079-14:2013, 5.3"), (NEC_504, "504.4, 504.10"), seen=True),
    "epl": Rule((IEC_14, "5.3, with IEC 60079-0:2017, clause 3 (EPL)"), (NEC_505, "505.9, with 504.4")),
    "group": Rule((IEC_14, "5.5"), (NEC_504, "504.10(B)")),
    "temperature_class": Rule((IEC_14, "5.6, with IEC 60079-0:2017, 5.3"), (NEC_504, "504.10(B), 500.8(C)"), seen=True),
    "ambient": Rule((IEC_14, "5.7, with IEC 60079-0:2017, 5.1"), (NEC_504, "504.10")),
    "certificate": Rule((IEC_14, "4.4"), (NEC_504, "504.4")),
    "simple_apparatus": Rule((IEC_11, "5.7"), (NEC_504, "504.2, 504.10(D)")),
    "earthing": Rule((IEC_14, "16.2.3"), (NEC_504, "504.50")),
    "cable_construction": Rule((IEC_14, "16.2.2.2"), (NEC_504, "504.20, 504.30")),
    "cable_type": Rule((IEC_14, "16.2.2.6, 16.2.2.7"), (NEC_504, "504.30")),
    "um": Rule((IEC_14, "16.2.1"), (NEC_504, "504.10(A)")),
    "sources": Rule((IEC_14, "Annex H, with IEC 60079-25:2020, Annex B"), (ISA_RP, "combined sources")),
    "fisco": Rule((IEC_25, "clause on FISCO, with IEC 60079-11:2011, Annex G"), (IEC_25, "clause on FISCO"), seen=True),
    "two_wise": Rule((IEC_47, "power and load ports"), (IEC_47, "power and load ports")),
    "voltage_budget": Rule(
        (COMMON, "voltage budget; cable by IEC 60228:2004, Table 1"),
        (COMMON, "voltage budget; cable by IEC 60228:2004, Table 1"),
        seen=True,
    ),
    "hart": Rule(
        (COMMON, "HART physical layer as instrument manuals print it"),
        (COMMON, "HART physical layer as instrument manuals print it"),
        seen=True,
    ),
    "proximity_sensor": Rule((NAMUR_SENSOR, "line resistance"), (NAMUR_SENSOR, "line resistance"), seen=True),
    "solenoid": Rule(
        (COMMON, "Ohm's law; copper of the coil at its temperature"),
        (COMMON, "Ohm's law; copper of the coil at its temperature"),
        seen=True,
    ),
}


def cite(rule: str, basis: Basis) -> str:
    """The reference text of a rule under a basis.

    Raises ``KeyError`` for a rule that has no source: a rule without a source is a mistake of the program.

    >>> cite("entity", Basis.IEC)
    'IEC 60079-25:2020, Annex A'
    >>> cite("earthing", Basis.IEC)
    'IEC 60079-14:2013, 16.2.3 (from memory)'
    >>> cite("entity", Basis.NEC)
    'NEC 504, 504.10 with ISA-RP12.06.01'
    """
    found = RULES[rule]
    standard, clause = found.iec if basis is Basis.IEC else found.nec
    return f"{standard.text}, {clause}" + ("" if found.seen else " (from memory)")
