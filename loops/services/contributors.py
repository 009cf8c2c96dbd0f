"""Who had a hand in a loop since its last approval: they neither approve nor review it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.db.models import Exists, OuterRef, Q

from loops.models import Approval, Confirmation, Loop, Verb, WorkflowEvent
from loops.services.essentials import changes_of_site, places_of
from registry.models import Revision

PINS = ("equipment_revision", "certificate_revision", "cable_type_revision")


def contributors(loop: Loop) -> dict[int, str]:
    """Everybody who had a hand in the loop since its last approval, and how: {user key: what they did}.

    Who saved it, who submitted it, who confirmed a matter of it, and who changed what it rests on: its equipment,
    certificates, cable types, areas, and the values of its site. Before the first issue that is what was changed after
    the loop was first saved. The database refuses them as well (loops/migrations/0010_four_eyes.py), but for who
    changed the site: which of its values count is known here alone.
    """
    approved = loop.approvals.order_by("-pk").select_related("revision").first()
    since = approved.revision.number if approved else 0
    people: dict[int, str] = {}
    saves = Revision.objects.filter(kind="loop", record_id=loop.pk, number__gt=since)
    for author_id in saves.values_list("author_id", flat=True):
        people[author_id] = "changed it"
    events = WorkflowEvent.objects.filter(loop=loop, verb=Verb.SUBMIT)
    if approved:
        events = events.filter(created_at__gt=approved.approved_at)
    for actor_id in events.values_list("actor_id", flat=True):
        people.setdefault(actor_id, "submitted it")
    confirmations = Confirmation.objects.filter(loop=loop)
    if approved:
        confirmations = confirmations.filter(confirmed_at__gt=approved.approved_at)
    for person_id in confirmations.values_list("person_id", flat=True):
        people.setdefault(person_id, "confirmed a matter of it")
    for author_id, label in changed_basis(loop, approved):
        people.setdefault(author_id, f"changed {label}, which it rests on,")
    return people


def changed_basis(loop: Loop, approved: Approval | None) -> Iterator[tuple[int, str]]:
    """Author and name of every change to what a loop rests on, since its last approval (else its first save)."""
    revisions = Revision.objects.filter(kind="loop", record_id=loop.pk)
    newest = revisions.order_by("-number").first()
    start = approved.revision if approved else revisions.order_by("number").first()
    if newest is None or start is None:
        return
    used = pinned(newest.snapshot)
    before = pinned(start.snapshot)
    current = {row.pk: row for row in Revision.objects.filter(pk__in=used | before).defer("snapshot")}
    wanted = Q(pk=None)
    for row in (current[key] for key in used if key in current):
        changes = Q(kind=row.kind, record_id=row.record_id, number__lte=row.number)
        earlier = [
            current[key].number
            for key in before
            if key in current and (current[key].kind, current[key].record_id) == (row.kind, row.record_id)
        ]
        if earlier:
            changes &= Q(number__gt=min(earlier))
        else:
            changes &= Q(created_at__gt=approved.approved_at if approved else start.created_at)
        wanted |= changes
    yield from Revision.objects.filter(wanted).order_by("pk").values_list("author_id", "label")
    areas = places_of(newest.snapshot)["area"]
    moment = approved.approved_at if approved else start.created_at
    yield from Revision.objects.filter(kind="area", record_id__in=areas, created_at__gt=moment).values_list(
        "author_id", "label"
    )
    yield from changes_of_site(loop.site_id, moment)


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
