"""A device in a seat is judged as on the whole circuit: seeded circuits and devices, one by one beside each other."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from loops.engine.arithmetic import with_full_precision
from loops.engine.case import NOT_STATED, Case, Device, Source
from loops.engine.findings import CheckId, CircuitVerdict, Verdict
from loops.engine.seats import Devices, Seat
from loops.engine.source_seats import Sources, SourceSeat
from loops.engine.verdict import decide
from tests.loops.engine import make
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


@with_full_precision
def with_source(case: Case, source: Source) -> tuple[object, ...]:
    found = decide(replace(case, sources=(replace(source, name=case.sources[0].name),)))
    margins = [
        check.margin
        for check in found.checks
        if check.id in QUANTITIES and check.verdict in (Verdict.PASS, Verdict.FAIL) and check.margin is not None
    ]
    return found.verdict, found.function.verdict, min(margins, default=None)


@pytest.mark.parametrize("seed", range(4))
def test_a_source_in_a_seat_is_judged_as_on_the_whole_circuit(seed: int) -> None:
    chance = Random(f"source seats {seed}")
    pool = [pairs.source(chance) for _ in range(70)]
    # Some give or work alike, as the channels of one card do.
    pool += [replace(item, supply=None, permitted=pool[number].permitted) for number, item in enumerate(pool[10:40])]
    sources, told, alone = Sources(pool), set(), 0
    for spot in pairs.spots(chance, 70, is_source=True):
        case = spot.cases[0]
        if len(case.sources) != 1:
            continue
        alone += case.fieldbus is None
        seat = with_full_precision(SourceSeat)(case, sources)
        for number, source in enumerate(pool):
            verdict, function, margin = with_full_precision(seat.decide)(number)
            assert (verdict, function.verdict, margin) == with_source(case, source), (case, source)
            told.add(verdict)
    assert alone > 30 and len(told) > 2 and CircuitVerdict.COMPLIES in told


def test_a_device_may_have_any_name_beside_a_source_in_a_seat() -> None:
    for name in ("source", "S1", "device", "circuit", "area"):
        bad = replace(make.DEVICE, name=name, certificate=None)
        case = replace(make.CASE, devices=(bad,))
        seat = with_full_precision(SourceSeat)(case, Sources([make.SOURCE, make.SOURCE]))
        assert with_full_precision(seat.decide)(0).verdict is with_source(case, make.SOURCE)[0]


def test_most_devices_of_that_test_are_judged_by_shares() -> None:
    chance = Random("seats 0")
    assert sum(Devices([pairs.device(chance) for _ in range(200)]).plain) > 50
