"""Terms of the trade that pages use, each with its meaning and where it is defined.

Clauses are those of IEC 60079-11:2011, -14:2013, -17:2013 and -25:2020, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Term:
    """A term, what else it is called, what it means, and the clause that defines it."""

    name: Any
    also: Any
    meaning: Any
    reference: str


TERMS: tuple[Term, ...] = (
    Term(
        _("Intrinsic safety"),
        "Ex i",
        _("The energy in the circuit, stored and delivered, is too small to ignite the atmosphere, in faults as well."),
        "IEC 60079-11:2011, 3.1",
    ),
    Term(
        _("Source"),
        _("associated apparatus: isolator, barrier, intrinsically safe input or output"),
        _(
            "What gives energy to the circuit. Its certificate states Uo, Io, Po and what may be "
            "connected: Co, Lo, Lo/Ro."
        ),
        "IEC 60079-11:2011, 3.2",
    ),
    Term(
        _("Field device"),
        _("intrinsically safe apparatus"),
        _("What takes energy. Its certificate states what it may be given, Ui, Ii, Pi, and what it stores, Ci and Li."),
        "IEC 60079-11:2011, 3.1.4",
    ),
    Term(
        _("Simple apparatus"),
        _("switch, resistance thermometer, thermocouple, junction box"),
        _(
            "Stores no energy to speak of and gives at most 1.5 V, 100 mA and 25 mW. Needs a "
            "justification, no certificate."
        ),
        "IEC 60079-11:2011, 5.7",
    ),
    Term(
        _("Level of protection"),
        "ia, ib, ic",
        _(
            "Safe with two faults (ia), one (ib) or none (ic): for zone 0, 1 and 2. The lowest on a "
            "circuit is the circuit's."
        ),
        "IEC 60079-11:2011, 5.2",
    ),
    Term(
        _("Equipment group"),
        "IIC, IIB, IIA, I, III",
        _("How easily the atmosphere ignites; IIC is the most severe gas group. Co and Lo are stated for each group."),
        "IEC 60079-0:2017, 4",
    ),
    Term(
        _("Temperature class"),
        "T1 … T6",
        _("The hottest surface of a device at an ambient temperature: T6 is the coolest, 85 °C."),
        "IEC 60079-0:2017, 5.3",
    ),
    Term(
        _("1 % rule"),
        _("lumped capacitance and inductance"),
        _(
            "Where devices hold at least 1 % of both Co and Lo, both are halved. The cable does not "
            "count towards the 1 %."
        ),
        "IEC 60079-11:2011, 10.1.5.2",
    ),
    Term(
        _("Shunt-diode barrier"),
        _("Zener barrier"),
        _("A source without isolation: its circuit is earthed at the barrier, and nowhere else."),
        "IEC 60079-14:2013, 16.2.3",
    ),
    Term(
        _("Specific conditions of use"),
        "X",
        _("What the certificate asks of whoever installs and uses the item. A person confirms how each is met."),
        "IEC 60079-0:2017, 29.3",
    ),
    Term(
        _("FISCO segment"),
        _("fieldbus intrinsically safe concept"),
        _("Limits on supply, devices, cable and lengths stand in for the sums of capacitance and inductance."),
        "IEC 60079-25:2020, Annex G",
    ),
    Term(
        _("Descriptive system document"),
        _("loop sheet"),
        _("What describes and proves a circuit as a whole; the issued sheet is one."),
        "IEC 60079-25:2020, 4",
    ),
    Term(
        _("Inspection"),
        _("visual, close, detailed"),
        _("Whether the plant is as documented and sound, by the table for intrinsic safety."),
        "IEC 60079-17:2013, Table 2",
    ),
)
