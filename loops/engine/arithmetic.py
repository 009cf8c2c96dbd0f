"""Exact arithmetic: Decimals of 120 digits, and comparisons that forgive only the residue of a unit conversion.

A conversion such as F/ft to F/m does not end in Decimal: its result is rounded at the 60th digit, and a sum that equals
its limit on paper may come out a hair above. :func:`at_most` therefore takes an excess under one part in 10**50 for
equality, but only where a number carries so many digits that it must come from such a conversion. Numbers as people
type them have at most 40 digits: their sums and products are exact here and are compared exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_FLOOR, Context, Decimal, DivisionByZero, InvalidOperation, Overflow, localcontext
from functools import wraps
from typing import ParamSpec, TypeVar

CONTEXT = Context(prec=120, Emin=-9999, Emax=9999, traps=[InvalidOperation, DivisionByZero, Overflow])
RESIDUE = Decimal("1e-50")
CONVERTED_DIGITS = 50

P = ParamSpec("P")
T = TypeVar("T")


def with_full_precision(function: Callable[P, T]) -> Callable[P, T]:
    """Run ``function`` in the engine's 120-digit context whatever context the caller has.

    >>> with_full_precision(lambda: len((Decimal(1) / 3).as_tuple().digits))()
    120
    """

    @wraps(function)
    def inner(*args: P.args, **kwargs: P.kwargs) -> T:
        with localcontext(CONTEXT):
            return function(*args, **kwargs)

    return inner


def at_most(value: Decimal, limit: Decimal) -> bool:
    """``value <= limit``, where the residue of a unit conversion counts as equal.

    Both in the same unit. Call in the engine's context (:func:`with_full_precision`).

    >>> at_most(Decimal("83e-9"), Decimal("83e-9")), at_most(Decimal("83.0000001e-9"), Decimal("83e-9"))
    (True, False)
    >>> per_foot = CONTEXT.divide(Decimal("60e-12"), Decimal("0.3048"))
    >>> with_full_precision(at_most)(CONTEXT.multiply(per_foot, Decimal("30.48")), Decimal("6e-9"))
    True
    """
    if value <= limit:
        return True
    if value - limit > limit * RESIDUE:
        return False
    return len(value.as_tuple().digits) >= CONVERTED_DIGITS or len(limit.as_tuple().digits) >= CONVERTED_DIGITS


def whole_steps(budget: Decimal, per_step: Decimal) -> int:
    """The largest whole n with n * per_step <= budget; 0 when the budget is negative.

    ``per_step`` must be positive. Floats lose a step here (0.3 / 0.1 gives 2), Decimals do not.

    >>> whole_steps(Decimal("0.3"), Decimal("0.1")), whole_steps(Decimal("-1"), Decimal("0.1"))
    (3, 0)
    """
    if budget <= 0:
        return 0
    count = (budget / per_step).to_integral_value(ROUND_FLOOR)
    if at_most((count + 1) * per_step, budget):
        count += 1
    return int(count)


def and3(a: bool | None, b: bool | None) -> bool | None:
    """Three-valued AND, ``None`` being unknown.

    >>> and3(True, None), and3(False, None), and3(True, True)
    (None, False, True)
    """
    if a is False or b is False:
        return False
    if a is None or b is None:
        return None
    return True
