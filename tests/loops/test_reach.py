"""How far each limit lets the last run grow: by published lengths, by the longest run of the verdict, and judged anew.

Published lengths are those of tests/published (sources named there): they stand beside each check.
"""

from __future__ import annotations

import copy
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from loops.casefile import judge_document
from loops.services.reach import Reach, Reaches, reaches_of
from loops.views.reach import shown_reach
from tests.loops.documents import COMPLETE

PUBLISHED = Path(__file__).parent.parent / "published"
DOCUMENTS = {
    case["id"]: case["document"]
    for file in sorted(PUBLISHED.glob("*.json"))
    for case in json.loads(file.read_text(encoding="utf-8"))["cases"]
}


def reach(document: dict[str, Any]) -> dict[str, Reach]:
    found = reaches_of(document)
    assert found is not None
    return {row.limit: row for row in found.rows}


def with_length(document: dict[str, Any], metres: int) -> dict[str, Any]:
    changed = copy.deepcopy(document)
    changed["cables"][-1]["length"] = f"{metres} m"
    return changed


def test_published_lengths() -> None:
    # 130 nF at 100 nF/km: 1.3 km, limited by capacitance (Tyco LT0255 p. 6-33); 68 ohm at 34 ohm/km: 2 km.
    short = reaches_of(DOCUMENTS["iic-capacitance-limits"])
    assert short is not None and short.first == Reach("capacitance", "limit", 1300)
    for name in ("iib-1999-m", "iia-2001-m"):
        found = reaches_of(DOCUMENTS[name])
        assert found is not None and found.first is not None
        assert found.first.limit == "function" and found.first.metres in (1999, 2000)
    # 12.8 V, 9 V minimum, 100 mA, 44 ohm/km: 863 m; a transmitter that works over 910 m and starves over 913 m.
    assert reach(DOCUMENTS["fieldbus-864-m"])["function"].metres == 863
    assert 910 <= (reach(DOCUMENTS["transmitter-913-m"])["function"].metres or 0) < 913


@pytest.mark.parametrize("name", [name for name, document in DOCUMENTS.items() if document.get("cables")])
def test_the_safe_limits_are_the_longest_run_of_the_verdict(name: str) -> None:
    longest = judge_document(DOCUMENTS[name])["max_length"]
    safe = [row for row in reach(DOCUMENTS[name]).values() if row.limit != "function"]
    if longest is None:
        assert any(row.state == "unknown" for row in safe)
    elif longest["length"] is None:
        assert all(row.state == "none" for row in safe)
    else:
        least = min((row for row in safe if row.state == "limit"), key=lambda row: row.metres or 0)
        assert f"{least.metres} m" == longest["length"]
        assert longest["limited_by"] in (least.limit, "none")


def test_a_metre_more_than_a_limit_fails_it_and_the_limit_itself_does_not() -> None:
    limits = [row for row in reach(COMPLETE).values() if row.metres]
    assert {row.limit for row in limits} >= {"capacitance", "function"}
    for row in limits:
        assert row.metres
        for metres, verdict in ((row.metres, "pass"), (row.metres + 1, "fail")):
            result = judge_document(with_length(COMPLETE, metres))
            checks = {check["id"]: check["verdict"] for check in result["checks"]}
            assert (result["function"]["verdict"] if row.limit == "function" else checks[row.limit]) == verdict


def test_what_is_unknown_sets_no_length() -> None:
    open_case = copy.deepcopy(COMPLETE)
    del open_case["devices"][0]["Ci"], open_case["devices"][0]["needs"]["voltage_min"]
    found = reach(open_case)
    assert found["capacitance"].state == found["function"].state == "unknown"
    whole = reaches_of(open_case)
    assert whole is not None and whole.is_open
    without = copy.deepcopy(COMPLETE) | {"cables": []}
    assert reaches_of(without) is None and reaches_of({"sources": "none"}) is None


def test_in_words_with_both_numbers() -> None:
    rows = (Reach("capacitance", "limit", 952), Reach("inductance", "none"), Reach("function", "limit", 1240))
    shown = shown_reach(Reaches("W1", Decimal(180), rows), "m")
    assert shown is not None
    assert shown["sentence"] == "W1 is 180 m long. Capacitance comes first, at 952 m: 772 m are left."
    assert [row["words"] for row in shown["rows"]] == ["up to 952 m", "sets no limit", "up to 1240 m"]
    assert [row["is_first"] for row in shown["rows"]] == [True, False, False]
    bars = [(float(row["used"]), float(row["limit"])) for row in shown["rows"] if "limit" in row]
    assert all(used < limit <= 100 for used, limit in bars) and bars[0][1] < bars[1][1]
    over = shown_reach(Reaches("W1", Decimal(1000), rows), "m")
    assert over is not None and over["rows"][0]["over"] and not over["rows"][2]["over"]
    assert over["sentence"] == "W1 is 1000 m long. Capacitance permits 952 m: it is 48 m too long."
    exact = shown_reach(Reaches("W1", Decimal(952), rows), "m")
    assert exact is not None and "exactly what capacitance permits" in exact["sentence"]
    blank = shown_reach(Reaches("W1", None, rows), "m")
    assert blank is not None and blank["sentence"].startswith("The length of W1 is not known.")
    feet = shown_reach(Reaches("W1", Decimal(180), rows), "ft")
    assert feet is not None and "590.6 ft (180 m)" in feet["sentence"] and "3123 ft (952 m)" in feet["sentence"]
    far = shown_reach(Reaches("W1", Decimal(10), (rows[0], Reach("function", "limit", 19_000))), "m")
    assert far is not None and [row["is_beyond"] for row in far["rows"]] == [False, True]
    endless = shown_reach(Reaches("W1", Decimal(10), (Reach("inductance", "limit", 1_538_436),)), "m")
    assert endless is not None and endless["sentence"] == "Nothing limits W1 within 20 km." and not endless["rows"]
    assert shown_reach(Reaches("W1", Decimal(10), (rows[1],)), "m") is None
    assert shown_reach(None, "m") is None


@pytest.mark.django_db
def test_on_the_page_of_a_loop(loop: Any, client_as: Any) -> None:
    page = client_as("reader").get(f"/loops/{loop.pk}/").content.decode()
    longest = loop.verification.results[0]["max_length"]["length"]
    assert "How far each limit lets" in page and "comes first" in page
    assert f"at {longest}:" in page or f"up to {longest}" in page
