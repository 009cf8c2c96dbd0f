"""Reviewers, remarks and withdrawals on the loop page: each POST one service, refusals in words, nothing typed lost."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from loops.models import Approval, LoopState, Remark, ReviewRequest
from loops.services import approvals, reviews
from loops.views.actions import keys, note, step
from loops.views.page import visible_loop
from loops.views.requests import person, typed
from loops.views.reviewing import WHOLE_LOOP, may_ask
from registry import access


@require_http_methods(["GET", "HEAD", "POST"])
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """Who can be asked to review a loop, with its submission or while it is in review; asks them in review."""
    if request.method != "POST":
        return show_people(request, pk)
    wanted = keys(request, "reviewers")
    return step(
        request,
        pk,
        lambda key, version: reviews.ask_more(key, person(request), wanted),
        _("The reviewers of {} were asked."),
    )


def show_people(request: HttpRequest, pk: int) -> HttpResponse:
    """Whom one may choose: finding out who had a hand in a loop takes many looks, so the loop's page does without."""
    loop, user = visible_loop(request, pk), person(request)
    if not access.may(user, "loop.submit", loop.site):
        access.require(user, "loop.approve", loop.site)
    if not may_ask(loop, user):
        return redirect("loop", pk=loop.pk)
    asked = {item.reviewer_id for item in reviews.requests_now(loop)} | {user.pk}
    context = {
        "section": "loops",
        "crumbs": [
            {"text": _("Loops"), "url": reverse("loop_list")},
            {"text": loop.tag, "url": reverse("loop", args=[loop.pk])},
            {"text": _("Ask for a review"), "url": ""},
        ],
        "loop": loop,
        "in_review": loop.state == LoopState.IN_REVIEW,
        "reviewers": [item for item in reviews.may_review(loop) if item.pk not in asked],
    }
    return render(request, "loops/ask.html", context)


@require_POST
def answer(request: HttpRequest, pk: int, request_pk: int) -> HttpResponse:
    """Answer a request to review, or excuse the reviewer."""
    if not ReviewRequest.objects.filter(pk=request_pk, loop_id=pk).exists():
        raise Http404
    word = typed(request, "word", 10)
    return step(
        request,
        pk,
        lambda key, version: reviews.answer_review(request_pk, person(request), word=word, text=note(request)),
        _("The answer for {} was recorded."),
    )


@require_POST
def remark(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin a thread on a check or field."""
    about = typed(request, "about", 240)
    return step(
        request,
        pk,
        lambda key, version: reviews.remark(
            key, person(request), text=note(request), about="" if about == WHOLE_LOOP else about
        ),
        _("The remark on {} was recorded."),
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
        lambda key, version: reviews.reply(thread_pk, person(request), kind=kind, text=note(request)),
        _("The answer on {} was recorded."),
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
        _("The issue of {} was withdrawn."),
    )
