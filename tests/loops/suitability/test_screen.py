"""The screen rejects nothing that the engine would not fail, and is of use: seeded pairs, at the limits and far off."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal as D
from random import Random
from typing import Any

import numpy as np
import pytest

from loops.engine.case import UNKNOWN, Group, Level, Output, Permitted
from loops.engine.findings import CircuitVerdict
from loops.services.suitability.matrix import NO_MARGIN, NOT_JUDGED, in_steps, judge_all, screen
from loops.services.suitability.screen import Code, screen_devices, screen_sources
from loops.services.suitability.spots import ORDER, Slot, Spot, outcome_of
from tests.loops.engine import make
from tests.loops.suitability import pairs

PAIRS = 100_000
FAILS = CircuitVerdict.DOES_NOT_COMPLY


@pytest.mark.parametrize("is_source", [False, True])
def test_of_very_many_pairs_whatever_the_screen_rejects_the_engine_fails(is_source: bool) -> None:
    """100,000 pairs in all, every rejected one judged exactly: none of them does anything but fail."""
    chance = Random(f"screen {is_source}")
    spots = pairs.spots(chance, PAIRS // 2 // 200, is_source=is_source)
    pool = [((pairs.source if is_source else pairs.device)(chance),) for _ in range(200)]
    codes = screen(spots, pool, None)
    assert codes.size == PAIRS // 2
    wrong = [
        (int(place), int(part), Code(codes[place, part]).name)
        for place, part in zip(*np.nonzero(codes), strict=True)
        if outcome_of(spots[place], pool[part]).verdict is not FAILS
    ]
    assert not wrong
    told = Counter(Code(code).name for code in codes.flat)
    assert told["LOOK"] < 0.5 * codes.size
    assert min(told[name] for name in ("PLACE", "VOLTAGE", "CURRENT", "POWER", "STORAGE", "EARTHING")) > 10


@pytest.mark.parametrize("is_source", [False, True])
def test_nothing_that_passes_is_rejected_and_the_matrix_says_what_the_engine_says(is_source: bool) -> None:
    chance = Random(f"matrix {is_source}")
    spots = pairs.spots(chance, 40, is_source=is_source)
    pool = [((pairs.source if is_source else pairs.device)(chance),) for _ in range(50)]
    found = judge_all(spots, pool)
    passing = 0
    for place, spot in enumerate(spots):
        for part, parts in enumerate(pool):
            outcome = outcome_of(spot, parts)
            if found.codes[place, part]:
                assert outcome.verdict is FAILS
                assert found.verdicts[place, part] == NOT_JUDGED
            else:
                assert ORDER[found.verdicts[place, part]] is outcome.verdict
                assert found.margins[place, part] == in_steps(outcome.margin)
                assert found.rooms[place, part] == in_steps(outcome.headroom)
                passing += outcome.verdict is CircuitVerdict.COMPLIES
    assert passing > 20


def code(case: Any, part: Any, *, is_source: bool = False) -> Code:
    found = (screen_sources if is_source else screen_devices)([(case, 0)], [part])
    return Code(found[0, 0])


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        # The limit itself passes (IEC 60079-25:2020, Annex A: equality passes), the next step beyond it is rejected.
        ({"ui_v": D("25.2")}, Code.LOOK),
        ({"ui_v": D("25.1")}, Code.VOLTAGE),
        ({"ui_v": D("25.2") - D("1e-20")}, Code.LOOK),  # too near for floating point: the engine looks
        ({"ii_a": D("0.095")}, Code.LOOK),
        ({"ii_a": D("0.094")}, Code.CURRENT),
        ({"pi_w": D("0.6")}, Code.LOOK),
        ({"pi_w": D("0.599")}, Code.POWER),
        # 300 m of 110 pF/m make 33 nF; the source permits 107 nF.
        ({"ci_f": D("74e-9")}, Code.LOOK),
        ({"ci_f": D("74.1e-9")}, Code.STORAGE),
        ({"level": Level.IC}, Code.PLACE),
        ({"group": Group.IIB}, Code.PLACE),
        ({"temperature_classes": (replace(make.T4, ambient_max_c=D(39)),)}, Code.PLACE),
        ({"ui_v": UNKNOWN, "ci_f": UNKNOWN}, Code.LOOK),
    ],
)
def test_the_limit_and_the_next_step(changes: dict[str, Any], expected: Code) -> None:
    assert code(make.CASE, replace(make.DEVICE, **changes)) is expected
    exact = outcome_of(Spot((make.CASE,), (Slot(0, False, 0),)), (replace(make.DEVICE, **changes),)).verdict
    assert exact is FAILS if expected is not Code.LOOK else True


def test_ten_tenths_of_a_nanofarad_are_one() -> None:
    """0.1 + 0.2 in floats is above 0.3: a sum that meets its limit is never rejected."""
    case = make.row(make.CASE, co_f=D("33e-9") + D("0.3e-9"))
    case = replace(case, devices=(*case.devices, replace(make.DEVICE, name="D2", ci_f=D("0.1e-9"))))
    assert code(case, replace(make.DEVICE, ci_f=D("0.2e-9"))) is Code.LOOK
    assert code(case, replace(make.DEVICE, ci_f=D("0.2000001e-9"))) is Code.STORAGE


def test_both_limits_are_halved_only_for_sure() -> None:
    """The 1 % rule as printed for a certificate of 87 nF and 2 mH (a manual of 2011): 43.5 nF and 1 mH are left."""
    case = make.row(make.CASE, co_f=D("87e-9"), lo_h=D("2e-3"), lo_ro_h_per_ohm=UNKNOWN)
    half = D("43.5e-9") - D("33e-9")
    with_inductance = replace(make.DEVICE, li_h=D("50e-6"), ci_f=half)
    assert code(case, with_inductance) is Code.LOOK
    assert code(case, replace(with_inductance, ci_f=half + D("1e-12"))) is Code.STORAGE
    assert code(case, replace(with_inductance, li_h=D("19e-6"), ci_f=half + D("1e-12"))) is Code.LOOK
    # 20 uH is 1 % itself: a float may lie to either side of it, so the screen does not halve there.
    assert code(case, replace(with_inductance, li_h=D("20e-6"), ci_f=half + D("1e-12"))) is Code.LOOK


def test_inductance_alone_rejects_only_where_the_way_by_its_ratio_is_closed() -> None:
    """A fire cable of 22.1 uH/ohm is within Lo/Ro of 28 V 300 ohm, 55 uH/ohm: L sets no limit (a manual of 2007)."""
    row = Permitted(Group.IIC, D("83e-9"), D("4.2e-3"), D("55e-6"))
    long = replace(make.CABLE, length_m=D(10_000), capacitance_f_per_m=D("1e-12"),
                   inductance_per_resistance_h_per_ohm=D("22.1e-6"))  # fmt: skip
    case = replace(make.source(make.CASE, permitted=(row,)), cables=(long,))
    assert code(case, make.DEVICE) is Code.LOOK
    steep = replace(long, inductance_per_resistance_h_per_ohm=D("55.1e-6"))
    assert code(replace(case, cables=(steep,)), make.DEVICE) is Code.STORAGE
    # As long as an Li is not known, the engine leaves that way open.
    assert code(replace(case, cables=(steep,)), replace(make.DEVICE, li_h=UNKNOWN)) is Code.LOOK


def test_a_source_is_compared_with_every_device_and_by_its_own_rows() -> None:
    second = replace(make.DEVICE, name="D2", ui_v=D(24))
    case = replace(make.CASE, devices=(make.DEVICE, second))
    assert code(case, make.SOURCE, is_source=True) is Code.VOLTAGE
    less = replace(make.SOURCE, uo_v=D(24))
    assert code(case, less, is_source=True) is Code.LOOK
    assert code(case, replace(less, permitted=(replace(make.ROW, group=Group.IIB),)), is_source=True) is Code.PLACE
    assert code(case, replace(less, permitted=(replace(make.ROW, co_f=D("30e-9")),)), is_source=True) is Code.STORAGE
    # Po that is not stated is Uo * Io / 4 of a linear source: 24 V * 95 mA / 4 = 0.57 W, within 1 W.
    assert code(case, replace(less, po_w=UNKNOWN, output=Output.LINEAR), is_source=True) is Code.LOOK
    assert code(case, replace(less, po_w=UNKNOWN, output=Output.RECTANGULAR), is_source=True) is Code.POWER
    earthed = make.device(make.CASE, isolated_from_earth=False)
    assert code(earthed, replace(make.SOURCE, isolated=False), is_source=True) is Code.EARTHING


def test_an_item_that_stands_twice_on_a_circuit_is_left_to_the_engine() -> None:
    case = replace(make.CASE, devices=(make.DEVICE, replace(make.DEVICE, name="D2")))
    spot = Spot((case,), (Slot(0, False, 0), Slot(0, False, 1)))
    weak = replace(make.DEVICE, ui_v=D(1))
    assert screen([spot], [(weak, weak)], None)[0, 0] == Code.LOOK
    assert outcome_of(spot, (weak, weak)).verdict is FAILS


def test_processes_answer_as_one_does_and_progress_is_told() -> None:
    chance = Random("processes")
    spots = pairs.spots(chance, 130, is_source=False)
    pool = [(pairs.device(chance),) for _ in range(4)]
    steps: list[tuple[int, int]] = []
    one = judge_all(spots, pool, told=lambda done, of: steps.append((done, of)))
    two = judge_all(spots, pool, processes=2)
    for name in ("codes", "verdicts", "functions", "margins", "rooms"):
        assert np.array_equal(getattr(one, name), getattr(two, name))
    assert steps == [(64, 130), (128, 130), (130, 130)]
    assert (one.margins != NO_MARGIN).any()


def test_whoever_is_told_may_end_it() -> None:
    class Enough(Exception):
        pass

    def told(done: int, of: int) -> None:
        raise Enough

    spots = pairs.spots(Random("enough"), 70, is_source=False)
    for processes in (1, 2):
        with pytest.raises(Enough):
            judge_all(spots, [(make.DEVICE,)], told=told, processes=processes)
