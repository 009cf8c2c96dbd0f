"""The case file: one circuit as a JSON document, judged without the database.

:func:`judge_document` takes the document and gives the result as plain data; :func:`read_document` only reads it. Both
raise :class:`CaseError` for a document that cannot be true or cannot be read, and nothing else. The keys of a document
are those of :data:`loops.casekeys.DOCUMENT`.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from string import Formatter
from typing import Any

from loops.casekeys import read_case
from loops.casereader import CaseError
from loops.engine.case import Basis, Case
from loops.engine.findings import Check, Function, MaxLength, Remark, Result
from loops.engine.tables import Tables
from loops.engine.verdict import RULES_VERSION, judge
from registry.quantities import Kind, write

__all__ = ["CaseError", "judge_document", "read_document"]

_KINDS = {kind.value: kind for kind in Kind}
_MILLI = Decimal("0.001")
_MARGIN_STEP = Decimal("0.0001")
MOST_DIGITS_TYPED = 9
DIGITS_SHOWN = 6


def read_document(document: object) -> Case:
    """The document as the engine's input; raises :class:`CaseError` with every error at once."""
    return read_case(document)


def judge_document(document: object, *, detail: bool = False, tables: Tables | None = None) -> dict[str, Any]:
    """Judge one case document and give the result document.

    ``detail`` adds, for storage and pages, to each check ``value_si``, ``limit_si`` (text of Decimals), ``unit`` and
    ``cure``. ``tables`` replaces the built-in tables A.1 and A.2; the result then names them under ``tables``. Raises
    :class:`CaseError`.

    >>> judge_document({"sources": [{"name": "S1", "Uo": "28 V"}]})["verdict"]
    'incomplete'
    """
    case = read_case(document)
    result = result_document(case, judge(case, tables), detail=detail)
    return result if tables is None else result | {"tables": [table.name for table in tables]}


def result_document(case: Case, result: Result, *, detail: bool = False) -> dict[str, Any]:
    """A result of the engine as plain data, with every quantity written."""
    totals = result.totals
    return {
        "case": case.name,
        "verdict": result.verdict.value,
        "checks": [_check(check, case.basis, detail=detail) for check in result.checks],
        "halved": result.halved,
        "totals": {
            "C": _quantity(totals.capacitance_f, "F", ROUND_CEILING),
            "L": _quantity(totals.inductance_h, "H", ROUND_CEILING),
            "C_permitted": _quantity(totals.permitted_capacitance_f, "F", ROUND_FLOOR),
            "L_permitted": _quantity(totals.permitted_inductance_h, "H", ROUND_FLOOR),
        },
        "max_length": _max_length(result.max_length),
        "function": _function(result.function),
        "system": {
            "level": result.system.level and result.system.level.value,
            "group": result.system.group and result.system.group.value,
            "epl": result.system.epl,
        },
        "confirmations": [sentence(remark) for remark in result.confirmations],
        "engine": RULES_VERSION,
    }


def sentence(remark: Remark) -> str:
    """A remark written out: operands with a unit become quantities.

    >>> sentence(Remark("Uo of {0} is {1:V}.", ("S1", Decimal("25.2"))))
    'Uo of S1 is 25.2 V.'
    """
    return _WRITER.format(remark.template, *remark.operands)


class _Writer(Formatter):
    """``{0:V}`` writes the operand as a quantity in that SI unit; ``{0}`` writes it as it is."""

    def format_field(self, value: Any, format_spec: str) -> str:
        if not format_spec:
            return str(value)
        return write(_shown(value), _KINDS[format_spec])


_WRITER = _Writer()


def _shown(value: Decimal, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """A computed figure cut to what a reader can use; what people type (nine digits and less) is never touched."""
    if len(value.normalize().as_tuple().digits) <= MOST_DIGITS_TYPED:
        return value
    return value.quantize(Decimal(1).scaleb(value.adjusted() - DIGITS_SHOWN + 1), rounding)


def _quantity(value: Decimal | str | None, unit: str, rounding: str = ROUND_HALF_EVEN) -> str | None:
    if not isinstance(value, Decimal):
        return None if value is None else str(value)
    return write(_shown(value, rounding), _KINDS[unit])


def _check(check: Check, basis: Basis, *, detail: bool) -> dict[str, Any]:
    why = sentence(check.why)
    cure = sentence(check.cure) if check.cure is not None else None
    towards_fail = (ROUND_FLOOR, ROUND_CEILING) if check.relation == ">=" else (ROUND_CEILING, ROUND_FLOOR)
    shown: dict[str, Any] = {
        "id": check.id.value,
        "verdict": check.verdict.value,
        "subject": " -> ".join(check.subject),
        "value": _quantity(check.value, check.unit, towards_fail[0]),
        "limit": _quantity(check.limit, check.unit, towards_fail[1]),
        "relation": None if check.limit is None else check.relation,
        "margin": _margin(check.margin),
        "reference": check.reference(basis),
        "why": f"{why} {cure}" if cure else why,
    }
    if detail:
        shown |= {
            "value_si": _plain(check.value),
            "limit_si": _plain(check.limit),
            "unit": check.unit,
            "cure": cure,
        }
    return shown


def _margin(margin: Decimal | None) -> str | None:
    """Cut towards less margin, so that what is shown is never more than there is."""
    if margin is None:
        return None
    cut = margin.quantize(_MARGIN_STEP, ROUND_FLOOR) if abs(margin) < 10**9 else margin.to_integral_value(ROUND_FLOOR)
    return f"{cut.normalize():f}" if cut else "0"


def _plain(value: Decimal | str | None) -> str | None:
    return str(value) if isinstance(value, Decimal) else None


def _max_length(longest: MaxLength | None) -> dict[str, Any] | None:
    if longest is None:
        return None
    length = None if longest.metres is None else f"{longest.metres} m"
    return {"length": length, "limited_by": longest.limited_by}


def _function(function: Function) -> dict[str, Any]:
    available = function.voltage_at_device_v
    if available is not None:
        available = available.quantize(_MILLI, ROUND_FLOOR)
    return {
        "verdict": function.verdict.value,
        "voltage_at_device": _quantity(available, "V"),
        "voltage_needed": _quantity(function.voltage_needed_v, "V"),
        "why": sentence(function.why),
    }
