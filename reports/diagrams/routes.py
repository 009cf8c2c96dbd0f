"""Which item is joined to which, from the points that people typed for each run of cable."""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import dataclass, field

from reports.diagrams.parts import Item, Plan, Run, same_place


@dataclass
class Node:
    """A thing to draw: an item, or a junction (`item` None) with the name that was typed for it."""

    key: str
    name: str
    item: Item | None = None
    safe: bool = False
    column: int = 0
    row: float = 0.0

    @property
    def hazardous(self) -> bool:
        return self.item is not None and self.item.hazardous


@dataclass
class Link:
    """A connection between two nodes with the runs that make it; `recorded` False where nobody wrote the route."""

    start: str
    end: str
    runs: list[Run] = field(default_factory=list)
    recorded: bool = True


@dataclass
class Routes:
    """The circuit as nodes and links, each link from the source outwards; `parent` is the tree that is drawn."""

    nodes: dict[str, Node]
    links: list[Link]
    parent: dict[str, str]

    def children(self, key: str) -> list[str]:
        return [child for child, above in self.parent.items() if above == key]


def item_key(tag: str) -> str:
    return f"item:{tag}"


def routes_of(plan: Plan) -> Routes:
    """The network of a plan. What is not recorded is joined all the same, so that every item and run is shown."""
    if not plan.items:
        return Routes({}, [], {})
    nodes = {item_key(item.tag): Node(item_key(item.tag), item.tag, item) for item in plan.items}
    roots = [item_key(item.tag) for item in plan.sources] or list(nodes)[:1]
    links: dict[frozenset[str], Link] = {}
    loose: list[Run] = []
    tags = [item.tag for item in plan.items]
    for run in plan.runs:
        ends = [point(text, tags, nodes) for text in (run.start, run.end)]
        if ends[0] is None and ends[1] is not None and len(roots) == 1 and ends[1] != roots[0]:
            ends[0] = roots[0]
        start, end = ends
        if start is None or end is None or start == end:
            loose.append(run)
            continue
        links.setdefault(frozenset((start, end)), Link(start, end)).runs.append(run)
    found = list(links.values())
    found += at_the_sources(roots, nodes, found)
    parent = walk(roots, found)
    hub = trunk(roots, nodes, found, parent, loose)
    for root in roots[1:]:  # a second source that no run reaches
        if not any(root in (link.start, link.end) for link in found) and hub not in roots:
            found.append(Link(root, hub, recorded=False))
    pending = [key for key in nodes if key not in parent and key not in roots]
    for key in pending:
        if key not in parent:
            found.append(Link(hub, key, recorded=False))
            parent.update(walk([*roots, *parent], found, parent))
    return Routes(nodes, outward(found, roots, parent), parent)


def at_the_sources(roots: list[str], nodes: dict[str, Node], links: list[Link]) -> list[Link]:
    """Joints to the sources of points that runs begin at and none ends at: the cabinet or terminals they sit in.

    Of several such points with several sources nobody knows which belongs to which: then there is none.
    """
    ends = {link.end for link in links}
    begun = dict.fromkeys(link.start for link in links if link.start not in ends and nodes[link.start].item is None)
    named = {key for link in links for key in (link.start, link.end)}
    sources = [root for root in roots if len(roots) == 1 or root not in named]
    if len(sources) > 1 and len(begun) > 1:
        return []
    for key in begun if sources else ():
        nodes[key].safe = not any(nodes[root].hazardous for root in sources)
    return [Link(root, key) for root in sources for key in begun]


def point(text: str, tags: list[str], nodes: dict[str, Node]) -> str | None:
    """The node of a typed point; an unknown name becomes a junction, an empty text nothing."""
    if not text.strip():
        return None
    if (tag := same_place(text, tags)) is not None:
        return item_key(tag)
    name = " ".join(text.split())
    key = f"junction:{name.casefold()}"
    nodes.setdefault(key, Node(key, name))
    return key


def walk(roots: list[str], links: list[Link], known: dict[str, str] | None = None) -> dict[str, str]:
    """From the sources outwards, nearest first: the parent of every node that is reached."""
    beside: dict[str, list[str]] = defaultdict(list)
    for link in links:
        beside[link.start].append(link.end)
        beside[link.end].append(link.start)
    parent = dict(known or {})
    queue = deque(roots)
    while queue:
        key = queue.popleft()
        for other in beside[key]:
            if other not in parent and other not in roots:
                parent[other] = key
                queue.append(other)
    return parent


def trunk(roots: list[str], nodes: dict[str, Node], links: list[Link], parent: dict[str, str], loose: list[Run]) -> str:
    """The node that everything without a recorded route hangs on.

    Runs without points of their own lie in the trunk: between the first source and the only device, or else a new
    branching point.
    """
    root = roots[0]
    waiting = [key for key, node in nodes.items() if node.item and key not in roots and key not in parent]
    if not loose:
        if (len(waiting) > 1 and not parent) or (len(roots) > 1 and waiting):
            return branch(root, nodes, links, parent, [])
        counts = {key: sum(key in (link.start, link.end) for link in links) for key in [root, *parent]}
        return max(counts, key=lambda key: (counts[key], key == root))
    if len(waiting) == 1 and len(roots) == 1:
        links.append(Link(root, waiting[0], list(loose), recorded=True))
        parent[waiting[0]] = root
        return root
    return branch(root, nodes, links, parent, list(loose))


def branch(root: str, nodes: dict[str, Node], links: list[Link], parent: dict[str, str], runs: list[Run]) -> str:
    """A nameless branching point next to the source."""
    key = "branch:"
    nodes[key] = Node(key, "")
    links.append(Link(root, key, runs, recorded=bool(runs)))
    parent[key] = root
    return key


def outward(links: list[Link], roots: list[str], parent: dict[str, str]) -> list[Link]:
    """Turn every link so that it leads away from the sources."""

    def depth(key: str) -> int:
        count = 0
        while key in parent and count < len(parent) + 1:
            key, count = parent[key], count + 1
        return count

    for link in links:
        if parent.get(link.start) == link.end or depth(link.start) > depth(link.end):
            link.start, link.end = link.end, link.start
    return links
