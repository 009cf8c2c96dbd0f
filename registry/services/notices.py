"""Telling people: lines in their inbox, and mail by a task, so that no mail server delays or fails a save."""

from __future__ import annotations

from collections.abc import Iterable

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db.models import QuerySet
from django.utils import timezone

from registry.models import Notice, NoticeKind, User

LONGEST = 300


def tell(person: User, kind: NoticeKind, subject: str, link: str) -> Notice:
    """A line for one person, not saved yet: see `send`."""
    return Notice(person=person, kind=kind, subject=subject[:LONGEST], link=link[:LONGEST])


def send(notices: Iterable[Notice]) -> list[Notice]:
    """Put lines into inboxes and have them mailed. Who may not log in any more is told nothing."""
    from registry.tasks import mail_notices

    kept = [notice for notice in notices if notice.person.is_active]
    if kept:
        Notice.objects.bulk_create(kept)
        mail_notices.enqueue([notice.pk for notice in kept])
    return kept


def mail(keys: Iterable[int]) -> int:
    """Mail lines that were not mailed yet, one mail for each person who has an address; gives the number of mails.

    Raises what the mail server raises; what was sent before that is marked as sent.
    """
    waiting = unmailed().filter(pk__in=list(keys)).select_related("person").order_by("person_id", "pk")
    by_person: dict[int, list[Notice]] = {}
    for notice in waiting:
        by_person.setdefault(notice.person_id, []).append(notice)
    if not by_person:
        return 0
    with get_connection() as connection:
        for rows in by_person.values():
            connection.send_messages([message(rows)])
            Notice.objects.filter(pk__in=[row.pk for row in rows]).update(mailed_at=timezone.now())
    return len(by_person)


def message(rows: list[Notice]) -> EmailMessage:
    """One mail with all lines for a person."""
    subject = rows[0].subject if len(rows) == 1 else f"{len(rows)} notices"
    lines = [f"{row.get_kind_display()}: {row.subject}\n{settings.SITE_URL}{row.link}" for row in rows]
    return EmailMessage(f"Unlit: {' '.join(subject.split())}", "\n\n".join(lines) + "\n", to=[rows[0].person.email])


def unmailed() -> QuerySet[Notice]:
    """Lines that wait to be mailed to somebody who has an address and may log in."""
    return Notice.objects.filter(mailed_at=None, person__is_active=True).exclude(person__email="")


def inbox(person: User) -> QuerySet[Notice]:
    """The lines of a person, newest first."""
    return Notice.objects.filter(person=person)


def unread_count(person: User) -> int:
    """How many lines a person has not read."""
    return inbox(person).filter(read_at=None).count()


def mark_read(person: User, keys: Iterable[int] | None = None) -> int:
    """Mark lines of a person as read, all of them where `keys` is None."""
    rows = inbox(person).filter(read_at=None)
    return (rows if keys is None else rows.filter(pk__in=list(keys))).update(read_at=timezone.now())
