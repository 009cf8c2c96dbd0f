"""The list of loops, and what it shows as a table."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from loops.views.kind import LOOP
from registry.views.exchanging import export_list, export_seen
from registry.views.lists import record_list


@require_safe
def loop_list(request: HttpRequest) -> HttpResponse:
    """Loops of all sites of the person, narrowed and sorted as the address says."""
    return record_list(request, LOOP)


@require_safe
def export(request: HttpRequest, suffix: str) -> HttpResponse:
    """The loops that the list shows under its filters, all pages of it, as a table that can be imported again."""
    return export_list(request, LOOP, suffix)


@require_safe
def export_shown(request: HttpRequest, suffix: str) -> HttpResponse:
    """The columns that the list shows, of all its pages."""
    return export_seen(request, LOOP, suffix)
