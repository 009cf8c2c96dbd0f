"""Confirming the matters of a loop one by one: each POST one service, refusals in words, nothing typed lost."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from loops.models import Confirmation
from loops.services import confirmations
from loops.views.actions import note, step
from loops.views.requests import person, typed


@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm one matter with the words how it is met."""
    mark = typed(request, "mark", 64)
    return step(
        request,
        pk,
        lambda key, version: confirmations.confirm(
            key, person(request), mark=mark, how=note(request), opened_version=version
        ),
        _("The confirmation for {} was recorded."),
    )


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
