"""The drawn block diagram: nothing is left out, nothing runs over anything, hostile text stays text."""

from __future__ import annotations

import itertools
import re
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from reports.diagrams import Item, Plan, Run, draw, plan_of_case
from reports.diagrams.drawing import cut, text_width
from reports.diagrams.layout import Layout, lay_out
from reports.diagrams.parts import same_place
from reports.diagrams.routes import item_key, routes_of

NS = "{http://www.w3.org/2000/svg}"
ZONE = "Bay (Zone 1, IIC, T4)"


def source(tag: str = "S1", **values: Any) -> Item:
    return Item(tag, "source", **({"type_name": "Maker NB-28", "lines": ("Uo 28 V",)} | values))


def device(tag: str, role: str = "device", area: str = ZONE, **values: Any) -> Item:
    return Item(tag, role, type_name="Maker SP-100", area=area, hazardous=bool(area), **values)


def plan(items: list[Item], runs: list[tuple[str, str, str]]) -> Plan:
    return Plan("Circuit 1", tuple(items), tuple(Run(tag, start, end, "10 m", "Pair") for tag, start, end in runs))


def laid_out(drawn: Plan, both_sides: bool = False) -> Layout:
    routes = routes_of(drawn)
    roots = [item_key(item.tag) for item in drawn.sources]
    return lay_out(routes, roots, {key: 60.0 if node.item else 30.0 for key, node in routes.nodes.items()}, both_sides)


def star(count: int) -> Plan:
    runs = [("W0", "S1", "JB-1")] + [(f"W{n}", "JB-1", f"D{n}") for n in range(1, count + 1)]
    return plan([source(), *(device(f"D{n}") for n in range(1, count + 1))], runs)


def chain(count: int) -> Plan:
    points = ["S1", *(f"D{n}" for n in range(1, count + 1))]
    return plan(
        [source(), *(device(f"D{n}") for n in range(1, count + 1))],
        [(f"W{n}", *pair) for n, pair in enumerate(itertools.pairwise(points))],
    )


def trunk(count: int) -> Plan:
    runs = [("T1", "S1", "JB1")] + [(f"T{n}", f"JB{n - 1}", f"JB{n}") for n in range(2, count + 1)]
    runs += [(f"P{n}", f"JB{n}", f"D{n}") for n in range(1, count + 1)]
    return plan([source(), *(device(f"D{n}") for n in range(1, count + 1))], runs)


PLANS = {
    "one device": plan([source(), device("D1")], [("W1", "S1", "D1")]),
    "from a cabinet": plan([source(), device("D1")], [("W1", "Cabinet 1", "D1")]),
    "no routes": plan([source(), device("D1"), device("D2")], [("W1", "", ""), ("W2", "", "")]),
    "no cables": plan([source(), device("D1"), device("D2"), device("D3")], []),
    "two sources": plan(
        [source("S1"), source("S2"), device("D1")], [("W1", "S1", "JB"), ("W2", "S2", "JB"), ("W3", "JB", "D1")]
    ),
    "two sources without routes": plan([source("S1"), source("S2"), device("D1"), device("D2")], [("W1", "", "")]),
    "two sources in a cabinet": plan(
        [source("S1"), source("S2"), device("D1")], [("W1", "Cabinet 1", "JB"), ("W2", "JB", "D1")]
    ),
    "two sources in two cabinets": plan(
        [source("S1"), source("S2"), device("D1")], [("W1", "Cabinet 1", "D1"), ("W2", "Cabinet 2", "D1")]
    ),
    "protected at both ends": plan(
        [source(), device("SPD-1", "inline", ""), device("SPD-2", "inline"), device("D1")],
        [("W1", "S1", "SPD-1"), ("W2", "SPD-1", "SPD-2"), ("W3", "SPD-2", "D1")],
    ),
    "source in the area": plan([source(area=ZONE, hazardous=True), device("D1")], [("W1", "S1", "D1")]),
    "ring": plan([source(), device("D1"), device("D2")], [("W1", "S1", "D1"), ("W2", "D1", "D2"), ("W3", "D2", "S1")]),
    "an island": plan([source(), device("D1"), device("D2")], [("W1", "S1", "D1"), ("W2", "JB-9", "D2")]),
    "to itself": plan([source(), device("D1")], [("W1", "D1", "D1")]),
    "two runs side by side": plan([source(), device("D1")], [("W1", "S1", "D1"), ("W2", "S1", "D1")]),
    **{f"star of {n}": star(n) for n in (2, 5, 16)},
    **{f"chain of {n}": chain(n) for n in (3, 16)},
    **{f"trunk of {n}": trunk(n) for n in (4, 16)},
}


@pytest.mark.parametrize("name", PLANS)
def test_every_item_and_run_is_drawn(name: str) -> None:
    drawn = PLANS[name]
    root = ET.fromstring(draw(drawn))
    shown = [text.text for text in root.iter(f"{NS}text")]
    for item in drawn.items:
        assert item.tag in shown
    titles = " ".join(title.text or "" for title in root.iter(f"{NS}title"))
    for run in drawn.runs:
        assert run.tag in titles


@pytest.mark.parametrize("name", PLANS)
def test_no_box_stands_on_another_and_all_stand_inside(name: str) -> None:
    layout = laid_out(PLANS[name])
    for box in layout.boxes.values():
        assert box.x >= 0 and box.y >= 0
        assert box.right <= layout.width + 0.1 and box.y + box.height <= layout.height
    for one, other in itertools.combinations(layout.boxes.values(), 2):
        apart = (
            one.right <= other.x
            or other.right <= one.x
            or one.y + one.height <= other.y
            or other.y + other.height <= one.y
        )
        assert apart


@pytest.mark.parametrize("name", PLANS)
def test_the_boundary_parts_what_is_safe_from_what_is_not(name: str) -> None:
    drawn = PLANS[name]
    layout = laid_out(drawn)
    assert (layout.boundary is None) != (layout.level is None)
    for item in drawn.items:
        box = layout.boxes[item_key(item.tag)]
        if layout.level is not None:
            assert box.y > layout.level if item.hazardous else box.y + box.height < layout.level
        elif item.hazardous:
            assert layout.boundary is not None and box.x > layout.boundary
        else:
            assert layout.boundary is not None and box.right < layout.boundary


@pytest.mark.parametrize("name", ["chain of 16", "trunk of 16"])
def test_sixteen_devices_in_a_row_fit_on_a_phone(name: str) -> None:
    layout = laid_out(PLANS[name])
    assert layout.level is not None and layout.width <= 340
    xs = {wire.points[0][0] for wire in layout.wires}
    for wire in layout.wires:  # a spur leaves the trunk between the boxes that stand there, and goes over none
        (x, top), (_, bottom) = wire.points[0], wire.points[1]
        crossed = [box for box in layout.boxes.values() if box.x < x < box.right and top < box.middle < bottom]
        assert not crossed and len(xs) <= 2


def segment() -> Plan:
    """Sixteen devices on four junction boxes, four spurs each."""
    boxes = [f"JB{n}" for n in range(1, 5)]
    runs = [(f"T{n}", *pair) for n, pair in enumerate(itertools.pairwise(["S1", *boxes]))]
    runs += [(f"P{n}", boxes[(n - 1) // 4], f"D{n}") for n in range(1, 17)]
    return plan([source(), *(device(f"D{n}") for n in range(1, 17))], runs)


def test_on_paper_a_full_segment_has_its_spurs_on_both_sides() -> None:
    narrow, broad = laid_out(segment()), laid_out(segment(), both_sides=True)
    assert broad.height < 0.7 * narrow.height and narrow.width < 340 < broad.width
    for one, other in itertools.combinations(broad.boxes.values(), 2):
        beside = one.right <= other.x or other.right <= one.x
        assert beside or one.y + one.height <= other.y or other.y + other.height <= one.y
    assert {wire.link.end for wire in broad.wires} == {wire.link.end for wire in narrow.wires}


@pytest.mark.parametrize("name", ["from a cabinet", "two sources in a cabinet"])
def test_the_cabinet_of_the_sources_stands_in_the_safe_area(name: str) -> None:
    layout = laid_out(PLANS[name])
    assert layout.boundary is not None
    assert layout.boxes["junction:cabinet 1"].right < layout.boundary
    assert "diagram-loose" not in draw(PLANS[name])


def test_without_a_hazardous_item_there_is_no_boundary() -> None:
    assert laid_out(plan([source(), device("D1", area="")], [("W1", "S1", "D1")])).boundary is None


def test_a_route_that_nobody_recorded_is_a_broken_line_and_said() -> None:
    recorded = draw(PLANS["one device"])
    guessed = draw(PLANS["no cables"])
    assert "route is not recorded" in guessed and "diagram-loose" in guessed
    assert "route is not recorded" not in recorded and "diagram-loose" not in recorded


@pytest.mark.parametrize("name", PLANS)
def test_the_drawing_obeys_the_policy_of_the_pages(name: str) -> None:
    text = draw(PLANS[name])
    assert not re.search(r"style=|<style|<script|\son\w+=|javascript:|href=", text)


def test_it_is_named_and_described_for_those_who_do_not_see_it() -> None:
    root = ET.fromstring(draw(PLANS["protected at both ends"], "d7"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "d7-title d7-desc"
    assert {child.get("id") for child in root if child.get("id")} == {"d7-title", "d7-desc"}
    words = root.findtext(f"{NS}desc") or ""
    for part in ("Source S1", "Inline item SPD-1", "in the safe area", f"in {ZONE}", "Cable W2 from SPD-1 to SPD-2"):
        assert part in words


HOSTILE = "<script>alert(1)</script>&amp;\" ' ]]> \x00\x0b\ud800 \u202e" + "x" * 200


def test_hostile_text_stays_text_and_is_whole_in_the_title() -> None:
    drawn = Plan(
        HOSTILE,
        (
            Item(HOSTILE, "source", HOSTILE, HOSTILE, (HOSTILE,)),
            Item(HOSTILE + "2", "device", HOSTILE, "", (HOSTILE,), HOSTILE, True, True, True),
        ),
        (Run(HOSTILE, HOSTILE, "another", HOSTILE, HOSTILE),),
        HOSTILE,
    )
    text = draw(drawn)
    root = ET.fromstring(text)
    assert "<script" not in text
    whole = HOSTILE.replace("\x00", "\ufffd").replace("\x0b", "\ufffd").replace("\ud800", "\ufffd")
    assert any(whole in (title.text or "") for title in root.iter(f"{NS}title"))


def test_long_text_is_cut_to_its_room() -> None:
    for room in (20, 60, 150):
        shown = cut("Pressure transmitter of the second column, north", 10, room)
        assert shown.endswith("…") and text_width(shown, 10) <= room


def test_no_text_is_estimated_narrower_than_it_is() -> None:
    """Against the real metrics of DejaVu Sans, the widest type that a page may fall back to, with 12 % to spare."""
    font_manager = pytest.importorskip("matplotlib.font_manager")
    textpath = pytest.importorskip("matplotlib.textpath")
    font = font_manager.FontProperties(family="DejaVu Sans")
    for text in (
        "PT-1101",
        "Northlight Barriers NB-28",
        "Uo 25.2 V · Io 95 mA · Po 0.6 W",
        "W-PT-1101 · 300 m",
        "MWMWM",
    ):
        path = textpath.TextPath((0, 0), text, size=10, prop=font)
        assert path.get_extents().width <= text_width(text, 10) * 1.12


@pytest.mark.parametrize(
    "typed, tag",
    [
        ("PT-1", "PT-1"),
        ("pt-1", "PT-1"),
        (" PT-1  terminals 3 ", "PT-1"),
        ("PT-10", "PT-10"),
        ("PT-1A", None),
        ("PT-1-X", None),
        ("JB", None),
    ],
)
def test_a_typed_point_means_the_tag_that_it_names(typed: str, tag: str | None) -> None:
    assert same_place(typed, ["PT-1", "PT-10"]) == tag


def test_a_case_document_alone_can_be_drawn() -> None:
    document = {
        "case": "Free",
        "area": {"class": "I", "division": "1", "group": "A"},
        "sources": [{"name": "S1", "Uo": "28 V"}],
        "devices": [{"name": "D1", "kind": "simple", "isolated_from_earth": False}, {"name": "D2"}],
        "cables": [{"name": "W1", "length": "5 m"}, {"name": "W2"}],
    }
    text = draw(plan_of_case(document))
    for part in ("S1", "D1", "D2", "W1 · 5 m", "W2", "Class I, Division 1", "Io ?", "Earth sign", "simple apparatus"):
        assert part in text
    ET.fromstring(draw(plan_of_case({})))
    ET.fromstring(draw(plan_of_case({"sources": [{"name": "S1"}], "cables": None})))
