"""Who had a hand in a loop since its last approval: they neither approve nor review it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from loops.models import Approval, Confirmation, Loop, Verb, WorkflowEvent
from loops.services.essentials import changes_of_site, places_of
from registry.models import Revision

PINS = ("equipment_revision", "certificate_revision", "cable_type_revision")
SAID = ("kind", "record_id", "number", "created_at", "author_id", "label")


def contributors(loop: Loop) -> dict[int, str]:
    """Everybody who had a hand in the loop since its last approval, and how: {user key: what they did}.

    Who saved it, who submitted it, who confirmed a matter of it, and who changed what it rests on: its equipment,
    certificates, cable types, areas, and the values of its site. Before the first issue that is what was changed after
    the loop was first saved. The database refuses them as well (loops/migrations/0010_four_eyes.py), but for who
    changed the site: which of its values count is known here alone.
    """
    return contributors_of([loop])[loop.pk]


def contributors_of(loops: Sequence[Loop]) -> dict[int, dict[int, str]]:
    """What `contributors` says of each of some loops, by their keys; as many queries as for one."""
    found = {loop.pk: Hands(loop) for loop in loops}
    approvals = Approval.objects.filter(loop__in=found).order_by("pk").select_related("revision")
    for approval in approvals.defer("evidence"):
        found[approval.loop_id].approved = approval  # the newest comes last
    read_saves(found)
    read_deeds(found)
    read_basis(found)
    return {key: hands.people for key, hands in found.items()}


class Said(NamedTuple):
    """A change of the register, without its content."""

    kind: str
    record_id: int
    number: int
    created_at: dt.datetime
    author_id: int
    label: str


class Span(NamedTuple):
    """The changes of one record from what a loop rested on to what it rests on now: those above the number `above`,
    where the record was used before, else those after a moment."""

    kind: str
    record_id: int
    upto: int
    above: int | None
    after: dt.datetime

    @property
    def condition(self) -> Q:
        own = Q(kind=self.kind, record_id=self.record_id, number__lte=self.upto)
        return own & (Q(created_at__gt=self.after) if self.above is None else Q(number__gt=self.above))

    def holds(self, change: Said) -> bool:
        if (change.kind, change.record_id) != (self.kind, self.record_id) or change.number > self.upto:
            return False
        return change.created_at > self.after if self.above is None else change.number > self.above


@dataclass
class Hands:
    """What is known of one loop while it is found out who had a hand in it."""

    loop: Loop
    approved: Approval | None = None
    people: dict[int, str] = field(default_factory=dict)
    newest: int | None = None
    start: Revision | None = None
    first: int | None = None

    @property
    def since(self) -> int:
        """The number of the save that was approved last, 0 before the first approval."""
        return self.approved.revision.number if self.approved else 0

    def counts(self, moment: dt.datetime) -> bool:
        """Whether a step that was taken then counts."""
        return self.approved is None or moment > self.approved.approved_at


def read_saves(found: Mapping[int, Hands]) -> None:
    """Who saved each loop, and the keys of its newest and its first save."""
    saves = Revision.objects.filter(kind="loop", record_id__in=found).order_by("number")
    for pk, loop_id, number, author_id in saves.values_list("pk", "record_id", "number", "author_id"):
        hands = found[loop_id]
        hands.newest = pk
        hands.first = hands.first or pk
        if number > hands.since:
            hands.people[author_id] = _("changed it")


def read_deeds(found: Mapping[int, Hands]) -> None:
    """Who submitted each loop and who confirmed a matter of it."""
    events = WorkflowEvent.objects.filter(loop__in=found, verb=Verb.SUBMIT).order_by("pk")
    for loop_id, actor_id, at in events.values_list("loop_id", "actor_id", "created_at"):
        if found[loop_id].counts(at):
            found[loop_id].people.setdefault(actor_id, "submitted it")
    confirmations = Confirmation.objects.filter(loop__in=found).order_by("pk")
    for loop_id, person_id, at in confirmations.values_list("loop_id", "person_id", "confirmed_at"):
        if found[loop_id].counts(at):
            found[loop_id].people.setdefault(person_id, "confirmed a matter of it")


def read_basis(found: Mapping[int, Hands]) -> None:
    """Who changed what each loop rests on, since its last approval (else its first save)."""
    wanted = {key for hands in found.values() for key in (hands.newest, None if hands.approved else hands.first) if key}
    saves = Revision.objects.in_bulk(wanted)
    rests: dict[int, tuple[Mapping[str, Any], Revision, dt.datetime]] = {}
    for loop_id, hands in found.items():
        start = hands.approved.revision if hands.approved else saves.get(hands.first or 0)
        if start is not None and hands.newest in saves:
            moment = hands.approved.approved_at if hands.approved else start.created_at
            rests[loop_id] = saves[hands.newest].snapshot, start, moment
    pins = {key for content, start, _ in rests.values() for key in pinned(content) | pinned(start.snapshot)}
    standing = {row.pk: row for row in Revision.objects.filter(pk__in=pins).defer("snapshot")}
    spans = {
        loop_id: list(spans_of(pinned(content), pinned(start.snapshot), standing, moment))
        for loop_id, (content, start, moment) in rests.items()
    }
    changes = changes_in([span for several in spans.values() for span in several])
    areas = {key for content, _, _ in rests.values() for key in places_of(content)["area"]}
    earliest = min((moment for _, _, moment in rests.values()), default=None)
    of_areas = Revision.objects.filter(kind="area", record_id__in=areas, created_at__gt=earliest) if earliest else None
    moved = said(of_areas) if of_areas is not None else []
    sites = list(Revision.objects.filter(kind="site", record_id__in={hands.loop.site_id for hands in found.values()}))
    for loop_id, (content, _sites, moment) in rests.items():
        hands, places = found[loop_id], places_of(content)["area"]
        told = [(row.author_id, row.label) for row in changes if any(span.holds(row) for span in spans[loop_id])]
        told += [(row.author_id, row.label) for row in moved if row.record_id in places and row.created_at > moment]
        told += changes_of_site([row for row in sites if row.record_id == hands.loop.site_id], moment)
        for author_id, label in told:
            hands.people.setdefault(author_id, f"changed {label}, which it rests on,")


def spans_of(used: set[int], before: set[int], standing: Mapping[int, Revision], moment: dt.datetime) -> Iterator[Span]:
    """What may have changed of each record that a loop rests on now."""
    for row in (standing[key] for key in used if key in standing):
        earlier = [
            standing[key].number
            for key in before
            if key in standing and (standing[key].kind, standing[key].record_id) == (row.kind, row.record_id)
        ]
        yield Span(row.kind, row.record_id, row.number, min(earlier) if earlier else None, moment)


def changes_in(spans: Iterable[Span]) -> list[Said]:
    """The changes in any of some spans, the oldest first."""
    wanted = Q(pk__in=[])
    for span in dict.fromkeys(spans):
        wanted |= span.condition
    return said(Revision.objects.filter(wanted))


def said(revisions: Any) -> list[Said]:
    return [Said(*row) for row in revisions.order_by("pk").values_list(*SAID)]


def pinned(snapshot: Mapping[str, Any]) -> set[int]:
    """Keys of the register revisions that a loop snapshot is pinned to."""
    return {
        row[name]["id"]
        for circuit in snapshot["circuits"]
        for rows in (circuit["members"], circuit["cables"])
        for row in rows
        for name in PINS
        if row.get(name)
    }


def newer_pins(snapshot: Mapping[str, Any]) -> list[str]:
    """Names of the register records that were saved again since a loop snapshot was pinned to them."""
    standing = Revision.objects.filter(pk__in=pinned(snapshot))
    newer = Revision.objects.filter(
        kind=OuterRef("kind"), record_id=OuterRef("record_id"), number__gt=OuterRef("number")
    )
    return list(dict.fromkeys(standing.filter(Exists(newer)).order_by("label").values_list("label", flat=True)))
