"""The position of an item in a loop, and the loop with something else put there: as documents, and as engine input."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice, product
from typing import Any

from django.db.models import QuerySet

from loops.adapters import (
    atmosphere,
    circuit_document,
    confirmed,
    device_document,
    places_of,
    source_document,
    with_marked_epl,
)
from loops.casefile import CaseError, read_document
from loops.engine.tables import Tables
from loops.engine.verdict import decide
from loops.models import Loop, Member
from loops.selectors import HEAVY
from loops.services.suitability.spots import FUNCTION_ORDER, ORDER, Part, Slot, Spot
from loops.services.tables import tables_of
from loops.services.verification import today_at
from loops.services.whatif import Contents, areas_now, at_newest
from registry.models import Equipment, HazardousArea, Terminals

Snapshot = Mapping[str, Any]
MOST_FITS = 24
"""So many ways are tried at most to connect an item of many sets of terminals."""
TYPED = 0
"""The key of an item, and of a certificate, that was typed in and is in no register."""


@dataclass(frozen=True)
class Place:
    """One set of terminals of an item in a loop: circuit and member by their number in the snapshot."""

    circuit: int
    row: int
    member: int
    role: str
    terminals: int

    @property
    def side(self) -> str:
        """What terminals may stand here: those that give energy or those that take it."""
        return Terminals.Side.SOURCE if self.role == Member.Role.SOURCE else Terminals.Side.DEVICE


@dataclass(frozen=True)
class Candidate:
    """An item with its newest contents, and which of its sets of terminals goes to each place of a position."""

    key: int
    item: Snapshot
    certificates: Mapping[int, Snapshot]
    terminals: tuple[int, ...]

    @property
    def name(self) -> str:
        return f"{self.item['maker']} {self.item['type_name']}".strip()

    @property
    def sets(self) -> list[Snapshot]:
        """The chosen sets of terminals, in the order of the places."""
        return [set_of(self.item, key) for key in self.terminals]

    @property
    def terminals_name(self) -> str:
        return " / ".join(row["name"] for row in self.sets)

    def certificate(self, row: Snapshot) -> Snapshot | None:
        """The certificate of one of the sets."""
        return self.certificates[row["certificate"]["id"]] if row["certificate"] else None


def set_of(item: Snapshot, key: int) -> Snapshot:
    """One set of terminals of an item by its key."""
    found: Snapshot = next(row for row in item["terminals"] if row["id"] == key)
    return found


@dataclass(frozen=True)
class Position:
    """An item at a tag of a loop: all places that the same item has there, with the loop at its newest contents."""

    loop: Loop
    content: Snapshot
    """The snapshot of the loop; contents are named by kind and key."""
    tag: str
    standing: Candidate
    places: tuple[Place, ...]

    @property
    def member(self) -> int:
        """The key by which the position is called: that of its first row."""
        return self.places[0].member

    @property
    def circuits(self) -> list[int]:
        """The numbers of the circuits that the item is on."""
        return sorted({place.circuit for place in self.places})


@dataclass
class Plant:
    """Some loops with everything that they rest on at its newest, read in a constant number of queries."""

    loops: Sequence[Loop]
    contents: Contents = field(default_factory=lambda: Contents({}))
    snapshots: dict[int, Snapshot] = field(default_factory=dict)
    areas: dict[int, HazardousArea] = field(default_factory=dict)
    tables: dict[int, Tables | None] = field(default_factory=dict)
    days: dict[int, dt.date] = field(default_factory=dict)

    def __post_init__(self) -> None:
        stored = {loop.pk: loop.verification.revision.snapshot for loop in self.loops if loop.verification}
        self.contents.load_pins(stored.values())
        self.areas = areas_now(stored.values(), {})
        self.snapshots = {key: at_newest(snapshot, self.contents) for key, snapshot in stored.items()}
        sites = {loop.site for loop in self.loops}
        self.tables = {site.pk: tables_of(site) for site in sites}
        self.days = {site.pk: today_at(site) for site in sites}

    @classmethod
    def of(cls, loops: QuerySet[Loop]) -> Plant:
        """The loops of a query, in its order; those that were never judged are left out."""
        found = loops.select_related("site", "owner", "verification__revision").defer(*HEAVY)
        return cls([loop for loop in found if loop.verification_id])

    def positions(self, loop: Loop) -> list[Position]:
        """Every item of a loop, in the order in which it is connected."""
        content = self.snapshots.get(loop.pk)
        rows: dict[tuple[str, int], list[Place]] = {}
        for number, circuit in enumerate(content["circuits"] if content else ()):
            for index, row in enumerate(circuit["members"]):
                key = row["equipment_revision"]["id"][1]
                place = Place(number, index, row["id"], row["role"], row["terminals"]["id"])
                rows.setdefault((row["tag"], key), []).append(place)
        return [
            Position(
                loop, content or {}, tag, self.candidate(key, [place.terminals for place in places]), tuple(places)
            )
            for (tag, key), places in rows.items()
        ]

    def candidate(self, key: int, terminals: Sequence[int]) -> Candidate:
        """An item of the register whose contents are loaded."""
        item = self.contents.snapshots["equipment", key]
        return Candidate(key, item, certificates_of(item, self.contents), tuple(terminals))

    def documents(self, position: Position, candidate: Candidate | None = None) -> list[dict[str, Any]]:
        """The case documents of all circuits of the loop, with a candidate in the position."""
        content = with_candidate(position, candidate) if candidate else position.content
        known = self.contents.snapshots
        if candidate:
            papers = {("certificate", key): paper for key, paper in candidate.certificates.items()}
            known = known | {("equipment", candidate.key): candidate.item} | papers
        site = position.loop.site
        return [
            circuit_document(content, circuit, site, self.areas, known, self.days[site.pk])  # type: ignore[arg-type]
            for circuit in content["circuits"]
        ]

    def spot(self, position: Position) -> Spot | None:
        """The position as engine input; None where a circuit cannot be read, and so cannot be judged either."""
        try:
            cases = [read_document(document) for document in self.documents(position)]
        except CaseError:
            return None
        own = position.circuits
        tables = self.tables[position.loop.site_id]
        rest = [decide(case, tables) for number, case in enumerate(cases) if number not in own]
        slots = tuple(
            Slot(own.index(place.circuit), place.side == Terminals.Side.SOURCE, self._row(position, place))
            for place in position.places
        )
        return Spot(
            tuple(cases[number] for number in own),
            slots,
            min((decision.verdict for decision in rest), key=ORDER.index, default=ORDER[-1]),
            min((decision.function.verdict for decision in rest), key=FUNCTION_ORDER.index, default=FUNCTION_ORDER[-1]),
        )

    def _row(self, position: Position, place: Place) -> int:
        """The number of a member among the sources, or among the devices, of its circuit."""
        members = position.content["circuits"][place.circuit]["members"][: place.row]
        giving = place.role == Member.Role.SOURCE
        return sum((row["role"] == Member.Role.SOURCE) == giving for row in members)

    def shape(self, position: Position) -> tuple[tuple[str, bool, bool], ...]:
        """What decides how a candidate is read for each place: its side, and the atmosphere of the circuit."""
        return tuple(
            (place.side, *atmosphere(places_of(position.content["circuits"][place.circuit], self.areas)))
            for place in position.places
        )


def with_candidate(position: Position, candidate: Candidate) -> dict[str, Any]:
    """The snapshot of a loop with a candidate in the position: a new part, of which nobody knows when it was made."""
    chosen = {(place.circuit, place.row): key for place, key in zip(position.places, candidate.terminals, strict=True)}
    circuits = []
    for number, circuit in enumerate(position.content["circuits"]):
        members = []
        for index, row in enumerate(circuit["members"]):
            if (number, index) in chosen:
                terminals = set_of(candidate.item, chosen[number, index])
                paper = terminals["certificate"]
                row = row | {
                    "terminals": {"id": terminals["id"], "name": f"{candidate.name}, {terminals['name']}"},
                    "equipment_revision": {"id": ("equipment", candidate.key)},
                    "certificate_revision": {"id": ("certificate", paper["id"])} if paper else None,
                    "made_on": None,
                }
            members.append(row)
        circuits.append(circuit | {"members": members})
    return dict(position.content) | {"circuits": circuits}


# --------------------------------------------------------------------------------------------------------- candidates


def certificates_of(item: Snapshot, contents: Contents) -> dict[int, Snapshot]:
    """The newest contents of the certificates that an item rests on."""
    keys = {row["certificate"]["id"] for row in item["terminals"] if row["certificate"]}
    return {key: contents.snapshots["certificate", key] for key in keys}


def fits(position: Position, item: Snapshot) -> Iterator[tuple[int, ...]]:
    """Every way to connect an item in a position: a set of terminals of the right side for each place.

    Sets with the names of those that stand there come first. A set is used twice only where it is used twice now.
    """
    names = [row["name"] for row in position.standing.sets]
    choices = []
    for place, name in zip(position.places, names, strict=True):
        rows = [row for row in item["terminals"] if row["side"] == place.side]
        choices.append([row["id"] for row in sorted(rows, key=lambda row: row["name"] != name)])
    several = len(set(position.standing.terminals))
    ways = (way for way in product(*choices) if len(set(way)) >= several)
    yield from islice(ways, MOST_FITS)


def register_items(items: QuerySet[Equipment], contents: Contents) -> dict[int, Snapshot]:
    """Items of the register at their newest, by key, with their certificates loaded."""
    keys = list(items.values_list("pk", flat=True))
    contents.load("equipment", keys)
    found = {key: contents.snapshots["equipment", key] for key in keys}
    papers = {row["certificate"]["id"] for item in found.values() for row in item["terminals"] if row["certificate"]}
    contents.load("certificate", papers)
    return found


def in_use(kinds: Sequence[str]) -> QuerySet[Equipment]:
    """The items of some kinds that may be chosen: none that is archived."""
    return Equipment.objects.filter(archived_at=None, kind__in=kinds).order_by("maker", "type_name")


def part_of(candidate: Candidate, number: int, side: str, dust: bool, by_code: bool) -> Part | None:
    """One set of terminals of a candidate as engine input; None where it cannot be read."""
    row = candidate.sets[number]
    paper = candidate.certificate(row)
    row = confirmed(with_marked_epl(row, candidate.item.get("marking", "")))
    try:
        if side == Terminals.Side.SOURCE:
            return read_document({"sources": [source_document("part", row, paper, None, dust)]}).sources[0]
        device = device_document("part", row, paper, None, dust, by_code)
        return read_document({"sources": [{"name": "source"}], "devices": [device]}).devices[0]
    except CaseError:
        return None


def parts_of(candidate: Candidate, shape: Sequence[tuple[str, bool, bool]]) -> tuple[Part, ...] | None:
    """The sets of a candidate as engine input, for places of a shape."""
    found = [part_of(candidate, number, *place) for number, place in enumerate(shape)]
    return tuple(part for part in found if part is not None) if all(found) else None
