"""What a proof rests on of a record of the register, and what was changed of the areas and the site of a loop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Container, Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _

from registry.differences import changes
from registry.entries import ENTRIES, MONTHS
from registry.models import Revision

NOT_BASIS: Mapping[str, frozenset[str]] = {
    "equipment": frozenset({"description", "function", "notes"}),
    "area": frozenset({"name", "drawing"}),
    "site": frozenset({"name", "length_unit", "live_pages", "second_factor", *MONTHS}),
    "cable_type": frozenset({"notes"}),
}
"""Fields that no proof rests on. Whatever is not named here counts."""


def essential(kind: str, content: Mapping[str, Any], sets: Container[int] = ()) -> dict[str, Any]:
    """A snapshot without what no proof rests on: remarks, and sets of terminals that are not used."""
    found = {name: value for name, value in content.items() if name not in NOT_BASIS.get(kind, ())}
    if "terminals" in found:
        found["terminals"] = [row for row in found["terminals"] if row["id"] in sets]
    return found


def in_words(kind: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """What differs between two snapshots, each as "field before → after"."""
    return [
        f"{' '.join(part for part in (item.place, item.label) if part)} {item.before or _('unknown')} → "
        f"{item.after or _('unknown')}"
        for item in changes(ENTRIES[kind], before, after, {})
    ]


def places_of(loop_snapshot: Mapping[str, Any]) -> dict[str, set[int]]:
    """Keys of the areas and of the site that a loop rests on, by their kind."""
    areas = {row["area"]["id"] for circuit in loop_snapshot["circuits"] for row in circuit["members"] if row["area"]}
    return {"area": areas, "site": {loop_snapshot["site"]["id"]}}


def changed_places(loop_snapshot: Mapping[str, Any], since: dt.datetime) -> list[str]:
    """What was changed since a moment of the places that a loop rests on, in words, each with its fields."""
    found = []
    for kind, keys in places_of(loop_snapshot).items():
        for key in sorted(keys):
            revisions = Revision.objects.filter(kind=kind, record_id=key).order_by("-number")
            then, now = revisions.filter(created_at__lte=since).first(), revisions.first()
            if then is None or now is None or then == now:
                continue
            words = in_words(kind, essential(kind, then.snapshot), essential(kind, now.snapshot))
            if words:
                named = {"area": _("area"), "site": _("site")}[kind]
                found.append(f"{named} {now.label}: {', '.join(words)}")
    return found


def changes_of_site(revisions: Iterable[Revision], since: dt.datetime) -> list[tuple[int, str]]:
    """Author and name of every change to what proofs rest on of a site, since a moment, among all its revisions."""
    before = None
    found = []
    for revision in sorted(revisions, key=lambda row: row.number):
        if revision.created_at > since and (
            before is None or essential("site", before.snapshot) != essential("site", revision.snapshot)
        ):
            found.append((revision.author_id, revision.label))
        before = revision
    return found
