"""Suggestions while one types what stands in a circuit."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from loops import picks
from loops.views.requests import person
from registry import access
from registry.models import Terminals


@require_safe
def pick(request: HttpRequest, what: str) -> HttpResponse:
    """What may be picked as a source, a device or a cable type for the text `q`, as options of a list box."""
    access.require(person(request), "register.view")
    text = request.GET.get("q", "")
    if what == picks.CABLE:
        found = picks.find_cables(text)
    elif what in Terminals.Side.values:
        found = picks.find_terminals(person(request), what, text)
    else:
        raise Http404(_("There is nothing to pick by that name."))
    return render(request, "loops/picks.html", {"picks": found, "most": picks.MOST})
