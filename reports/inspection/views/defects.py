"""Defects: the list of a site, and one of them on its way."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from loops.views.requests import opened_version, person, typed
from registry import access
from registry.reading import read_key
from registry.services.records import StaleRecord
from registry.views.exchanging import export_seen
from registry.views.lists import record_list
from reports.inspection import defects as service
from reports.inspection.defects import DefectRefused
from reports.inspection.kind import DEFECT, is_overdue
from reports.inspection.lengths import expected_in, value_in, values_in
from reports.inspection.models import Defect, DefectState, DefectStep, Priority, photos_of
from reports.inspection.paper import shown_judgement

Verb = DefectStep.Verb


@require_safe
def defect_list(request: HttpRequest) -> HttpResponse:
    """Defects of all sites of the person, narrowed and sorted as the address says."""
    return record_list(request, DEFECT, "reports/inspection/defects.html")


@require_safe
def export(request: HttpRequest, suffix: str) -> HttpResponse:
    """The columns that the list shows, of all its pages."""
    return export_seen(request, DEFECT, suffix)


@require_http_methods(["GET", "HEAD", "POST"])
def defect(request: HttpRequest, pk: int) -> HttpResponse:
    """One defect with its history, and the steps that the person may take."""
    found: Defect = get_object_or_404(service.with_names(service.visible_defects(person(request))), pk=pk)
    access.require(person(request), "inspection.view", found.loop.site)
    if request.method != "POST":
        return defect_page(request, found)
    verb = typed(request, "verb", 10)
    if verb in service.ACTIONS:
        access.require(person(request), service.ACTIONS[Verb(verb)], found.loop.site)
    else:
        access.require(person(request), "defect.follow", found.loop.site)
    due_text, key = typed(request, "due_on", 20), typed(request, "assigned_to", 18)
    try:
        service.take(
            pk,
            person(request),
            verb,
            text=typed(request, "text", service.LONGEST),
            opened_version=opened_version(request),
            assigned_to=read_key(key),
            due_on=day_of(due_text),
            priority=typed(request, "priority", 2),
        )
    except DefectRefused as error:
        return defect_page(request, found, str(error), status=409)
    except StaleRecord:
        fresh = service.with_names(service.visible_defects(person(request))).get(pk=pk)
        words = _("Somebody changed this defect since you opened it. Look at it again as it is now.")
        return defect_page(request, fresh, words, status=409)
    messages.success(request, _("Recorded."))
    return redirect("defect", pk=pk)


def day_of(text: str) -> dt.date | None:
    """A day as it is typed; None where nothing is. Raises DefectRefused."""
    if not text:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise DefectRefused(_("Write the day as year, month, day, for example 2026-11-25.")) from error


def defect_page(request: HttpRequest, found: Defect, refusal: str = "", status: int = 200) -> HttpResponse:
    """The page of a defect; a refusal stands on top of it, with what was typed."""
    user, site = person(request), found.loop.site
    judgement = type(found.line).objects.values_list("judgement", flat=True).get(pk=found.line_id)
    photos = photos_of([found.line])[found.line_id]
    verbs = {verb: found.state in states for verb, states in service.FROM.items()}
    context: dict[str, Any] = {
        "section": "inspections",
        "crumbs": [
            {"text": _("Defects"), "url": reverse("defect_list")},
            {"text": f"{found.loop.tag}, {found.pk}", "url": ""},
        ],
        "defect": found,
        "line": found.line,
        "expected": expected_in(found.line.expected, found.line.values, site.length_unit),
        "found": [
            value | {"typed": value_in(value["name"], found.line.found[value["name"]], site.length_unit)}
            for value in values_in(found.line.values, site.length_unit)
            if value["name"] in found.line.found
        ],
        "judgement": shown_judgement(judgement, site.length_unit),
        "photos": photos,
        "steps": list(found.steps.select_related("assigned_to")),
        "overdue": is_overdue(found),
        "state_text": DefectState(found.state).label,
        "people": service.people_at(site.pk),
        "priorities": Priority.choices,
        "may_follow": access.may(user, "defect.follow", site),
        "may_verify": access.may(user, "defect.verify", site),
        "can_assign": verbs[Verb.ASSIGN],
        "can_report": verbs[Verb.DONE],
        "can_verify": verbs[Verb.VERIFY],
        "can_reopen": verbs[Verb.REOPEN],
        "refusal": refusal,
        "typed": request.POST if refusal else {},
        "own_work": service.reported_by(found, user),
    }
    return render(request, "reports/inspection/defect.html", context, status=status)
