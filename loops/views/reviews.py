"""Reviewers, remarks and withdrawals on the loop page: each POST one service, refusals in words, nothing typed lost."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_POST

from loops.models import Approval, Remark, ReviewRequest
from loops.services import approvals, reviews
from loops.views.actions import keys, note, step
from loops.views.requests import person, typed
from loops.views.reviewing import WHOLE_LOOP


@require_POST
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask further people to review a loop that is in review."""
    wanted = keys(request, "reviewers")
    return step(
        request, pk, lambda key, _: reviews.ask_more(key, person(request), wanted), "The reviewers of {} were asked."
    )


@require_POST
def answer(request: HttpRequest, pk: int, request_pk: int) -> HttpResponse:
    """Answer a request to review, or excuse the reviewer."""
    if not ReviewRequest.objects.filter(pk=request_pk, loop_id=pk).exists():
        raise Http404
    word = typed(request, "word", 10)
    return step(
        request,
        pk,
        lambda key, _: reviews.answer_review(request_pk, person(request), word=word, text=note(request)),
        "The answer for {} was recorded.",
    )


@require_POST
def remark(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin a thread on a check or field."""
    about = typed(request, "about", 240)
    return step(
        request,
        pk,
        lambda key, _: reviews.remark(
            key, person(request), text=note(request), about="" if about == WHOLE_LOOP else about
        ),
        "The remark on {} was recorded.",
    )


@require_POST
def reply(request: HttpRequest, pk: int, thread_pk: int) -> HttpResponse:
    """Answer a remark, settle it or take it up again."""
    if not Remark.objects.filter(pk=thread_pk, thread=None, loop_id=pk).exists():
        raise Http404
    kind = typed(request, "kind", 10)
    return step(
        request,
        pk,
        lambda key, _: reviews.reply(thread_pk, person(request), kind=kind, text=note(request)),
        "The answer on {} was recorded.",
    )


@require_POST
def withdraw(request: HttpRequest, pk: int, approval_pk: int) -> HttpResponse:
    """End the issue in force."""
    if not Approval.objects.filter(pk=approval_pk, loop_id=pk).exists():
        raise Http404
    return step(
        request,
        pk,
        lambda key, version: approvals.withdraw(
            approval_pk, person(request), text=note(request), opened_version=version
        ),
        "The issue of {} was withdrawn.",
    )
