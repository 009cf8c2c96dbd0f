"""Where everything of a circuit diagram stands. All lengths are in units of the drawing (about a pixel on a page)."""

from __future__ import annotations

from dataclasses import dataclass

from reports.diagrams.routes import Link, Node, Routes

BOX, NARROW_BOX = 178.0, 142.0
JUNCTION = 14.0
JUNCTION_COLUMN = 70.0
GAP = 96.0
CROSSING = 34.0  # what the boundary of the hazardous area takes in the gap that it runs through
WIDTH = 760.0
WIDEST = 900.0
TOP = 44.0
SPACE = 14.0
CLOSE = 8  # rows from which on they stand closer
LEAD = 12.0  # a line leaves a box this far before it turns
UPRIGHT = 300.0  # the least width of a diagram that runs from top to bottom
NAMES = 34.0  # what the name of the hazardous area takes below its edge
STEP = 35.0  # room for the cable's name between two boxes that stand over each other


@dataclass(frozen=True)
class Box:
    """Place of a node: left, top, width, height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        return self.y + self.height / 2

    @property
    def right(self) -> float:
        return self.x + self.width


@dataclass(frozen=True)
class Wire:
    """A drawn link: its corners, and where its text stands (left end of the line, room for it)."""

    link: Link
    points: tuple[tuple[float, float], ...]
    text_x: float
    text_y: float
    room: float


@dataclass(frozen=True)
class Layout:
    """A finished layout; `boundary` is the x of the hazardous area's edge, `level` its y where that lies across; both
    None where nothing is in one."""

    boxes: dict[str, Box]
    wires: list[Wire]
    boundary: float | None
    width: float
    height: float
    runs_down: bool = False
    level: float | None = None


def lay_out(routes: Routes, roots: list[str], heights: dict[str, float], both_sides: bool = False) -> Layout:
    """Sources left, what they feed to the right; a long daisy chain or trunk runs downwards instead, with its spurs on
    one side, or on both where there is room for that."""
    edge = columns(routes, roots)
    count = max(node.column for node in routes.nodes.values()) + 1
    filled = {node.column for node in routes.nodes.values() if node.item}
    for box in (BOX, NARROW_BOX):
        widths = [box if index in filled else JUNCTION_COLUMN for index in range(count)]
        total = sum(widths) + GAP * (count - 1) + (CROSSING if edge is not None else 0)
        if total <= (WIDTH if box == BOX else WIDEST):
            break
    else:
        lead = safe_lead(routes, roots, edge)
        return upright(routes, lead, heights, both_sides) if lead else downwards(routes, roots, heights, edge)
    spare = max(0.0, WIDTH - total) / max(count - 1, 1)
    lefts: list[float] = []
    x, boundary = CROSSING if edge == 0 else 0.0, None if edge is None else CROSSING / 2
    for index, width in enumerate(widths):
        if index:
            x += GAP + spare + (CROSSING if index == edge else 0)
        if index == edge and index:
            boundary = lefts[-1] + widths[index - 1] + LEAD + CROSSING / 2
        lefts.append(x)
        x += width
    rows(routes, roots)
    step = row_step(routes, roots, heights)
    boxes = {}
    for key, node in routes.nodes.items():
        width = widths[node.column]
        middle = TOP + step * (node.row + 0.5)
        boxes[key] = box_at(node, lefts[node.column], width, middle, heights[key])
    if boundary is not None and edge == count:
        boundary = x + CROSSING / 2
        x += CROSSING
    wires = [wire(link, routes, boxes, boundary) for link in routes.links]
    return Layout(boxes, wires, boundary, max(x, WIDTH), max(box.y + box.height for box in boxes.values()) + SPACE)


def row_step(routes: Routes, roots: list[str], heights: dict[str, float]) -> float:
    """The distance of two rows. A lone source between many rows may be higher than one of them."""
    count = max(node.row for node in routes.nodes.values())
    apart = [height for key, height in heights.items() if len(roots) > 1 or count < 2 or key not in roots]
    return max(apart) + (SPACE if count < CLOSE else SPACE / 2)


def box_at(node: Node, left: float, width: float, middle: float, height: float) -> Box:
    if node.item is None:
        return Box(left + (width - JUNCTION) / 2, middle - JUNCTION / 2, JUNCTION, JUNCTION)
    return Box(left, middle - height / 2, width, height)


def columns(routes: Routes, roots: list[str]) -> int | None:
    """Give every node its column. Returns the first column inside the hazardous area; None where nothing is in one."""
    nodes = routes.nodes
    order = [*roots, *sorted(routes.parent, key=lambda key: depth(key, routes.parent))]
    exposed: dict[str, bool] = {}  # the node, or anything between it and its source, is in the hazardous area
    for key in order:
        above = routes.parent.get(key)
        own = nodes[key].hazardous or (
            nodes[key].item is None and not nodes[key].safe and all_below_hazardous(key, routes)
        )
        exposed[key] = own or (above is not None and exposed[above])
        nodes[key].column = 0 if above is None else nodes[above].column + 1
    if not any(node.hazardous for node in nodes.values()):
        return None
    edge = max((nodes[key].column + 1 for key in order if not exposed[key]), default=0)
    for key in order:
        above = routes.parent.get(key)
        least = 0 if above is None else nodes[above].column + 1
        nodes[key].column = max(least, edge if exposed[key] and above is not None else 0)
    return edge


def depth(key: str, parent: dict[str, str]) -> int:
    count = 0
    while key in parent:
        key, count = parent[key], count + 1
    return count


def all_below_hazardous(key: str, routes: Routes) -> bool:
    """A junction stands in the hazardous area unless something in the safe area hangs on it."""
    below = routes.children(key)
    return all(
        routes.nodes[child].hazardous if routes.nodes[child].item else all_below_hazardous(child, routes)
        for child in below
    )


def rows(routes: Routes, roots: list[str]) -> None:
    """Ends of branches get a row each; what feeds them stands in their middle; sources keep a row's distance."""
    following = 0

    def place(key: str) -> float:
        nonlocal following
        below = routes.children(key)
        if below:
            taken = [place(child) for child in below]
            routes.nodes[key].row = (taken[0] + taken[-1]) / 2
        else:
            routes.nodes[key].row = float(following)
            following += 1
        return routes.nodes[key].row

    for root in roots:
        if routes.children(root):
            place(root)
    wanted = []
    for root in roots:
        beside = [link.end if link.start == root else link.start for link in routes.links if root in link_ends(link)]
        here = [routes.nodes[key].row for key in beside]
        wanted.append(sum(here) / len(here) if here else 0.0)
    taken = spread(wanted)
    for root, row in zip(roots, taken, strict=True):
        routes.nodes[root].row = row
    lift = min(node.row for node in routes.nodes.values())
    if lift < 0:
        for node in routes.nodes.values():
            node.row -= lift


def link_ends(link: Link) -> tuple[str, str]:
    return link.start, link.end


def spread(wanted: list[float]) -> list[float]:
    """Places at least 1 apart, in the given order, around the places that are wanted.

    >>> spread([0.0, 0.0]), spread([0.0, 3.0])
    ([-0.5, 0.5], [0.0, 3.0])
    """
    taken: list[float] = []
    for place in wanted:
        taken.append(max(place, taken[-1] + 1) if taken else place)
    if not taken:
        return taken
    shift = sum(w - t for w, t in zip(wanted, taken, strict=True)) / len(taken)
    return [place + shift for place in taken]


def wire(link: Link, routes: Routes, boxes: dict[str, Box], boundary: float | None) -> Wire:
    """A line from box to box with one turn; it turns late where several meet at its end."""
    start, end = boxes[link.start], boxes[link.end]
    if start.x > end.x:
        start, end = end, start
    x1, y1, x2, y2 = start.right, start.middle, end.x, end.middle
    inner = x1 + LEAD
    if boundary is not None and x1 < boundary < x2:
        inner = boundary + CROSSING / 2
    if abs(y1 - y2) < 1:
        inner = max(inner, x1 + LEAD + 4)
        return Wire(link, ((x1, y1), (x2, y2)), inner, y1, x2 - inner - 4)
    meeting = sum(link.end == other.end for other in routes.links) > 1
    turn = x2 - LEAD if meeting else x1 + LEAD
    points = ((x1, y1), (turn, y1), (turn, y2), (x2, y2))
    if meeting:
        return Wire(link, points, inner, y1, turn - inner - 4)
    return Wire(link, points, max(inner, turn + 4), y2, x2 - max(inner, turn + 4) - 4)


def safe_lead(routes: Routes, roots: list[str], edge: int | None) -> list[str]:
    """What stands in the safe area where that is one source and what follows it, one after the other; else nothing."""
    if len(roots) != 1 or not edge:
        return []
    found = [roots[0]]
    while routes.nodes[found[-1]].column + 1 < edge:
        below = routes.children(found[-1])
        if len(below) != 1 or routes.nodes[below[0]].column >= edge:
            break
        found += below
    return found if len(found) == sum(node.column < edge for node in routes.nodes.values()) else []


def upright(routes: Routes, lead: list[str], heights: dict[str, float], both_sides: bool) -> Layout:
    """A long circuit from top to bottom, narrow enough for a phone: what is safe above, then the boundary, and below it
    the trunk with its spurs."""
    boxes: dict[str, Box] = {}
    y = TOP
    spur = LEAD + GAP
    trunk = spur + BOX if both_sides else 0.0

    def place(key: str, x: float) -> None:
        nonlocal y
        is_item = routes.nodes[key].item is not None
        size = (BOX, heights[key]) if is_item else (JUNCTION, JUNCTION)
        boxes[key] = Box(x, y, *size)
        y += size[1] + STEP
        if key not in lead:
            place_below(key, x)

    def place_below(key: str, x: float) -> None:
        below = sorted(routes.children(key), key=lambda child: bool(routes.children(child)))
        straight = below[-1] if len(below) == 1 or (below and routes.children(below[-1])) else None
        ends = [
            child for child in below if child != straight and routes.nodes[child].item and not routes.children(child)
        ]
        pairs = zip(ends[::2], ends[1::2], strict=False) if both_sides and x == trunk else ()
        paired: set[str] = set()
        for pair in pairs:
            paired.update(pair)
            place_pair(*pair)
        for child in below:
            if child not in paired:
                place(child, x if child == straight else x + spur)

    def place_pair(right: str, left: str) -> None:
        nonlocal y
        height = max(heights[right], heights[left])
        boxes[right] = Box(trunk + spur, y, BOX, height)
        boxes[left] = Box(0.0, y, BOX, height)
        y += height + STEP

    for key in lead:
        place(key, trunk)
    level = y - STEP / 2
    y = level + NAMES + STEP
    place_below(lead[-1], trunk)
    wires = []
    for link in routes.links:
        upper, lower = sorted((boxes[link.start], boxes[link.end]), key=lambda box: box.y)
        x = upper.x + JUNCTION / 2
        if abs(upper.x - lower.x) < 1:
            points: tuple[tuple[float, float], ...] = ((x, upper.y + upper.height), (x, lower.y))
            wires.append(Wire(link, points, x + 6, lower.y - 9, UPRIGHT - 20))
        elif lower.right < x:
            points = ((x, upper.y + upper.height), (x, lower.middle), (lower.right, lower.middle))
            wires.append(Wire(link, points, lower.right + 4, lower.middle, x - lower.right - 8))
        else:
            points = ((x, upper.y + upper.height), (x, lower.middle), (lower.x, lower.middle))
            wires.append(Wire(link, points, x + 6, lower.middle, lower.x - x - 8))
    width = max(UPRIGHT, *(box.right for box in boxes.values()))
    bottom = max(box.y + box.height for box in boxes.values()) + SPACE
    return Layout(boxes, wires, None, width, bottom, runs_down=True, level=level)


def downwards(routes: Routes, roots: list[str], heights: dict[str, float], edge: int | None) -> Layout:
    """Sources and safe-area items left; from the boundary on, what is fed stands below what feeds it."""
    boxes: dict[str, Box] = {}
    wires: list[Wire] = []
    safe = [key for key, node in routes.nodes.items() if edge is not None and node.column < edge]
    first = max((routes.nodes[key].column for key in [*safe, *roots]), default=0) + 1
    left = first * (BOX + GAP) - GAP
    boundary = None if edge is None else left + LEAD + CROSSING / 2
    start_x = left + GAP + (CROSSING if edge is not None else 0)
    y = TOP
    placed: list[str] = []

    def place(key: str, x: float) -> None:
        nonlocal y
        height = heights[key]
        boxes[key] = Box(x, y, BOX, height) if routes.nodes[key].item else Box(x, y, JUNCTION, JUNCTION)
        placed.append(key)
        y += (height if routes.nodes[key].item else JUNCTION) + STEP
        below = sorted(routes.children(key), key=lambda child: bool(routes.children(child)))
        straight = below[-1] if len(below) == 1 or (below and routes.children(below[-1])) else None
        for child in below:
            place(child, x if child == straight else x + LEAD + GAP)

    y_safe = TOP
    for key in [*roots, *(key for key in safe if key not in roots)]:
        x = routes.nodes[key].column * (BOX + GAP)
        boxes[key] = box_at(routes.nodes[key], x, BOX, y_safe + heights[key] / 2, heights[key])
        if routes.nodes[key].column == 0:
            y_safe += heights[key] + SPACE
    for key in [*roots, *safe]:
        for child in routes.children(key):
            if child not in boxes:
                if not placed and routes.nodes[child].item is None:
                    y = boxes[key].middle - JUNCTION / 2  # the trunk leaves the source without a kink
                place(child, start_x)
    for link in routes.links:
        a, b = boxes[link.start], boxes[link.end]
        if a.right < b.x and link.start not in placed:
            wires.append(wire(link, routes, boxes, boundary))
        elif abs(a.x - b.x) < 1:
            x = a.x + JUNCTION / 2
            upper, lower = (a, b) if a.y < b.y else (b, a)
            straight = ((x, upper.y + upper.height), (x, lower.y))
            wires.append(Wire(link, straight, x + 6, lower.y - 9, WIDEST - x))
        else:
            upper, lower = (a, b) if a.y < b.y else (b, a)
            x = upper.x + JUNCTION / 2
            turned = ((x, upper.y + upper.height), (x, lower.middle), (lower.x, lower.middle))
            wires.append(Wire(link, turned, x + 6, lower.middle, lower.x - x - 8))
    width = max(max(box.right for box in boxes.values()), WIDTH)
    bottom = max(box.y + box.height for box in boxes.values()) + SPACE
    return Layout(boxes, wires, boundary, width, bottom, runs_down=True)
