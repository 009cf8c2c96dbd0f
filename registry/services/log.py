"""Reading the change log: what a person may see of it, narrowed by who, what, when and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db.models import Q, QuerySet

from registry import access
from registry.models import Change, User

PERSON_KIND = "person"


def visible_changes(user: User) -> QuerySet[Change]:
    """Deeds at the person's sites and in the shared register; those about people only for who keeps people."""
    found = Change.objects.filter(Q(site_id__in=access.sites_of(user)) | Q(site=None))
    return found if access.may(user, "site.people") else found.exclude(kind=PERSON_KIND)


def reason_of(change: Change) -> str:
    """Why it was done, in the words of whoever did it: the reason of a save, the text of a step."""
    return str(change.detail.get("reason") or change.detail.get("text") or "")


def kinds_in(changes: QuerySet[Change]) -> list[str]:
    """The kinds of records that some deeds are about."""
    return sorted(changes.order_by().values_list("kind", flat=True).distinct())


HEADINGS = (
    "number",
    "when",
    "who",
    "what was done",
    "kind",
    "record",
    "site",
    "revision",
    "by way of",
    "why",
    "digest",
)


def table_rows(changes: QuerySet[Change]) -> Iterator[list[str]]:
    """Deeds as rows of a table under HEADINGS, times as ISO 8601 in UTC."""
    for change in changes.select_related("site").iterator(chunk_size=2000):
        detail = change.detail
        yield [
            str(change.number),
            change.at.astimezone(dt.UTC).isoformat(timespec="seconds"),
            change.actor_name,
            change.verb_text,
            change.kind,
            change.label,
            change.site.code if change.site else "",
            str(detail.get("revision", "")),
            str(detail.get("origin", "")),
            reason_of(change),
            change.digest,
        ]
