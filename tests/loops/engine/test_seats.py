"""A device in a seat is judged as on the whole circuit: seeded circuits and devices, one by one beside each other."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import NOT_STATED, Case, Device
from loops.engine.findings import CheckId, CircuitVerdict, Verdict
from loops.engine.seats import Devices, Seat
from loops.engine.verdict import decide
from tests.loops.suitability import pairs

QUANTITIES = {CheckId.VOLTAGE, CheckId.CURRENT, CheckId.POWER, CheckId.CAPACITANCE, CheckId.INDUCTANCE}


@with_full_precision
def on_the_whole_circuit(case: Case, index: int, device: Device) -> tuple[object, ...]:
    rows = list(case.devices)
    rows[index] = replace(device, name=rows[index].name)
    found = decide(replace(case, devices=tuple(rows)))
    margins = [
        check.margin
        for check in found.checks
        if check.id in QUANTITIES and check.verdict in (Verdict.PASS, Verdict.FAIL) and check.margin is not None
    ]
    return found.verdict, found.function, min(margins, default=None)


@pytest.mark.parametrize("seed", range(4))
def test_a_seat_says_what_the_whole_circuit_says(seed: int) -> None:
    chance = Random(f"seats {seed}")
    pool = [pairs.device(chance) for _ in range(60)]
    # Most devices hold their class whatever power they get; those are judged by shares.
    pool += [
        replace(item, temperature_classes=tuple(replace(row, pi_w=NOT_STATED) for row in item.temperature_classes))
        for item in pool[:40]
    ]
    devices, told = Devices(pool), set()
    for spot in pairs.spots(chance, 60, is_source=False):
        case, index = spot.cases[0], spot.slots[0].row
        seat = with_full_precision(Seat)(case, index, devices)
        for number, device in enumerate(pool):
            found = with_full_precision(seat.decide)(number)
            assert tuple(found) == on_the_whole_circuit(case, index, device)
            told.add(found.verdict)
    assert len(told) > 2 and CircuitVerdict.COMPLIES in told


def test_most_devices_of_that_test_are_judged_by_shares() -> None:
    chance = Random("seats 0")
    assert sum(Devices([pairs.device(chance) for _ in range(200)]).plain) > 50
