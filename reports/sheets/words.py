"""The words of the sheet for what is stored as a key."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal, InvalidOperation

from loops.check_names import CHECK_NAMES

VERDICTS = {
    "complies": "Complies",
    "does_not_comply": "Does not comply",
    "incomplete": "Incomplete",
    "beyond_simple_rules": "Beyond simple rules",
    "pass": "Pass",
    "fail": "Fail",
    "confirm": "To confirm",
    "not_applicable": "Not applicable",
}
FUNCTIONS = {"pass": "Will work", "fail": "Will not work", "incomplete": "Function not judged: a value is missing"}
SHAPES = {
    "complies": "pass",
    "does_not_comply": "fail",
    "beyond_simple_rules": "beyond",
    "not_applicable": "none",
    "": "none",
}
# Two of them shorter than on the pages: the column of a sheet is narrow.
CHECKS = CHECK_NAMES | {"lumped_rule": "1 % rule, lumped C, L", "um": "Safe-area voltage, Um"}
FUNCTION_PARTS = {
    "voltage_at_4mA": "Voltage at 4 mA",
    "voltage_at_highest_current": "Voltage at the highest current",
    "hart_rc": "HART time constant",
    "hart_load": "HART load",
    "line_resistance": "Line of the proximity sensor",
    "solenoid_current": "Current of the solenoid",
}
ORDER = ("fail", "beyond_simple_rules", "incomplete", "confirm", "pass", "not_applicable")
RELATIONS = {"<=": "≤", ">=": "≥"}
BASES = {"IEC": "IEC 60079-11 / -14 / -25", "NEC": "NEC 504, ISA-RP12.06.01"}
SEPARATIONS = {
    "single_circuit": "one circuit",
    "A": "type A",
    "B": "type B",
    "C": "type C",
    "mixed": "with circuits that are not IS",
}
OUTPUTS = {"linear": "linear", "trapezoidal": "trapezoidal", "rectangular": "rectangular"}
SIMPLE = {"passive": "Passive", "stored energy": "Stores energy", "generating": "Generates energy"}
UNKNOWN = "unknown"


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
    return f"{rounded.normalize():f} %" if rounded else "0 %"
