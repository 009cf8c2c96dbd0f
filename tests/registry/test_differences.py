"""Differences between revisions, and an edit laid over somebody else's."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from registry.differences import canonical, changes, lay_over
from registry.entries import EquipmentEntry

BARRIER: dict[str, Any] = {
    "kind": "source",
    "maker": "Northlight Barriers",
    "type_name": "NB-28",
    "terminals": [
        {
            "id": 7,
            "name": "1-2",
            "side": "source",
            "output": "linear",
            "uo_v": "28 V",
            "io_a": "93 mA",
            "permitted": [{"id": 1, "group": "IIC", "co_f": "83 nF"}, {"id": 2, "group": "IIB", "co_f": "650 nF"}],
        },
        {"id": 8, "name": "3-4", "side": "source", "output": "linear", "uo_v": "28 V"},
    ],
}


@pytest.fixture
def text() -> dict[str, Any]:
    return canonical(EquipmentEntry, BARRIER)


def altered(text: dict[str, Any], change: Any) -> dict[str, Any]:
    found = copy.deepcopy(text)
    change(found)
    return found


def as_rows(before: dict[str, Any], after: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    return [
        (change.place, change.label, change.before, change.after) for change in changes(EquipmentEntry, before, after)
    ]


def test_a_changed_value_is_named_by_its_place_and_symbol(text: dict[str, Any]) -> None:
    after = altered(text, lambda new: new["terminals"][0].update(uo_v="28,5 V", io_a=""))
    assert as_rows(text, after) == [
        ("Terminals 1-2", "Uo", "28 V", "28,5 V (28.5 V)"),
        ("Terminals 1-2", "Io", "93 mA", "unknown"),
    ]


def test_unknown_and_not_stated_are_told_apart(text: dict[str, Any]) -> None:
    after = altered(text, lambda new: new["terminals"][0].update(po_w="not stated"))
    assert as_rows(text, after) == [("Terminals 1-2", "Po", "unknown", "not stated")]


def test_rows_that_change_places_are_no_difference(text: dict[str, Any]) -> None:
    assert as_rows(text, altered(text, lambda new: new["terminals"].reverse())) == []


def test_a_removed_row_and_an_added_one_are_named(text: dict[str, Any]) -> None:
    def change(new: dict[str, Any]) -> None:
        del new["terminals"][1]
        new["terminals"][0]["permitted"].append({"id": "9", "group": "IIA", "co_f": "2.15 uF"})

    rows = as_rows(text, altered(text, change))
    assert ("Terminals 1-2", "Permitted IIA", "", "present") in rows
    assert ("Terminals 1-2, Permitted IIA", "Co", "", "2.15 uF") in rows
    assert ("", "Terminals 3-4", "present", "removed") in rows
    assert ("Terminals 3-4", "Uo", "28 V", "") in rows


def test_snapshots_compare_as_texts_do() -> None:
    before = {"kind": "source", "maker": "A", "type_name": "B", "archived": False, "terminals": []}
    after = before | {"archived": True, "maker": "C"}
    assert as_rows(before, after) == [("", "Maker", "A", "C"), ("", "Record", "in use", "archived")]


# --------------------------------------------------------------------------------------------------------- laying over


def test_what_i_did_not_touch_is_taken_from_them(text: dict[str, Any]) -> None:
    theirs = altered(text, lambda new: new["terminals"][0].update(uo_v="25 V"))
    mine = altered(text, lambda new: new["terminals"][0].update(io_a="90 mA"))
    laid = lay_over(EquipmentEntry, text, theirs, mine)
    assert (laid["terminals"][0]["uo_v"], laid["terminals"][0]["io_a"]) == ("25 V", "90 mA")


def test_where_both_changed_it_mine_stands(text: dict[str, Any]) -> None:
    theirs = altered(text, lambda new: new.update(maker="Theirs"))
    mine = altered(text, lambda new: new.update(maker="Mine"))
    assert lay_over(EquipmentEntry, text, theirs, mine)["maker"] == "Mine"


def test_without_the_original_mine_stands_whole(text: dict[str, Any]) -> None:
    theirs = altered(text, lambda new: new.update(maker="Theirs"))
    assert lay_over(EquipmentEntry, None, theirs, text)["maker"] == "Northlight Barriers"


def test_rows_that_one_side_removed_and_the_other_left_alone_are_gone(text: dict[str, Any]) -> None:
    short = altered(text, lambda new: new["terminals"].pop())
    assert [row["name"] for row in lay_over(EquipmentEntry, text, short, text)["terminals"]] == ["1-2"]
    assert [row["name"] for row in lay_over(EquipmentEntry, text, text, short)["terminals"]] == ["1-2"]


def test_rows_that_one_side_removed_and_the_other_changed_stay(text: dict[str, Any]) -> None:
    short = altered(text, lambda new: new["terminals"].pop())
    busy = altered(text, lambda new: new["terminals"][1].update(uo_v="27 V"))
    for theirs, mine in ((short, busy), (busy, short)):
        laid = lay_over(EquipmentEntry, text, theirs, mine)
        assert [(row["name"], row["uo_v"]) for row in laid["terminals"]] == [("1-2", "28 V"), ("3-4", "27 V")]
    assert "id" not in lay_over(EquipmentEntry, text, short, busy)["terminals"][1]


def test_rows_that_they_or_i_added_are_both_there(text: dict[str, Any]) -> None:
    theirs = altered(text, lambda new: new["terminals"].append(new["terminals"][1] | {"id": "12", "name": "theirs"}))
    mine = altered(text, lambda new: new["terminals"].append({"name": "mine"}))
    names = [row.get("name") for row in lay_over(EquipmentEntry, text, theirs, mine)["terminals"]]
    assert names == ["1-2", "3-4", "mine", "theirs"]
