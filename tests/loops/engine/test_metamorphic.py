"""What must hold for every circuit, whatever its values: 5,000 random ones.

Safer never judges worse; order, unit of writing and the number of pieces of a cable change nothing; unknown never
passes. Facts of the trade, no source.
"""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal as D
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.casefile import judge_document
from loops.engine.case import UNKNOWN, Case
from loops.engine.findings import CircuitVerdict, Result, Verdict
from loops.engine.verdict import judge

from . import make
from .circuits import circuits, safer

RANK = {verdict: rank for rank, verdict in enumerate(reversed(CircuitVerdict))}
MANY = settings(max_examples=1000, deadline=None, suppress_health_check=list(HealthCheck))


def core(result: Result) -> tuple[Any, ...]:
    """What does not depend on the order or the names of parts."""
    return result.verdict, result.halved, result.totals, result.max_length, result.system


@MANY
@given(circuits(), st.data())
def test_one_parameter_made_safer_never_judges_worse(case: Case, data: st.DataObject) -> None:
    before = judge(case)
    after = judge(safer(data.draw, case))
    # What lies beyond the tables is not judged; a lower voltage brings it within them, where it may well fail.
    if before.verdict is not CircuitVerdict.BEYOND_SIMPLE_RULES:
        assert RANK[after.verdict] <= RANK[before.verdict]


@MANY
@given(circuits(), st.randoms(use_true_random=False))
def test_order_of_devices_and_cables_changes_nothing(case: Case, shuffler: random.Random) -> None:
    devices, cables = list(case.devices), list(case.cables or ())
    rest, last = cables[:-1], cables[-1:]
    shuffler.shuffle(devices)
    shuffler.shuffle(rest)
    shuffled = judge(replace(case, devices=tuple(devices), cables=(*rest, *last)))
    original = judge(case)
    assert core(shuffled) == core(original)
    assert sorted(map(str, shuffled.checks)) != [] and len(shuffled.checks) == len(original.checks)
    assert {(c.id, c.verdict) for c in shuffled.checks} == {(c.id, c.verdict) for c in original.checks}


@MANY
@given(circuits(), st.integers(1, 99))
def test_a_cable_in_two_pieces_is_the_same_cable(case: Case, percent: int) -> None:
    if not case.cables or not isinstance(case.cables[0].length_m, D):
        return
    whole = case.cables[0]
    length = whole.length_m
    assert isinstance(length, D)
    piece = length * percent / 100
    pieces = (replace(whole, name="first", length_m=piece), replace(whole, name="second", length_m=length - piece))
    one, two = judge(case), judge(replace(case, cables=(*pieces, *case.cables[1:])))
    assert (one.verdict, one.halved, one.totals, one.system) == (two.verdict, two.halved, two.totals, two.system)
    if len(case.cables) > 1:
        assert one.max_length == two.max_length


PARAMETERS = ["uo_v", "io_a"], ["ui_v", "ci_f", "li_h"]


@MANY
@given(circuits(), st.data())
def test_forgetting_a_value_never_makes_a_circuit_comply(case: Case, data: st.DataObject) -> None:
    """Unknown never passes: without Uo, Io, Ui, Ci or Li the circuit is incomplete or fails, whatever the rest."""
    of_source, of_device = PARAMETERS
    field = data.draw(st.sampled_from(of_source + of_device))
    if field in of_source:
        changed = make.source(case, **{field: UNKNOWN})
    else:
        changed = make.device(case, **{field: UNKNOWN})
    simple_without_ui = field == "ui_v" and changed.devices[0].simple is not None
    stated_nowhere = field == "io_a" and all(not isinstance(d.ii_a, D) for d in changed.devices)
    if not simple_without_ui and not stated_nowhere:
        assert judge(changed).verdict is not CircuitVerdict.COMPLIES


UNITS = {
    "V": [("V", 0), ("mV", 3), ("kV", -3)],
    "A": [("A", 0), ("mA", 3), ("uA", 6)],
    "F": [("F", 0), ("uF", 6), ("nF", 9), ("pF", 12)],
    "H": [("H", 0), ("mH", 3), ("uH", 6)],
    "m": [("m", 0), ("km", -3), ("mm", 3)],
    "F/m": [("F/m", 0), ("nF/km", 12), ("pF/m", 12), ("nF/m", 9)],
    "H/m": [("H/m", 0), ("mH/km", 6), ("uH/m", 6)],
}


def written(draw: st.DrawFn, value: D, unit: str) -> str:
    """The value in any of its units, with any spacing."""
    name, power = draw(st.sampled_from(UNITS[unit]))
    return f"{value.scaleb(power):f}{draw(st.sampled_from(['', ' ']))}{name}"


@MANY
@given(st.data())
def test_the_unit_of_writing_changes_nothing(data: st.DataObject) -> None:
    values = {
        "Uo": (data.draw(st.integers(5, 31)) * D(1), "V"),
        "Io": (data.draw(st.integers(1, 12)) * D("0.01"), "A"),
        "Ui": (data.draw(st.integers(5, 31)) * D(1), "V"),
        "Ci": (data.draw(st.integers(0, 99)) * D("1e-9"), "F"),
        "Li": (data.draw(st.integers(0, 99)) * D("1e-6"), "H"),
        "length": (data.draw(st.integers(0, 999)) * D(1), "m"),
        "C": (data.draw(st.integers(0, 200)) * D("1e-12"), "F/m"),
        "L": (data.draw(st.integers(0, 99)) * D("1e-8"), "H/m"),
    }

    def document() -> dict[str, Any]:
        text = {key: written(data.draw, *value) for key, value in values.items()}
        return {
            "area": {"zone": "1", "group": "IIC", "temperature_class": "T4", "ambient_max": "40 degC"},
            "sources": [
                {
                    "name": "S1",
                    "Uo": text["Uo"],
                    "Io": text["Io"],
                    "output": "linear",
                    "permitted": [{"group": "IIC", "Co": "107 nF", "Lo": "3.9 mH"}],
                }
            ],
            "devices": [{"name": "D1", "Ui": text["Ui"], "Ii": "0.1 A", "Ci": text["Ci"], "Li": text["Li"]}],
            "cables": [{"name": "W1", "length": text["length"], "C": text["C"], "L": text["L"]}],
        }

    assert judge_document(document(), detail=True) == judge_document(document(), detail=True)


@settings(MANY, max_examples=300)
@given(circuits())
def test_every_failure_says_what_would_cure_it(case: Case) -> None:
    for check in judge(case).checks:
        assert (check.cure is not None) == (check.verdict is Verdict.FAIL), check
