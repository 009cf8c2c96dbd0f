"""Long work: asked for by a page, done by the worker, watched and cancelled by who asked.

Other packages put who does a kind of work into `RUNNERS` when they are ready. A runner reads what is asked, tells how
far it is, and gives an outcome; whether the person may still do it is asked by the runner, when it runs. It keeps no
transaction open while it works: how far it is must be seen from outside.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import access
from registry.models import NoticeKind, User, Work, WorkState
from registry.services import notices
from registry.tasks import do_work

logger = logging.getLogger(__name__)

TOLD_EVERY_S = 0.5
MOST_WAITING = 5
"""How many pieces of work of one person may wait or run at the same time."""


class WorkRefused(Exception):
    """The work is not begun, or did not come to an end; the text says why and what to do."""


class WorkCancelled(Exception):
    """Who asked for the work does not want it any more."""


class FileDamaged(Exception):
    """The stored file is missing or differs from its digest: it is given to nobody."""


@dataclass(frozen=True)
class Outcome:
    """What came of a piece of work: a sentence, plain data to show, and a file where there is one."""

    words: str
    result: Mapping[str, Any] = field(default_factory=dict)
    content: bytes = b""
    file_name: str = ""
    media_type: str = ""


class Progress:
    """How far a piece of work is. Telling it is cheap: it is written twice a second at most."""

    def __init__(self, work: Work) -> None:
        self.work = work
        self.done = self.total = 0
        self.told_at = 0.0

    def begin(self, total: int) -> None:
        """So many steps are to be done."""
        self.done, self.total = 0, total
        self.tell()

    def step(self, count: int = 1) -> None:
        """Some steps are done. Raises WorkCancelled where the person does not want it any more."""
        self.done += count
        if time.monotonic() - self.told_at >= TOLD_EVERY_S:
            self.tell()

    def tell(self) -> None:
        """Write down how far it is. Raises WorkCancelled."""
        self.told_at = time.monotonic()
        wanted = Work.objects.filter(pk=self.work.pk, cancel_asked=False)
        if not wanted.update(done=self.done, total=self.total):
            raise WorkCancelled


Runner = Callable[[Work, Progress], Outcome]
RUNNERS: dict[str, Runner] = {}
"""Who does a kind of work."""


def works_of(user: User) -> QuerySet[Work]:
    """The long work of a person, newest first; for a token of one site what was begun for that site alone."""
    found = Work.objects.filter(person=user)
    site_id = access.only_site(user)
    return found if site_id is None else found.filter(asked__only_site=site_id)


def begin(user: User, kind: str, title: str, asked: Mapping[str, Any]) -> Work:
    """Ask for a piece of work. Raises WorkRefused where too much of this person waits already."""
    if kind not in RUNNERS:
        raise KeyError(kind)
    with transaction.atomic():
        waiting = works_of(user).filter(state__in=[WorkState.WAITING, WorkState.RUNNING]).count()
        if waiting >= MOST_WAITING:
            raise WorkRefused(
                _("%(count)s pieces of your work are under way: wait for one, or cancel one.") % {"count": waiting}
            )
        site_id = access.only_site(user)
        narrowed = {} if site_id is None else {"only_site": site_id}
        work = Work.objects.create(person=user, kind=kind, title=title[:200], asked=dict(asked) | narrowed)
        do_work.enqueue(work.pk)
    return work


def do(pk: int) -> str:
    """Do a piece of work that waits; one that is under way or has ended is left alone."""
    mine = Work.objects.filter(pk=pk, state=WorkState.WAITING)
    if not mine.update(state=WorkState.RUNNING, started_at=timezone.now()):
        return _("Nothing to do.")
    work = Work.objects.select_related("person").get(pk=pk)
    if (site_id := work.asked.get("only_site")) is not None:
        access.narrow(work.person, access.Narrowing(site_id, writes=True))
    progress = Progress(work)
    try:
        progress.tell()
        outcome = RUNNERS[work.kind](work, progress)
        keep(work, outcome)
        state, words = WorkState.DONE, outcome.words
    except WorkCancelled:
        state, words = WorkState.CANCELLED, _("Cancelled: nothing of it was kept.")
    except (WorkRefused, PermissionDenied) as error:
        state, words = WorkState.FAILED, str(error) or _("You may not do this any more.")
    except Exception:
        logger.exception("Long work %s (%s) failed", pk, work.kind)
        state, words = WorkState.FAILED, _("Something went wrong: tell the administrator.")
    Work.objects.filter(pk=pk).update(state=state, words=words, ended_at=timezone.now())
    if state != WorkState.CANCELLED:
        line = notices.tell(work.person, NoticeKind.WORK, f"{work.title}: {words}"[:300], reverse("work", args=[pk]))
        notices.send([line])
    return words


def keep(work: Work, outcome: Outcome) -> None:
    """Keep what came of a piece of work, and its file in the store."""
    changes: dict[str, Any] = {"result": dict(outcome.result)}
    if outcome.content:
        mark = hashlib.sha256(outcome.content).hexdigest()
        changes |= {
            "stored_as": default_storage.save(f"works/{work.pk}-{mark[:16]}", ContentFile(outcome.content)),
            "file_name": outcome.file_name[:200],
            "media_type": outcome.media_type,
            "sha256": mark,
            "size_bytes": len(outcome.content),
        }
    Work.objects.filter(pk=work.pk).update(**changes)


def cancel(work: Work) -> None:
    """Cancel a piece of work: one that waits ends at once, one that is under way at its next step."""
    waits = Work.objects.filter(pk=work.pk, state=WorkState.WAITING)
    if not waits.update(state=WorkState.CANCELLED, words=_("Cancelled before it began."), ended_at=timezone.now()):
        Work.objects.filter(pk=work.pk, state=WorkState.RUNNING).update(cancel_asked=True)


def content_of(work: Work) -> bytes:
    """The stored file, after checking that it is the one that was made. Raises FileDamaged."""
    try:
        with default_storage.open(work.stored_as) as file:
            content: bytes = file.read()
    except OSError as error:
        raise FileDamaged(_("This file is missing from the store: make it again.")) from error
    if hashlib.sha256(content).hexdigest() != work.sha256:
        raise FileDamaged(_("This file does not match its digest: make it again, and tell the administrator."))
    return content


def forget(age: dt.timedelta) -> int:
    """Forget what ended longer ago than that, and end what no worker can be doing any more; how many were forgotten."""
    now = timezone.now()
    lost = Work.objects.filter(state=WorkState.RUNNING, started_at__lt=now - dt.timedelta(days=1))
    lost.update(state=WorkState.FAILED, words=_("The worker was stopped: ask for it again."), ended_at=now)
    count = 0
    for work in Work.objects.filter(ended_at__lt=now - age).order_by("pk"):
        if work.stored_as:
            default_storage.delete(work.stored_as)
        work.delete()
        count += 1
    return count
