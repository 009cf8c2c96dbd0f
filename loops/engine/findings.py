"""What the engine says: checks, remarks and the result of one circuit.

A sentence is a template and its operands, never finished text: ``"{0} gives up to {1:V}"`` with ``("S1", 28 V)``.
The word after the colon is the SI unit of the operand, with a minus behind it where the operand is a limit (rounded
down, never up); whoever shows the sentence writes the number.
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from loops.engine.case import Basis, Group, Level, Word
from loops.engine.references import cite

Operand = Decimal | str | int


class Verdict(Word):
    """Outcome of one check."""

    PASS = "pass"  # noqa: S105  a verdict, no secret
    FAIL = "fail"
    INCOMPLETE = "incomplete"
    CONFIRM = "confirm"
    NOT_APPLICABLE = "not_applicable"
    BEYOND_SIMPLE_RULES = "beyond_simple_rules"


PASS, FAIL, INCOMPLETE = Verdict.PASS, Verdict.FAIL, Verdict.INCOMPLETE
CONFIRM, NOT_APPLICABLE, BEYOND = Verdict.CONFIRM, Verdict.NOT_APPLICABLE, Verdict.BEYOND_SIMPLE_RULES


class CircuitVerdict(Word):
    """Outcome of one circuit, most severe first."""

    DOES_NOT_COMPLY = "does_not_comply"
    BEYOND_SIMPLE_RULES = "beyond_simple_rules"
    INCOMPLETE = "incomplete"
    COMPLIES = "complies"


class CheckId(Word):
    """The words by which checks are known everywhere."""

    VOLTAGE = "voltage"
    CURRENT = "current"
    POWER = "power"
    CAPACITANCE = "capacitance"
    INDUCTANCE = "inductance"
    LUMPED_RULE = "lumped_rule"
    LEVEL = "level"
    GROUP = "group"
    TEMPERATURE_CLASS = "temperature_class"
    AMBIENT = "ambient"
    CERTIFICATE = "certificate"
    SIMPLE_APPARATUS = "simple_apparatus"
    EARTHING = "earthing"
    CABLE_CONSTRUCTION = "cable_construction"
    CABLE_TYPE = "cable_type"
    UM = "um"
    SOURCES = "sources"
    FISCO = "fisco"


class Remark(NamedTuple):
    """A sentence not yet written: template and operands."""

    template: str
    operands: tuple[Operand, ...] = ()


class Check(NamedTuple):
    """One comparison or rule applied to one subject.

    ``value`` and ``limit`` are Decimals in SI ``unit`` or words; ``relation`` stands between them. ``subject`` names
    the parts compared (from, to). ``rule`` is a key of :data:`loops.engine.references.RULES`. ``cure`` is the smallest
    change that would cure a failure, where it can be computed.
    """

    id: CheckId
    verdict: Verdict
    subject: tuple[str, ...]
    why: Remark
    rule: str
    value: Decimal | str | None = None
    limit: Decimal | str | None = None
    unit: str = ""
    relation: str = "<="
    cure: Remark | None = None

    @property
    def margin(self) -> Decimal | None:
        """(limit - value) / limit, or for ``>=`` the same with its sign turned, so that a positive margin is good.

        ``None`` where there is no number, the limit is zero, the scale has no true zero (temperatures), or the
        limit is a threshold and no bound (``<``, ``reaches``).

        >>> Check(CheckId.VOLTAGE, PASS, ("S", "D"), Remark(""), "entity", Decimal(24), Decimal(30), "V").margin
        Decimal('0.2')
        """
        if not isinstance(self.value, Decimal) or not isinstance(self.limit, Decimal):
            return None
        if not self.limit or self.unit == "degC" or self.relation in ("<", "reaches"):
            return None
        margin = (self.limit - self.value) / self.limit
        return -margin if self.relation[0] == ">" else margin

    def reference(self, basis: Basis) -> str:
        """The published rule behind this check.

        >>> Check(CheckId.VOLTAGE, PASS, ("S", "D"), Remark(""), "entity").reference(Basis.IEC)
        'IEC 60079-25:2020, Annex A'
        """
        return cite(self.rule, basis)


class Totals(NamedTuple):
    """Capacitance and inductance of devices and cables together (F, H), and what is permitted after any halving."""

    capacitance_f: Decimal | None = None
    inductance_h: Decimal | None = None
    permitted_capacitance_f: Decimal | None = None
    permitted_inductance_h: Decimal | None = None


class MaxLength(NamedTuple):
    """Longest last run in whole metres. ``metres`` is ``None`` where nothing limits it (``limited_by`` "none")."""

    metres: int | None
    limited_by: str


class FunctionPart(NamedTuple):
    """One comparison of the function verdict: ``value`` against ``limit`` in SI ``unit``, ``None`` where unknown."""

    name: str
    verdict: Verdict
    why: Remark
    rule: str
    value: Decimal | None
    limit: Decimal | None
    unit: str
    relation: str


class Function(NamedTuple):
    """Will it work: voltage at the device at the worse end of its current range, and the voltage it needs there (V)."""

    verdict: Verdict
    voltage_at_device_v: Decimal | None
    voltage_needed_v: Decimal | None
    why: Remark
    parts: tuple[FunctionPart, ...] = ()


class System(NamedTuple):
    """What the circuit as a whole earns; ``None`` while a part of it is unknown."""

    level: Level | None
    group: Group | None
    epl: str | None


class Result(NamedTuple):
    """Everything the engine found out about one circuit. ``max_length`` is ``None`` while it cannot be computed."""

    verdict: CircuitVerdict
    checks: tuple[Check, ...]
    halved: bool
    totals: Totals
    max_length: MaxLength | None
    function: Function
    system: System
    confirmations: tuple[Remark, ...]
