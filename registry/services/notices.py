"""Telling people: lines in their inbox, and mail later, so that no mail server delays or fails a save.

Mail is sent by the worker, a little after the save, so that many lines of the same minutes are one mail; on a site
without a worker by a thread after the commit. A server that does not answer is left alone for a while and tried again.
"""

from __future__ import annotations

import datetime as dt
import logging
import threading
from collections.abc import Callable, Iterable
from functools import partial
from smtplib import SMTPDataError, SMTPRecipientsRefused, SMTPSenderRefused

from django.conf import settings
from django.core.cache import cache
from django.core.mail import EmailMessage, get_connection
from django.db import connection as database
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django_tasks import default_task_backend

from registry.language import in_language_of
from registry.models import MailHold, Notice, NoticeKind, User
from registry.stored import said

LONGEST = 300
GATHER = dt.timedelta(minutes=2)
"""Lines of so much time go into one mail."""
REST = dt.timedelta(minutes=15)
"""How long a mail server that does not answer is left alone: waiting for it would keep the worker from other work."""
RESTS = "mail-server-rests"
MAIL_AGAIN = dt.timedelta(days=7)
"""Lines that are older stay in the inbox alone."""
REFUSED = (SMTPRecipientsRefused, SMTPSenderRefused, SMTPDataError, ValueError)
"""What one mail meets, and not the next: an address that the server does not know, or that cannot be written."""

logger = logging.getLogger(__name__)


def tell(person: User, kind: NoticeKind, subject: str, link: str) -> Notice:
    """A line for one person, not saved yet: see `send`."""
    return Notice(person=person, kind=kind, subject=subject[:LONGEST], link=link[:LONGEST])


def send(notices: Iterable[Notice]) -> list[Notice]:
    """Put lines into inboxes and have them mailed. Who may not log in any more is told nothing."""
    kept = [notice for notice in notices if notice.person.is_active]
    if kept:
        Notice.objects.bulk_create(kept)
        mail_later([notice.pk for notice in kept], GATHER)
    return kept


def mail_later(keys: list[int], wait: dt.timedelta) -> None:
    """Have lines mailed when some time has passed; without a worker, once the transaction is committed."""
    from registry.tasks import mail_notices

    if default_task_backend.supports_defer:
        mail_notices.using(run_after=timezone.now() + wait).enqueue(keys)
    else:
        transaction.on_commit(partial(in_background, partial(mail, keys)))


def in_background(act: Callable[[], object], what: str = "Mail") -> None:
    """Send something in a thread of its own; `what` is what the log calls it."""

    def run() -> None:
        try:
            act()
        except Exception:
            logger.exception("%s could not be sent", what)
        finally:
            database.close()

    threading.Thread(target=run, name=what.lower()).start()


def mail(keys: Iterable[int], *, anyway: bool = False) -> str:
    """Mail to those whom these lines are for all that waits to be mailed to them, one mail each.

    Says what was done. Whatever the mail server does is logged and raises nothing: what it did not take waits. One that
    did not answer lately is not asked, unless `anyway`.
    """
    people = unmailed().filter(pk__in=list(keys)).values_list("person_id", flat=True)
    by_person: dict[int, list[Notice]] = {}
    for notice in waiting().filter(person__in=set(people)).select_related("person").order_by("person_id", "pk"):
        by_person.setdefault(notice.person_id, []).append(notice)
    if not by_person:
        return "nothing waits."
    if held := MailHold.objects.first():
        return f"none is sent ({held}) until manage.py resume_mail."
    if cache.get(RESTS) and not anyway:
        waits = "1 mail waits" if len(by_person) == 1 else f"{len(by_person)} mails wait"
        return f"{waits}: the mail server did not answer lately."
    sent = refused = 0
    try:
        with get_connection() as server:
            for rows in by_person.values():
                try:
                    server.send_messages([message(rows)])
                except REFUSED as error:
                    refused += 1
                    logger.warning("The mail server does not take mail for %s: %s", rows[0].person.username, error)
                else:
                    sent += 1
                    Notice.objects.filter(pk__in=[row.pk for row in rows]).update(mailed_at=timezone.now())
    except OSError as error:
        left = len(by_person) - sent - refused
        logger.warning("The mail server does not answer, %d mails wait: %s", left, error)
        rest()
        waits = "1 waits" if left == 1 else f"{left} wait"
        return f"{counted(sent)}, {waits}: the mail server does not answer ({error})."
    return counted(sent) + (f", {refused} refused by the mail server." if refused else ".")


def counted(sent: int) -> str:
    return "1 mail sent" if sent == 1 else f"{sent} mails sent"


def rest() -> None:
    """Leave the mail server alone for a while, and have all that waits tried again then."""
    from registry.tasks import mail_waiting

    if cache.add(RESTS, True, REST.total_seconds()) and default_task_backend.supports_defer:
        mail_waiting.using(run_after=timezone.now() + REST + dt.timedelta(seconds=5)).enqueue()


def hold_mail(origin: str) -> None:
    """Mail nobody any more until `resume_mail`, on a site that was put back from a backup of that address."""
    MailHold.objects.all().delete()
    MailHold.objects.create(origin=origin[:300])


def resume_mail() -> str:
    """Mail again, what waits first; says what was done."""
    if not MailHold.objects.all().delete()[0]:
        return "Mail was not held."
    return f"Mail goes out again: {mail_waiting(anyway=True)}"


def mail_waiting(older_than: dt.timedelta = dt.timedelta(0), *, anyway: bool = False) -> str:
    """Mail all that waits, but for the lines of the last minutes, which may be on their way."""
    rows = waiting().filter(at__lte=timezone.now() - older_than)
    return mail(list(rows.values_list("pk", flat=True)), anyway=anyway)


def message(rows: list[Notice]) -> EmailMessage:
    """One mail with all lines for a person, in the language that the person chose."""
    with in_language_of(rows[0].person):
        subject = said(rows[0].subject) if len(rows) == 1 else _("%(count)s notices") % {"count": len(rows)}
        lines = [f"{row.get_kind_display()}: {said(row.subject)}\n{settings.SITE_URL}{row.link}" for row in rows]
    return EmailMessage(f"Unlit: {' '.join(subject.split())}", "\n\n".join(lines) + "\n", to=[rows[0].person.email])


def unmailed() -> QuerySet[Notice]:
    """Lines that wait to be mailed to somebody who has an address and may log in."""
    return Notice.objects.filter(mailed_at=None, person__is_active=True).exclude(person__email="")


def waiting() -> QuerySet[Notice]:
    """Lines that are not too old to be mailed still."""
    return unmailed().filter(at__gte=timezone.now() - MAIL_AGAIN)


def inbox(person: User) -> QuerySet[Notice]:
    """The lines of a person, newest first."""
    return Notice.objects.filter(person=person)


def unread_count(person: User) -> int:
    """How many lines a person has not read."""
    return inbox(person).filter(read_at=None).count()


def unread_of(person: User) -> int:
    """The same, as it came with the person of a request."""
    known: int | None = getattr(person, "unread_notices", None)
    return unread_count(person) if known is None else known


def mark_read(person: User, keys: Iterable[int] | None = None) -> int:
    """Mark lines of a person as read, all of them where `keys` is None."""
    rows = inbox(person).filter(read_at=None)
    return (rows if keys is None else rows.filter(pk__in=list(keys))).update(read_at=timezone.now())
