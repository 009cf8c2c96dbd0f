"""Circuits judged per second on one core, beside the bare Decimal comparisons of the same circuits.

Run ``python -m tests.benchmarks.engine_benchmark``. Each round times both on the same 2,000 circuits; the middle of the
rounds is reported. The ratio says what the reasons, the cures and the checks without numbers cost; unlike the rate it
hardly depends on the machine.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal as D

from loops.engine.case import Case
from loops.engine.verdict import judge
from tests.loops.engine import make

CIRCUITS = 2000
ROUNDS = 7


def circuits() -> list[Case]:
    """Circuits of one source, one or two devices and one or two runs, all different."""
    chance = random.Random(60079)
    found = []
    for number in range(CIRCUITS):
        device = replace(make.DEVICE, ci_f=chance.randint(0, 40) * D("1e-9"), li_h=chance.randint(0, 80) * D("1e-6"))
        cable = replace(make.CABLE, length_m=D(chance.randint(10, 900)))
        devices = (device,) if number % 4 else (device, replace(device, name="D2"))
        cables = (cable,) if number % 3 else (cable, replace(cable, name="W2"))
        found.append(replace(make.CASE, devices=devices, cables=cables))
    return found


def bare(case: Case) -> bool:
    """The same comparisons with nothing around them: no units, no states, no reasons."""
    source = case.sources[0]
    row = source.permitted[0]
    good = source.um_v >= case.safe_area_voltage_max_v  # type: ignore[operator]
    capacitance = inductance = D(0)
    for device in case.devices:
        good &= source.uo_v <= device.ui_v and source.io_a <= device.ii_a and source.po_w <= device.pi_w  # type: ignore[operator]
        good &= device.ambient_min_c <= case.area.ambient_min_c  # type: ignore[operator]
        good &= device.temperature_classes[0].limit_c <= case.area.temperature_c  # type: ignore[operator]
        good &= device.temperature_classes[0].ambient_max_c >= case.area.ambient_max_c  # type: ignore[operator]
        capacitance += device.ci_f  # type: ignore[operator]
        inductance += device.li_h  # type: ignore[operator]
    halved = inductance >= row.lo_h / 100 and capacitance >= row.co_f / 100  # type: ignore[operator]
    for cable in case.cables or ():
        capacitance += cable.length_m * cable.capacitance_f_per_m  # type: ignore[operator]
        inductance += cable.length_m * cable.inductance_h_per_m  # type: ignore[operator]
        good &= cable.strand_diameter_m >= D("0.0001") and cable.insulation_thickness_m >= D("0.0002")  # type: ignore[operator]
    co, lo = (row.co_f / 2, row.lo_h / 2) if halved else (row.co_f, row.lo_h)  # type: ignore[operator]
    return good and capacitance <= co and inductance <= lo  # type: ignore[operator, no-any-return]


def rate(function: Callable[[Case], object], cases: list[Case]) -> float:
    """Cases per second of processor time."""
    start = time.process_time()
    for case in cases:
        function(case)
    return len(cases) / (time.process_time() - start)


def main() -> None:
    """Print both rates and their ratio."""
    cases = circuits()
    rounds = [(rate(judge, cases), rate(bare, cases)) for _ in range(ROUNDS)]
    judged = statistics.median(judged for judged, _ in rounds)
    compared = statistics.median(compared for _, compared in rounds)
    ratio = statistics.median(compared / judged for judged, compared in rounds)
    print(f"{judged:,.0f} circuits/s judged, {compared:,.0f} circuits/s compared bare, ratio {ratio:.1f}")


if __name__ == "__main__":
    main()
