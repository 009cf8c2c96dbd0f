"""What runs out: certificates with an end date, and what others add. Who keeps the register is told once a week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Count
from django.urls import reverse

from registry import access
from registry.models import Certificate, CertificateStatus, NoticeKind, Scheme
from registry.models.schemes import LEAD_DAYS
from registry.services import notices
from registry.services.weekly import once_a_week

DIGEST = "expiry digest"
YEAR = dt.timedelta(days=366)
FIRST_TOLD_AGO = dt.timedelta(days=30)


@dataclass(frozen=True)
class Ending:
    """Something that ends on a day. The last day itself still counts."""

    name: str
    url: str
    note: str
    on: dt.date
    loops: int
    changed_on: dt.date
    """When its date was last looked at: what was typed since the last digest is told though its time came earlier."""
    leads: tuple[int, ...] = LEAD_DAYS

    def days(self, today: dt.date) -> int:
        """Days left; negative when it is over."""
        return (self.on - today).days

    def reached(self, today: dt.date) -> int | None:
        """The narrowest lead time that it has reached, None while it is further off than any."""
        passed = [lead for lead in self.leads if self.days(today) <= lead]
        return min(passed, default=None)


Source = Callable[[dt.date, dt.date], Iterable[Ending]]


def certificate_endings(first: dt.date, last: dt.date) -> list[Ending]:
    """Certificates in use and in force whose end date lies between two days, both included."""
    rows = (
        Certificate.objects.filter(archived_at=None, valid_to__range=(first, last))
        .exclude(status__in=[CertificateStatus.WITHDRAWN, CertificateStatus.SUPERSEDED])
        .annotate(loop_count=Count("terminals__members__circuit__loop", distinct=True))
    )
    leads = leads_by_scheme()
    return [
        Ending(
            name=str(row),
            url=reverse("certificate", args=[row.pk]),
            note=row.scheme,
            on=row.valid_to,
            loops=row.loop_count,
            changed_on=row.changed_at.date(),
            leads=leads.get(row.scheme, LEAD_DAYS),
        )
        for row in rows
        if row.valid_to
    ]


def leads_by_scheme() -> dict[str, tuple[int, ...]]:
    """Days before an end at which it is told, by the name of the scheme."""
    return {scheme.name: scheme.leads for scheme in Scheme.objects.all()}


SOURCES: list[Source] = [certificate_endings]
"""What can run out. Other apps add theirs when they are ready."""


def endings(first: dt.date, last: dt.date) -> list[Ending]:
    """All that ends between two days, the earliest first."""
    found = [ending for source in SOURCES for ending in source(first, last)]
    return sorted(found, key=lambda ending: (ending.on, ending.name))


def reached_since(before: dt.date | None, today: dt.date) -> list[Ending]:
    """What has reached a lead time since a day; without such a day, all that has reached one and is not long over."""
    first = today - (FIRST_TOLD_AGO if before is None else YEAR)
    longest = max((max(leads) for leads in leads_by_scheme().values()), default=0)
    return [
        ending
        for ending in endings(first, today + max(YEAR, dt.timedelta(days=longest)))
        if ending.reached(today) is not None
        and (before is None or ending.changed_on >= before or ending.reached(today) != ending.reached(before))
    ]


def send_digest(today: dt.date) -> str:
    """Tell everybody who keeps the register what has reached a lead time; once in each week of the calendar.

    Returns what was done as a sentence.
    """

    def tell(before: dt.date | None) -> str:
        found = reached_since(before, today)
        sent = notices.send(digest_lines(found, today)) if found else []
        return f"Expiry: {len(found)} reached a lead time; {len(sent)} people told."

    return once_a_week(DIGEST, "Expiry", today, tell)


def digest_lines(found: Sequence[Ending], today: dt.date) -> list[notices.Notice]:
    """One line for each person who may change the register."""
    people = access.people_who_may("register.edit").order_by("pk")
    over = sum(ending.days(today) < 0 for ending in found)
    names = ", ".join(ending.name for ending in found[:3]) + (" …" if len(found) > 3 else "")
    subject = f"{len(found)} run out" if len(found) > 1 else "1 runs out"
    subject += f" ({over} over already): {names}" if over else f": {names}"
    return [notices.tell(person, NoticeKind.EXPIRY, subject, reverse("expiry")) for person in people]
