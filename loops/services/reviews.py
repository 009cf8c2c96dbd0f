"""What reviewers and others say of a loop. Every step has one gait: may – time – record; nothing is ever rewritten."""

from __future__ import annotations

from collections.abc import Iterable

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet, prefetch_related_objects
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Loop, LoopState, Remark, ReviewAnswer, ReviewRequest
from loops.selectors import not_shown
from loops.services.contributors import contributors
from loops.services.refusals import WorkflowRefused
from loops.services.steps import tell_of
from loops.topics import topic_said
from registry import access
from registry.models import Deed, Revision, User
from registry.prepared import PreparedRead
from registry.services.changes import recorded
from registry.services.records import latest_revision, lock

AGREED = "I have reviewed this revision and its verification and have no objection."


def revision_now(loop: Loop) -> Revision:
    """The newest revision of a saved loop."""
    revision = latest_revision(loop)
    assert revision is not None
    return revision


# ---------------------------------------------------------------------------------------------------------- reviewers


def may_review(loop: Loop) -> list[User]:
    """Who can be asked to review: designers and approvers of the site who neither changed nor submitted the loop."""
    deeds = contributors(loop)
    return [person for person in access.people_who_may("loop.review", [loop.site_id]) if person.pk not in deeds]


def requests_now(loop: Loop) -> QuerySet[ReviewRequest]:
    """The requests of the submission that is in review now."""
    requests = ReviewRequest.objects.filter(loop=loop).select_related("reviewer", "asked_by", "answer__actor")
    if loop.state != LoopState.IN_REVIEW or loop.submitted_at is None:
        return requests.none()
    return requests.filter(asked_at__gte=loop.submitted_at)


def ask(loop: Loop, user: User, reviewer_keys: Iterable[int]) -> list[ReviewRequest]:
    """Ask people to review the submission of a loop that is held for writing; who is asked already is not asked twice.

    Raises WorkflowRefused for somebody who cannot review it.
    """
    wanted = set(reviewer_keys)
    possible = {person.pk: person for person in may_review(loop)}
    if wanted - set(possible):
        raise WorkflowRefused(
            _(
                "One of the reviewers cannot review this loop: choose "
                "people with a role as designer or approver at this "
                "site who have not changed or submitted it."
            )
        )
    standing = set(requests_now(loop).values_list("reviewer_id", flat=True))
    asked = [
        ReviewRequest.objects.create(
            loop=loop,
            letter=loop.letter,
            revision=revision_now(loop),
            reviewer=possible[key],
            asked_by=user,
            asked_at=timezone.now(),
        )
        for key in sorted(wanted - standing)
    ]
    for request in asked:
        tell_of(
            Deed.ASK,
            loop,
            user,
            request.revision,
            reviewer=request.reviewer.printed_name,
            reviewer_id=request.reviewer_id,
        )
    return asked


def ask_more(loop_id: int, user: User, reviewer_keys: Iterable[int]) -> list[ReviewRequest]:
    """Ask further people while the loop is in review."""
    with recorded():
        loop = lock(Loop, loop_id, None)
        if not access.may(user, "loop.submit", loop.site):
            access.require(user, "loop.approve", loop.site)
        if loop.state != LoopState.IN_REVIEW:
            raise WorkflowRefused(_("Reviewers can be asked while the loop is in review."))
        keys = list(reviewer_keys)
        if not keys:
            raise WorkflowRefused(_("Choose at least one person to ask."))
        return ask(loop, user, keys)


def answer_review(request_id: int, user: User, *, word: str, text: str = "") -> ReviewAnswer:
    """Answer a request to review, or excuse the reviewer; an objection and an excuse need their reason."""
    with recorded():
        request = ReviewRequest.objects.select_related("loop__site").get(pk=request_id)
        loop = lock(Loop, request.loop_id, None)
        text = text.strip()
        if not requests_now(loop).filter(pk=request.pk).exists():
            raise WorkflowRefused(_("This request belongs to an earlier submission: nothing is left to answer."))
        if ReviewAnswer.objects.filter(request=request).exists():
            raise WorkflowRefused(_("This request is answered already."))
        if word == ReviewAnswer.Word.EXCUSED:
            if user.pk != request.asked_by_id:
                access.require(user, "loop.approve", loop.site)
        else:
            if user.pk != request.reviewer_id:
                raise PermissionDenied(_("Only the person who was asked answers this request."))
            access.require(user, "loop.review", loop.site)
            if deed := contributors(loop).get(user.pk):
                raise PermissionDenied(_("You %(deed)s: somebody else must review it.") % {"deed": deed})
        if word not in ReviewAnswer.Word.values:
            raise WorkflowRefused(_("Say whether you agree or object."))
        if word != ReviewAnswer.Word.AGREED and not text:
            raise WorkflowRefused(_("Say why: the others must know what to mend."))
        answer = ReviewAnswer.objects.create(
            request=request,
            word=word,
            text=text or AGREED,
            actor=user,
            printed_name=user.printed_name,
            answered_at=timezone.now(),
        )
        tell_of(Deed.ANSWER, loop, user, request.revision, answer.text, word=word)
        return answer


# ------------------------------------------------------------------------------------------------------------ remarks


THREADS: PreparedRead[Remark] = PreparedRead(
    lambda loop: (
        Remark.objects.filter(loop_id=loop, thread=None)
        .select_related("author", "revision")
        .defer("revision__snapshot", *not_shown("author"))
    )
)


def remarks_of(loop: Loop) -> list[Remark]:
    """All threads of a loop, open ones first, each with what was said to it."""
    threads = THREADS(loop.pk)
    prefetch_related_objects(threads, "replies__author")
    return sorted(threads, key=lambda thread: not thread.is_open)


def open_remarks(loop: Loop) -> list[Remark]:
    """The threads that nobody settled yet."""
    return [thread for thread in remarks_of(loop) if thread.is_open]


def say(loop: Loop, user: User, text: str, **values: object) -> Remark:
    """Store one row of a thread."""
    remark = Remark.objects.create(
        loop=loop, letter=loop.letter, revision=revision_now(loop), author=user, text=text.strip(), **values
    )
    tell_of(Deed.REMARK, loop, user, remark.revision, remark.text, kind=str(remark.kind), about=remark.about)
    return remark


def remark(loop_id: int, user: User, *, text: str, about: str = "") -> Remark:
    """Begin a thread on a check or field of a loop."""
    with recorded():
        loop = lock(Loop, loop_id, None)
        access.require(user, "loop.remark", loop.site)
        if not text.strip():
            raise WorkflowRefused(_("Write what you want to say."))
        return say(loop, user, text, about=about[:240])


def reply(thread_id: int, user: User, *, kind: str, text: str = "") -> Remark:
    """Answer a remark, settle it or take it up again.

    It is settled by who made it or by an approver who has no part in the loop: nobody waves through a remark on their
    own work.
    """
    with recorded():
        thread = Remark.objects.get(pk=thread_id, thread=None)
        loop = lock(Loop, thread.loop_id, None)
        thread = Remark.objects.get(pk=thread_id)
        access.require(user, "loop.remark", loop.site)
        if kind == Remark.Kind.ANSWER and not text.strip():
            raise WorkflowRefused(_("Write what you want to answer."))
        if kind == Remark.Kind.SETTLED:
            if not thread.is_open:
                raise WorkflowRefused(_("This remark is settled already."))
            if not may_settle(thread, user, contributors(loop)):
                raise PermissionDenied(_("Who made the remark settles it, or an approver who did not change the loop."))
        elif kind == Remark.Kind.REOPENED:
            if thread.is_open:
                raise WorkflowRefused(_("This remark is open: answer it."))
        elif kind != Remark.Kind.ANSWER:
            raise WorkflowRefused(_("Answer the remark, settle it or take it up again."))
        return say(loop, user, text, thread=thread, kind=kind)


def may_settle(thread: Remark, user: User, deeds: dict[int, str]) -> bool:
    """Whether this person may settle a remark."""
    if user.pk == thread.author_id:
        return True
    return access.may(user, "loop.approve", thread.loop.site) and user.pk not in deeds


# ----------------------------------------------------------------------------------------------- what stands in the way


def obstacles_to_sign(loop: Loop) -> list[str]:
    """What reviewers and remarks put in the way of a signature, each with what to do."""
    found = []
    for request in requests_now(loop):
        answer = getattr(request, "answer", None)
        if answer is None:
            found.append(
                _("%(reviewer)s was asked to review it and has not answered: wait for the answer, or excuse them.")
                % {"reviewer": request.reviewer}
            )
        elif answer.word == ReviewAnswer.Word.OBJECTED:
            found.append(
                _("%(reviewer)s objects: %(text)s Return the loop to its designer.")
                % {"reviewer": request.reviewer, "text": answer.text}
            )
    for thread in open_remarks(loop):
        found.append(
            _("An open remark of %(author)s (%(about)s): %(text)s")
            % {"author": thread.author, "about": topic_said(thread.about) or _("the whole loop"), "text": thread.text}
        )
    return found
