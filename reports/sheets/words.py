"""The words of the sheet for what is stored as a key."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_FLOOR, Decimal, InvalidOperation
from typing import Any

from loops.check_names import CHECK_NAMES
from registry.stored import figure, figures
from registry.words import lazily as _

VERDICTS = {
    "complies": _("Complies"),
    "does_not_comply": _("Does not comply"),
    "incomplete": _("Incomplete"),
    "beyond_simple_rules": _("Beyond simple rules"),
    "pass": _("Pass"),
    "fail": _("Fail"),
    "confirm": _("To confirm"),
    "not_applicable": _("Not applicable"),
}
FUNCTIONS = {
    "pass": _("Will work"),
    "fail": _("Will not work"),
    "incomplete": _("Function not judged: a value is missing"),
}
SHAPES = {
    "complies": "pass",
    "does_not_comply": "fail",
    "beyond_simple_rules": "beyond",
    "not_applicable": "none",
    "": "none",
}
# Two of them shorter than on the pages: the column of a sheet is narrow.
CHECKS = CHECK_NAMES | {"lumped_rule": _("1 % rule, lumped C, L"), "um": _("Safe-area voltage, Um")}
FUNCTION_PARTS = {
    "voltage_at_4mA": _("Voltage at 4 mA"),
    "voltage_at_highest_current": _("Voltage at the highest current"),
    "hart_rc": _("HART time constant"),
    "hart_load": _("HART load"),
    "line_resistance": _("Line of the proximity sensor"),
    "solenoid_current": _("Current of the solenoid"),
}
ORDER = ("fail", "beyond_simple_rules", "incomplete", "confirm", "pass", "not_applicable")
RELATIONS = {"<=": "≤", ">=": "≥"}
BASES = {"IEC": "IEC 60079-11 / -14 / -25", "NEC": "NEC 504, ISA-RP12.06.01"}
SEPARATIONS = {
    "single_circuit": _("one circuit"),
    "A": _("type A"),
    "B": _("type B"),
    "C": _("type C"),
    "mixed": _("with circuits that are not IS"),
}
OUTPUTS = {"linear": _("linear"), "trapezoidal": _("trapezoidal"), "rectangular": _("rectangular")}
SIMPLE = {"passive": _("Passive"), "stored energy": _("Stores energy"), "generating": _("Generates energy")}
UNKNOWN = _("unknown")


def shape(verdict: str) -> str:
    """Which of the marks stands beside a verdict: pass, fail, incomplete, beyond, confirm, none."""
    return SHAPES.get(verdict, verdict if verdict in VERDICTS else "none")


def percent(margin: str | Decimal | None) -> str:
    """A stored margin in per cent, rounded down so that what is left never looks larger than it is.

    >>> percent("0.1567"), percent("0.9999"), percent("0"), percent("-0.001"), percent("")
    ('15.6 %', '99.9 %', '0 %', '-0.1 %', '')
    """
    try:
        value = Decimal(margin or "") if isinstance(margin, str) else margin
    except InvalidOperation:
        return ""
    if value is None:
        return ""
    rounded = (value * 100).quantize(Decimal("0.1"), rounding=ROUND_FLOOR)
    return figure(f"{rounded.normalize():f} %") if rounded else "0 %"


def class_words(row: Mapping[str, Any]) -> str:
    """A temperature class with what it holds up to: "T4 to 70 degC, Pi 0.5 W"."""
    reach = (
        _("%(low)s to %(high)s") % {"low": row["class"], "high": row["ambient_max"]}
        if row.get("ambient_max")
        else row["class"]
    )
    return ", ".join([reach, *(f"{symbol} {figures(row[symbol])}" for symbol in ("Pi", "Ii") if row.get(symbol))])


def span(low: str, high: str) -> str:
    """`-20 degC to 40 degC`, or the end that is known."""
    if low and high:
        return _("%(low)s to %(high)s") % {"low": low, "high": high}
    return _("from %(low)s") % {"low": low} if low else _("to %(high)s") % {"high": high} if high else ""


def system_words(system: Mapping[str, Any]) -> str:
    """`Ex ia IIC, EPL Ga`: what the circuit as a whole earns; empty while a part is unknown."""
    marks = " ".join(part for part in (system.get("level"), system.get("group")) if part)
    return ", ".join(part for part in (f"Ex {marks}" if marks else "", epl(system)) if part)


def epl(system: Mapping[str, Any]) -> str:
    return f"EPL {system['epl']}" if system.get("epl") else ""
