"""A circuit as SVG: safe area left, the boundary of the hazardous area, what stands in it right.

The drawing has no style of its own but presentation attributes, so it obeys a policy without inline style; a page may
dress it by its classes: diagram, diagram-box, diagram-source, diagram-device, diagram-inline, diagram-simple,
diagram-wire, diagram-loose, diagram-boundary, diagram-hatch, diagram-area, diagram-tag, diagram-small, diagram-cable,
diagram-cut (what hides the line under a text). It says everything in one colour.
"""

from __future__ import annotations

import re
import unicodedata
from xml.etree import ElementTree as ET

from django.utils.translation import gettext as _

from reports.diagrams.layout import JUNCTION, LEAD, SPACE, TOP, Box, Layout, Wire, lay_out
from reports.diagrams.parts import Item, Plan
from reports.diagrams.routes import Node, Routes, item_key, routes_of

TAG_SIZE, TEXT_SIZE, CABLE_SIZE = 12.5, 10.5, 10.0
LINE = 13.5
BOLD = 1.15
"""How much wider bold type is."""
NARROW, WIDE = frozenset("iljtfrI.,:;|!'()[]{} /\\-·"), frozenset("mwMWQGO@%—–≤≥ΩÄÖÜ…")
CROWDED = 8
NAME_ROOM = 78.0
"""What the name of a junction below it may take."""
NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def text_width(text: str, size: float) -> float:
    """About how wide a text is in a plain sans-serif type; rather too wide than too narrow."""
    units = 0.0
    for character in text:
        if unicodedata.east_asian_width(character) in "WF":
            units += 1.05
        elif character in NARROW:
            units += 0.36
        elif character in WIDE:
            units += 0.88
        elif character.isupper():
            units += 0.72
        else:
            units += 0.58
    return units * size


def cut(text: str, size: float, room: float) -> str:
    """The text, or as much of it as fits with an ellipsis.

    >>> cut("PT-1101", 12, 200), cut("A very long name indeed", 12, 60)
    ('PT-1101', 'A very l…')
    """
    if text_width(text, size) <= room:
        return text
    while text and text_width(text + "…", size) > room:
        text = text[:-1]
    return f"{text.rstrip()}…"


def in_two(text: str, room: float) -> list[str]:
    """The text in one line, or in two where one has no room for it.

    >>> in_two("KM-24 24x2x1.0", 200), in_two("KM-24 24x2x1.0", 60), in_two("KM-24", 10)
    (['KM-24 24x2x1.0'], ['KM-24', '24x2x1.0'], ['KM-24'])
    """
    words = text.split()
    if text_width(text, TEXT_SIZE) <= room or len(words) < 2:
        return [text]
    first = 1
    while text_width(" ".join(words[: first + 1]), TEXT_SIZE) <= room:
        first += 1
    return [" ".join(words[:first]), " ".join(words[first:])]


def clean(text: str) -> str:
    """Characters that XML cannot hold are replaced, not dropped: that something stood there stays visible."""
    return NOT_XML.sub("\ufffd", text)


def add(parent: ET.Element, name: str, text: str = "", **attributes: object) -> ET.Element:
    """A child element; `class_` is its class, underscores are hyphens, numbers are written shortly."""
    written = {
        key.rstrip("_").replace("_", "-"): f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else str(value)
        for key, value in attributes.items()
    }
    child = ET.SubElement(parent, name, written)
    if text:
        child.text = clean(text)
    return child


def item_lines(item: Item) -> list[str]:
    """What stands in a box under its tag."""
    role = _("Inline item") if item.role == "inline" else ""
    plain = not any(character.isalpha() for character in item.terminals)
    terminals = (
        (_("terminals %(terminals)s") % {"terminals": item.terminals}) if item.terminals and plain else item.terminals
    )
    place = item.area if item.hazardous else ""
    return [line for line in (item.type_name, terminals, role, *item.lines, place) if line]


def lines_of(plan: Plan) -> dict[str, list[str]]:
    """The lines of every item. Many devices are drawn shortly: their area only where there are several."""
    devices = [item for item in plan.items if item.role != "source"]
    if len(devices) <= CROWDED:
        return {item_key(item.tag): item_lines(item) for item in plan.items}
    several = len({item.area for item in devices if item.hazardous}) > 1
    short = {
        item_key(item.tag): [line for line in (item.type_name, item.area if several else "") if line]
        for item in devices
    }
    return {item_key(item.tag): item_lines(item) for item in plan.sources} | short


def draw(plan: Plan, ident: str = "circuit", font: str = "", *, paper: bool = False) -> str:
    """The diagram of one circuit as an <svg> element.

    `ident` begins the ids that name and describe it, and must differ between drawings of one page. `font` is written
    into the drawing where it is not part of a page that sets it. On `paper` a long trunk has its spurs on both sides.
    """
    routes = routes_of(plan)
    roots = [item_key(item.tag) for item in plan.sources] or list(routes.nodes)[:1]
    svg = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "class": "diagram", "role": "img"})
    if not routes.nodes:
        finish(svg, plan, ident, 760, 40)
        return ET.tostring(svg, encoding="unicode")
    lines = lines_of(plan)
    heights = {key: 13 + TAG_SIZE + LINE * len(lines[key]) if node.item else 30.0 for key, node in routes.nodes.items()}
    layout = lay_out(routes, roots, heights, both_sides=paper)
    notes = notes_of(routes)
    height = layout.height + (16 if notes else 0)
    finish(svg, plan, ident, layout.width, height)
    if font:
        svg.set("font-family", font)
    boundary(svg, plan, layout)
    for wire in layout.wires:
        draw_wire(svg, wire)
    for key, box in layout.boxes.items():
        node = routes.nodes[key]
        if node.item:
            draw_item(svg, node.item, box, lines[key])
        else:
            # Where the line runs down, the name has room beside it; where it runs across, below it.
            across = layout.boundary is not None and box.x < layout.boundary
            draw_junction(svg, node, box, beside=layout.runs_down and not across)
    if notes:
        small(svg, 0.0, layout.height + 8, " ".join(notes), layout.width)
    return ET.tostring(svg, encoding="unicode")


def finish(svg: ET.Element, plan: Plan, ident: str, width: float, height: float) -> None:
    """Size, name and description of the drawing."""
    svg.set("viewBox", f"-2 0 {width + 4:.0f} {height:.0f}")
    svg.set("width", f"{width + 4:.0f}")
    svg.set("height", f"{height:.0f}")
    svg.set("aria-labelledby", f"{ident}-title {ident}-desc")
    add(svg, "title", (_("Block diagram of %(name)s") % {"name": plan.name}), id=f"{ident}-title")
    add(svg, "desc", describe(plan), id=f"{ident}-desc")


def describe(plan: Plan) -> str:
    """The diagram in words."""
    sentences = []
    for item in plan.items:
        role = {"source": _("Source"), "inline": _("Inline item")}.get(item.role, _("Field device"))
        place = f"in {item.area}" if item.hazardous else _("in the safe area")
        facts = ", ".join(part for part in (item.type_name, item.terminals, *item.lines, place) if part)
        sentences.append(f"{role} {item.tag}: {facts}.")
    for run in plan.runs:
        ends = _(" from %(start)s to %(end)s") % {
            "start": run.start or "a point not named",
            "end": run.end or "a point not named",
        }
        ends = ends if run.start or run.end else ""
        facts = ", ".join(part for part in (run.length, run.type_name) if part)
        sentences.append(_("Cable %(tag)s%(ends)s: %(facts)s.") % {"tag": run.tag, "ends": ends, "facts": facts})
    return " ".join(sentences)


def notes_of(routes: Routes) -> list[str]:
    notes = []
    if any(node.item and node.item.simple for node in routes.nodes.values()):
        notes.append(_("Dashed box: simple apparatus."))
    if any(node.item and node.item.earthed for node in routes.nodes.values()):
        notes.append(_("Earth sign: connected to earth."))
    if any(not link.recorded for link in routes.links):
        notes.append(_("Broken line: the route is not recorded."))
    return notes


def small(parent: ET.Element, x: float, y: float, text: str, room: float, **more: object) -> None:
    shown = cut(text, TEXT_SIZE, room)
    add(parent, "text", shown, class_="diagram-small", x=x, y=y, font_size=TEXT_SIZE, fill="currentColor", **more)


def boundary(svg: ET.Element, plan: Plan, layout: Layout) -> None:
    """The edge of the hazardous area: a broken line with strokes on the dangerous side, and both sides named."""
    if layout.level is not None:
        edge_across(svg, plan, layout, layout.level)
        return
    x = layout.boundary
    if x is None:
        area_name(svg, 0.0, _("Safe area"), "", layout.width)
        return
    bottom = layout.height - SPACE / 2
    strokes = "".join(f"M{x:.1f} {y + 7}l7 -7" for y in range(4, int(bottom) - 6, 11))
    edge(svg, f"M{x:.1f} 4V{bottom:.1f}", strokes)
    if x > 60:
        area_name(svg, 0.0, _("Safe area"), "", x - 8)
    if layout.width - x > 60:
        area_name(svg, x + 14, _("Hazardous area"), plan.area, layout.width - x - 14)


def edge_across(svg: ET.Element, plan: Plan, layout: Layout, level: float) -> None:
    """The edge of the hazardous area where that lies below the safe one."""
    strokes = "".join(f"M{x} {level + 7:.1f}l7 -7" for x in range(2, int(layout.width) - 6, 11))
    edge(svg, f"M0 {level:.1f}H{layout.width:.1f}", strokes)
    area_name(svg, 0.0, _("Safe area"), "", layout.width)
    area_name(svg, 24.0, _("Hazardous area"), plan.area, layout.width - 24.0, level + 7.0)


def edge(svg: ET.Element, line: str, strokes: str) -> None:
    """A broken line with strokes beside it."""
    group = add(svg, "g", class_="diagram-boundary")
    ink = {"fill": "none", "stroke": "currentColor"}
    add(group, "path", d=line, **ink, stroke_width=1.6, stroke_dasharray="9 3 2 3")
    add(group, "path", class_="diagram-hatch", d=strokes, **ink, stroke_width=0.7)


def area_name(svg: ET.Element, x: float, name: str, area: str, room: float, top: float = 0.0) -> None:
    shown = add(
        svg,
        "text",
        name,
        class_="diagram-area",
        x=x,
        y=top + 14.0,
        font_size=10.0,
        font_weight="bold",
        letter_spacing=0.6,
        fill="currentColor",
    )
    if area:
        add(shown, "title", area)
        small(svg, x, top + 27.0, cut(area, TEXT_SIZE, room), room)


def draw_wire(svg: ET.Element, wire: Wire) -> None:
    """A line with the names and lengths of its runs above it and their types below."""
    link = wire.link
    group = add(svg, "g", class_="diagram-wire" if link.recorded else "diagram-wire diagram-loose")
    if link.runs:
        add(group, "title", "; ".join(f"{run.text} · {run.type_name}".rstrip(" ·") for run in link.runs))
    path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in wire.points)
    line = {} if link.recorded else {"stroke_dasharray": "4 4"}
    add(group, "path", d=path, fill="none", stroke="currentColor", stroke_width=1.3, **line)
    if not link.runs:
        return
    shown = link.runs if len(link.runs) <= 3 else link.runs[:2]
    words = [run.text for run in shown]
    if len(shown) == 1 and text_width(words[0], CABLE_SIZE * BOLD) > wire.room:
        words = [shown[0].tag, shown[0].length]  # two lines rather than a length that is cut away
    if len(link.runs) > 3:
        words.append(_("and %(runs)s more runs") % {"runs": len(link.runs) - 2})
    for index, text in enumerate(reversed(words)):
        add(
            group,
            "text",
            cut(text, CABLE_SIZE * BOLD, wire.room),
            class_="diagram-cable",
            x=wire.text_x,
            y=wire.text_y - 4 - index * 11.5,
            font_size=CABLE_SIZE,
            font_weight="bold",
            fill="currentColor",
        )
    if len(link.runs) == 1 and link.runs[0].type_name and wire.points[-1][1] == wire.points[-2][1]:
        for index, text in enumerate(in_two(link.runs[0].type_name, wire.room)):
            small(group, wire.text_x, wire.text_y + 12 + 11.5 * index, text, wire.room)


def draw_item(svg: ET.Element, item: Item, box: Box, lines: list[str]) -> None:
    """A source has a heavy left side, a field device round corners, an inline item a bar at both ends."""
    kind = {"source": "diagram-source", "inline": "diagram-inline"}.get(item.role, "diagram-device")
    group = add(svg, "g", class_=f"diagram-box {kind}" + (" diagram-simple" if item.simple else ""))
    add(group, "title", "; ".join([item.tag, item.type_name, item.terminals, *item.lines, item.area or _("safe area")]))
    dashes = {"stroke_dasharray": "5 3"} if item.simple else {}
    shape: dict[str, object] = {"x": box.x, "y": box.y, "width": box.width, "height": box.height}
    radius = 9.0 if item.role == "device" else 1.0
    shape |= {"rx": radius, "fill": "none", "stroke": "currentColor", "stroke_width": 1.3}
    add(group, "rect", "", **shape, **dashes)
    bars = {"source": [box.x], "inline": [box.x, box.right - 4]}.get(item.role, [])
    for x in bars:
        add(group, "rect", x=x, y=box.y, width=4.0, height=box.height, fill="currentColor")
    x, room = box.x + 11, box.width - 20
    y = box.y + 6 + TAG_SIZE
    add(
        group,
        "text",
        cut(item.tag, TAG_SIZE * BOLD, room),
        class_="diagram-tag",
        x=x,
        y=y,
        font_size=TAG_SIZE,
        font_weight="bold",
        fill="currentColor",
    )
    for text in lines:
        y += LINE
        small(group, x, y, text, room)
    if item.earthed:
        earth(group, box.right - 16, box.y + box.height)


def earth(group: ET.Element, x: float, y: float) -> None:
    """The sign of a connection to earth."""
    path = f"M{x:.1f} {y:.1f}v5m-6 0h12m-10 2.5h8m-6 2.5h4"
    add(group, "path", d=path, fill="none", stroke="currentColor", stroke_width=1.1)


def draw_junction(svg: ET.Element, node: Node, box: Box, beside: bool) -> None:
    """A junction: a square with a cross; a nameless branching point: a dot."""
    middle_x, middle_y = box.x + box.width / 2, box.middle
    group = add(svg, "g", class_="diagram-junction")
    if not node.name:
        add(group, "path", d=f"M{box.x:.1f} {middle_y:.1f}H{box.right:.1f}", stroke="currentColor", stroke_width=1.3)
        add(group, "circle", cx=middle_x, cy=middle_y, r=3.2, fill="currentColor")
        return
    add(group, "title", node.name)
    add(
        group,
        "rect",
        class_="diagram-cut",
        x=box.x,
        y=box.y,
        width=box.width,
        height=box.height,
        fill="none",
        stroke="currentColor",
        stroke_width=1.3,
    )
    side = f"{box.width:.1f}"
    cross = f"M{box.x:.1f} {box.y:.1f}l{side} {side}m0 -{side}l-{side} {side}"
    add(group, "path", d=cross, fill="none", stroke="currentColor", stroke_width=0.8)
    if beside:
        small(group, box.right + 5, middle_y + 3.5, node.name, 200)
    elif text_width(cut(node.name, TEXT_SIZE, NAME_ROOM), TEXT_SIZE) / 2 > JUNCTION / 2 + LEAD - 3:
        # Beside the lines that leave the junction and turn down.
        small(group, box.right + LEAD - 4, box.y + box.height + 12, node.name, NAME_ROOM, text_anchor="end")
    else:
        small(group, middle_x, box.y + box.height + 12, node.name, NAME_ROOM, text_anchor="middle")


__all__ = ["TOP", "cut", "describe", "draw", "text_width"]
