"""The case file: one circuit as a JSON document, judged without the database.

:func:`judge_document` takes the document and gives the result as plain data; :func:`read_document` only reads it. Both
raise :class:`CaseError` for a document that cannot be true or cannot be read, and nothing else. The keys of a document
are read in :mod:`loops.casekeys`, which lists those that may be left out.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import lru_cache
from string import Formatter
from typing import Any

from loops.casekeys import read_case
from loops.casereader import CaseError
from loops.engine.case import Basis, Case
from loops.engine.findings import Check, Function, FunctionPart, MaxLength, Remark, Result
from loops.engine.references import cite
from loops.engine.tables import Tables
from loops.engine.verdict import RULES_VERSION, judge
from registry.quantities import Kind, write

__all__ = ["CaseError", "judge_document", "read_document"]

_KINDS = {kind.value: kind for kind in Kind}
_MILLI = Decimal("0.001")
_MARGIN_STEP = Decimal("0.0001")
# Longer figures than the first come from arithmetic: they are cut to the second, towards the unsafe side.
EXACT_DIGITS, EXACT_CUT = 9, 6
READ_DIGITS, READ_CUT = 5, 4


def read_document(document: object) -> Case:
    """The document as the engine's input; raises :class:`CaseError` with every error at once."""
    return read_case(document)


def judge_document(document: object, *, detail: bool = False, tables: Tables | None = None) -> dict[str, Any]:
    """Judge one case document and give the result document.

    ``detail`` is for storage and pages: long figures are cut to four digits, and each check has besides ``value_si``,
    ``limit_si`` (text of Decimals, exact), ``unit`` and ``cure``. ``tables`` replaces the built-in tables A.1 and A.2;
    the result then names them under ``tables``. Raises :class:`CaseError`.

    >>> judge_document({"sources": [{"name": "S1", "Uo": "28 V"}]})["verdict"]
    'incomplete'
    """
    case = read_case(document)
    result = result_document(case, judge(case, tables), detail=detail)
    return result if tables is None else result | {"tables": [table.name for table in tables]}


def result_document(case: Case, result: Result, *, detail: bool = False) -> dict[str, Any]:
    """A result of the engine as plain data, with every quantity written."""
    totals, written = result.totals, _read if detail else _quantity
    return {
        "case": case.name,
        "verdict": result.verdict.value,
        "checks": [_check(check, case.basis, detail=detail) for check in result.checks],
        "halved": result.halved,
        "totals": {
            "C": written(totals.capacitance_f, "F", ROUND_CEILING),
            "L": written(totals.inductance_h, "H", ROUND_CEILING),
            "C_permitted": written(totals.permitted_capacitance_f, "F", ROUND_FLOOR),
            "L_permitted": written(totals.permitted_inductance_h, "H", ROUND_FLOOR),
        },
        "max_length": _max_length(result.max_length),
        "function": _function(result.function, case.basis, detail=detail),
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

    Figures of more than five digits are cut to four: a limit (minus behind its unit) downwards, all else upwards, so
    that a sentence never tells of less than there is, nor of more than is permitted.

    >>> sentence(Remark("Uo of {0} is {1:V}.", ("S1", Decimal("25.2"))))
    'Uo of S1 is 25.2 V.'
    >>> sentence(Remark("{0:H} of {1:H-}", (Decimal("0.001027736026"), Decimal("0.001027736026"))))
    '1.028 mH of 1.027 mH'
    """
    return "".join(
        [
            literal if place is None else literal + _operand(remark.operands[place], form)
            for literal, place, form in _parsed(remark.template)
        ]
    )


@lru_cache(maxsize=4096)
def _parsed(template: str) -> tuple[tuple[str, int | None, str], ...]:
    """The parts of a template: what is written as it is, then the place of an operand and its form, if one follows."""
    return tuple(
        (literal, None if place is None else int(place), form or "")
        for literal, place, form, _ in Formatter().parse(template)
    )


def _operand(value: Any, form: str) -> str:
    """``{0:V}`` writes the operand as a quantity in that SI unit, ``{0:V-}`` as a limit; ``{0}`` as it is."""
    if not form:
        return str(value)
    unit = form.removesuffix("-")
    rounding = ROUND_CEILING if unit == form else ROUND_FLOOR
    return write(_cut(value, rounding, READ_DIGITS, READ_CUT), _KINDS[unit])


def _cut(value: Decimal, rounding: str, untouched: int, digits: int) -> Decimal:
    """A computed figure cut to what a reader can use; one of at most ``untouched`` digits stays as it is."""
    if len(value.normalize().as_tuple().digits) <= untouched:
        return value
    return value.quantize(Decimal(1).scaleb(value.adjusted() - digits + 1), rounding)


def _quantity(value: Decimal | str | None, unit: str, rounding: str) -> str | None:
    """A value of the result, exact as far as people type."""
    if not isinstance(value, Decimal):
        return None if value is None else str(value)
    return write(_cut(value, rounding, EXACT_DIGITS, EXACT_CUT), _KINDS[unit])


def _read(value: Decimal | str | None, unit: str, rounding: str) -> str | None:
    """A value as sentences, pages and sheets show it."""
    if not isinstance(value, Decimal):
        return None if value is None else str(value)
    return write(_cut(value, rounding, READ_DIGITS, READ_CUT), _KINDS[unit])


def _check(check: Check, basis: Basis, *, detail: bool) -> dict[str, Any]:
    why = sentence(check.why)
    cure = sentence(check.cure) if check.cure is not None else None
    towards_fail = (ROUND_FLOOR, ROUND_CEILING) if check.relation == ">=" else (ROUND_CEILING, ROUND_FLOOR)
    written = _read if detail else _quantity
    shown: dict[str, Any] = {
        "id": check.id.value,
        "verdict": check.verdict.value,
        "subject": " -> ".join(check.subject),
        "value": written(check.value, check.unit, towards_fail[0]),
        "limit": written(check.limit, check.unit, towards_fail[1]),
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


def _function(function: Function, basis: Basis, *, detail: bool) -> dict[str, Any]:
    available = function.voltage_at_device_v
    if available is not None:
        available = available.quantize(_MILLI, ROUND_FLOOR)
    return {
        "verdict": function.verdict.value,
        "voltage_at_device": _quantity(available, "V", ROUND_FLOOR),
        "voltage_needed": _quantity(function.voltage_needed_v, "V", ROUND_CEILING),
        "why": sentence(function.why),
        "parts": [_part(part, basis, detail=detail) for part in function.parts],
    }


def _part(part: FunctionPart, basis: Basis, *, detail: bool) -> dict[str, Any]:
    towards_fail = (ROUND_FLOOR, ROUND_CEILING) if part.relation == ">=" else (ROUND_CEILING, ROUND_FLOOR)
    written = _read if detail else _quantity
    return {
        "name": part.name,
        "verdict": part.verdict.value,
        "value": written(part.value, part.unit, towards_fail[0]),
        "limit": written(part.limit, part.unit, towards_fail[1]),
        "relation": part.relation,
        "why": sentence(part.why),
        "reference": cite(part.rule, basis),
    }
