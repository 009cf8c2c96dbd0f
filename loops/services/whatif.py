"""What the verdict of loops would be with the register as it stands now, or as it would stand after a change.

A loop keeps the revisions that it is pinned to. Here its newest revision is judged with the newest contents in their
place; nothing is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from loops.adapters import circuit_document
from loops.engine.tables import Tables
from loops.models import Loop
from loops.services.contributors import pinned
from loops.services.tables import tables_of
from loops.services.verification import AREAS, judge_by, summary, today_at, without_day
from registry.models import HazardousArea, Revision, Site
from registry.models.base import Record
from registry.selectors import LOOPS_BY_KIND
from registry.services.records import latest_revision_ids

PORTION = 100
Key = tuple[str, int]


@dataclass(frozen=True)
class Proposal:
    """A record of the register as it would be: the row, and its snapshot."""

    record: Record
    snapshot: Mapping[str, Any]


@dataclass(frozen=True)
class WhatIf:
    """The verdict of one loop with other contents of the register; `loop.verification` is the one that it has."""

    loop: Loop
    inputs: list[dict[str, Any]]
    results: list[dict[str, Any]]
    head: Mapping[str, Any]
    """As loops.services.verification.summary."""

    @property
    def touches_inputs(self) -> bool:
        """Whether what is judged differs at all, but for the day."""
        before = self.loop.verification
        return before is None or not same_inputs(before.inputs, self.inputs)

    @property
    def changes_verdict(self) -> bool:
        before = self.loop.verification
        return before is None or (before.verdict, before.function_verdict) != (
            self.head["verdict"],
            self.head["function_verdict"],
        )

    @property
    def margins(self) -> tuple[Decimal | None, Decimal | None]:
        """The least margin as stored, and as it would be."""
        before = self.loop.verification
        return (before.least_margin if before else None), self.head["least_margin"]


def same_inputs(one: Sequence[Mapping[str, Any]], other: Sequence[Mapping[str, Any]]) -> bool:
    """Whether two lists of case documents are the same, but for the day."""
    return list(map(without_day, one)) == list(map(without_day, other))


@dataclass
class Contents:
    """Newest snapshots of the register by kind and key, read in portions; proposals stand in for what is stored."""

    proposals: Mapping[Key, Proposal]
    snapshots: dict[Key, Mapping[str, Any]] = field(default_factory=dict)
    records: dict[int, int] = field(default_factory=dict)
    """The record of each revision that a loop is pinned to."""

    def load(self, kind: str, keys: Iterable[int]) -> None:
        """Read the newest snapshots of some records that are not known yet."""
        missing = {key for key in keys if (kind, key) not in self.snapshots}
        for key in missing:
            if (kind, key) in self.proposals:
                self.snapshots[kind, key] = self.proposals[kind, key].snapshot
        missing -= {key for name, key in self.proposals if name == kind}
        newest = latest_revision_ids(kind, sorted(missing))
        stored = Revision.objects.in_bulk(list(newest.values()))
        self.snapshots |= {(kind, key): stored[revision].snapshot for key, revision in newest.items()}

    def load_pins(self, snapshots: Iterable[Mapping[str, Any]]) -> None:
        """Read everything that some loop snapshots rest on."""
        pins = {pin for snapshot in snapshots for pin in pinned(snapshot)} - set(self.records)
        kinds: dict[str, set[int]] = {}
        for pk, kind, record_id in Revision.objects.filter(pk__in=pins).values_list("pk", "kind", "record_id"):
            self.records[pk] = record_id
            kinds.setdefault(kind, set()).add(record_id)
        for kind in ("equipment", "cable_type"):
            self.load(kind, kinds.get(kind, ()))
        # Terminals may rest on another certificate now than the one that the loop is pinned to.
        certificates = {
            terminals["certificate"]["id"]
            for (kind, _), content in self.snapshots.items()
            if kind == "equipment"
            for terminals in content["terminals"]
            if terminals["certificate"]
        }
        self.load("certificate", certificates)


def loops_of(kind: str, keys: Iterable[int]) -> QuerySet[Loop]:
    """The loops in use that rest on one of some records of the register, at all sites."""
    using = Loop.objects.filter(**{f"{LOOPS_BY_KIND[kind]}__in": list(keys)}, archived_at=None)
    return Loop.objects.filter(pk__in=using.values("pk"))


def whatifs(loops: QuerySet[Loop], proposals: Mapping[Key, Proposal] | None = None) -> Iterator[WhatIf]:
    """Judge loops with the newest contents of the register, proposals first; in their order, a portion at a time."""
    contents = Contents(proposals or {})
    keys = list(loops.values_list("pk", flat=True))
    for start in range(0, len(keys), PORTION):
        chunk = keys[start : start + PORTION]
        found = Loop.objects.select_related("site", "owner", "verification__revision").in_bulk(chunk)
        yield from judged([found[key] for key in chunk if found[key].verification], contents)


def judged(
    loops: Sequence[Loop], contents: Contents, other_tables: Mapping[int, Tables | None] | None = None
) -> Iterator[WhatIf]:
    """Judge loops; `other_tables` are ignition-curve tables by site that stand in for those that the site uses."""
    snapshots = {loop.pk: loop.verification.revision.snapshot for loop in loops if loop.verification}
    contents.load_pins(snapshots.values())
    areas = areas_now(snapshots.values(), contents.proposals)
    tables = {site.pk: tables_of(site) for site in {loop.site for loop in loops}} | dict(other_tables or {})
    for loop in loops:
        site = contents.proposals.get(("site", loop.site_id))
        place: Site = site.record if site else loop.site  # type: ignore[assignment]
        content = at_newest(snapshots[loop.pk], contents)
        day = today_at(place)
        inputs = [
            circuit_document(content, circuit, place, areas, contents.snapshots, day)  # type: ignore[arg-type]
            for circuit in content["circuits"]
        ]
        results = judge_by(inputs, tables[place.pk])
        yield WhatIf(loop, inputs, results, summary(results))


def areas_now(snapshots: Iterable[Mapping[str, Any]], proposals: Mapping[Key, Proposal]) -> dict[int, HazardousArea]:
    """The areas that some loops reach into."""
    keys = {
        row["area"]["id"]
        for snapshot in snapshots
        for circuit in snapshot["circuits"]
        for row in circuit["members"]
        if row["area"]
    }
    areas = {area.pk: area for area in AREAS(keys)}
    return areas | {key: item.record for (kind, key), item in proposals.items() if kind == "area"}  # type: ignore[return-value]


def at_newest(snapshot: Mapping[str, Any], contents: Contents) -> dict[str, Any]:
    """A loop snapshot that names contents by kind and key where it was pinned to revisions."""

    def newest(kind: str, key: int) -> dict[str, Any]:
        return {"id": (kind, key)}

    circuits = []
    for circuit in snapshot["circuits"]:
        members, cables = [], []
        for row in circuit["members"]:
            equipment = contents.records[row["equipment_revision"]["id"]]
            sets = contents.snapshots["equipment", equipment]["terminals"]
            certificate = next(item for item in sets if item["id"] == row["terminals"]["id"])["certificate"]
            pins = {
                "equipment_revision": newest("equipment", equipment),
                "certificate_revision": newest("certificate", certificate["id"]) if certificate else None,
            }
            members.append(row | pins)
        for row in circuit["cables"]:
            pin = row["cable_type_revision"]
            now = newest("cable_type", contents.records[pin["id"]]) if pin else None
            cables.append(row | {"cable_type_revision": now})
        circuits.append(circuit | {"members": members, "cables": cables})
    return dict(snapshot) | {"circuits": circuits}
