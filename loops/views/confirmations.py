"""Confirming the matters of a loop, each with a tick and words of its own: refusals in words, nothing typed lost."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from loops.models import Confirmation
from loops.services import confirmations
from loops.services.refusals import WorkflowRefused
from loops.views.actions import MOST_KEYS, note, step
from loops.views.requests import person, typed
from registry.plain import harmless

MARK = 64
"""How long a mark is: a digest in hexadecimal digits."""


@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm the matters that are ticked, each with its own words how it is met: all of them or none."""
    marks = [harmless(mark)[:MARK] for mark in request.POST.getlist("mark")[:MOST_KEYS]]
    answers = {mark: typed(request, f"how-{mark}", 2000) for mark in marks}
    return step(
        request,
        pk,
        lambda key, version: confirmed(request, key, answers, version),
        ngettext("The confirmation for {} was recorded.", "%(count)s confirmations for {} were recorded.", len(answers))
        % {"count": len(answers)},
    )


def confirmed(request: HttpRequest, key: int, answers: dict[str, str], version: int) -> None:
    """Refuse words for a matter that is not ticked: what they were meant for would stay open unseen."""
    worded = {
        name.removeprefix("how-")
        for name, text in request.POST.items()
        if name.startswith("how-") and str(text).strip()
    }
    if worded - answers.keys():
        raise WorkflowRefused(
            _("There are words beside a matter that is not ticked: tick it too, or take the words out.")
        )
    confirmations.confirm_each(key, person(request), answers, opened_version=version)


@require_POST
def take_back(request: HttpRequest, pk: int, confirmation_pk: int) -> HttpResponse:
    """Take one confirmation back."""
    if not Confirmation.objects.filter(pk=confirmation_pk, loop_id=pk, takes_back=None).exists():
        raise Http404
    return step(
        request,
        pk,
        lambda _, version: confirmations.take_back(
            confirmation_pk, person(request), why=note(request), opened_version=version
        ),
        _("The confirmation for {} was taken back."),
    )
