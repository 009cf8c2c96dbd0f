"""The longest last run: what devices and the other runs leave, divided by what a metre takes."""

from __future__ import annotations

from decimal import Decimal

from loops.engine.arithmetic import at_most, whole_steps
from loops.engine.findings import MaxLength
from loops.engine.limits import Parts, RatioWay
from loops.engine.totals import Sum

UNLIMITED = -1


def longest_by(limit: Decimal | None, parts: Parts, devices: Sum, *, capacitance: bool) -> int | None:
    """Longest last run by one quantity; ``UNLIMITED`` where the run has none of it, ``None`` where it is unknown."""
    if limit is None or not parts.runs or devices.missing:
        return None
    spent = devices.known
    for run in parts.runs[:-1]:
        if not isinstance(run.length_m, Decimal):
            return None
        spent += run.length_m * (run.capacitance_f_per_m if capacitance else run.inductance_h_per_m)
    last = parts.runs[-1]
    per_metre = last.capacitance_f_per_m if capacitance else last.inductance_h_per_m
    if not per_metre:
        return UNLIMITED if at_most(spent, limit) else 0
    return whole_steps(limit - spent, per_metre)


def max_length(metres_c: int | None, metres_l: int | None, way: RatioWay, parts: Parts) -> MaxLength | None:
    """The shorter of both lengths; L/R accepted means that inductance sets none."""
    if way.passed:
        metres_l = UNLIMITED
    if metres_c is None or metres_l is None or not parts.runs:
        return None
    if metres_c == UNLIMITED and metres_l == UNLIMITED:
        return MaxLength(None, "none")
    if metres_l == UNLIMITED or (metres_c != UNLIMITED and metres_c <= metres_l):
        return MaxLength(metres_c, "capacitance")
    return MaxLength(metres_l, "inductance")
