"""The steps of a loop through the workflow: a POST each, refused in a sentence, nothing typed lost."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from loops.services import approvals
from loops.services.loops import archive_loop, refresh
from loops.services.refusals import WorkflowRefused
from loops.views.page import render_loop, visible_loop
from loops.views.requests import opened_version, person, typed
from registry.services.records import Author, EntryRefused, StaleRecord

MOST_KEYS = 100


def step(request: HttpRequest, pk: int, act: Callable[[int, int], object], done: str) -> HttpResponse:
    """Carry out one step and go back to the loop; a refusal is shown on the loop page with what was typed."""
    loop = visible_loop(request, pk)
    try:
        act(loop.pk, opened_version(request))
    except StaleRecord:
        refusal, status = (
            _("Somebody changed this loop since you opened it. Look at it again, then repeat the step."),
            409,
        )
    except WorkflowRefused as error:
        refusal, status = str(error), 409
    except PermissionDenied as error:
        refusal, status = str(error) or _("You may not do this."), 403
    except EntryRefused as error:
        refusal, status = " ".join(error.messages), 400
    else:
        messages.success(request, done.format(loop.tag))
        return redirect("loop", pk=loop.pk)
    return render_loop(request, visible_loop(request, pk), status=status, refusal=refusal, typed=request.POST)


@require_POST
def submit(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for approval."""
    return step(
        request,
        pk,
        lambda key, version: approvals.submit(
            key, person(request), text=note(request), opened_version=version, reviewers=keys(request, "reviewers")
        ),
        "{} was submitted for approval.",
    )


@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a loop in review back to draft."""
    return step(
        request,
        pk,
        lambda key, version: approvals.take_back(key, person(request), text=note(request), opened_version=version),
        "{} was taken back to draft.",
    )


@require_POST
def return_loop(request: HttpRequest, pk: int) -> HttpResponse:
    """Return a loop in review to its designer with the reasons."""
    return step(
        request,
        pk,
        lambda key, version: approvals.return_loop(key, person(request), text=note(request), opened_version=version),
        "{} was returned to its designer.",
    )


@require_POST
def judge_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Pin the loop to the newest values of the register and judge it again."""
    author = Author(person(request), reason=_("Judged again with the new values of the register"))
    return step(
        request,
        pk,
        lambda key, version: refresh(key, author, opened_version=version),
        "{} was judged again with the values that the register holds now.",
    )


@require_POST
def archive(request: HttpRequest, pk: int) -> HttpResponse:
    """Archive a loop, or bring an archived one back."""
    archived = request.POST.get("archived") == "1"
    author = Author(person(request), reason=note(request)[:400])
    loop = visible_loop(request, pk)
    return step(
        request,
        pk,
        lambda key, version: archive_loop(loop, archived, author, opened_version=version),
        "{} was archived." if archived else "{} was brought back.",
    )


def keys(request: HttpRequest, name: str) -> list[int]:
    """Keys of records that were ticked; what is no key is left out."""
    texts = request.POST.getlist(name)[:MOST_KEYS]
    return [int(text) for text in texts if text.isascii() and text.isdigit() and len(text) < 16]


def note(request: HttpRequest) -> str:
    """The reasons or the note that go with the step."""
    return typed(request, "text", 2000)
