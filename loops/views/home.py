"""The first page: what waits for this person, by what they are at each site."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from loops import selectors
from loops.models import Loop, LoopState
from loops.services.contributors import contributors_of
from loops.services.first_steps import first_steps
from loops.services.verification import PRECEDENCE
from loops.views.requests import person
from registry import access
from registry.models import Certificate, CertificateStatus, Role, User

SHOWN = 8
RUNNING_OUT_DAYS = 90


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """What waits for this person; every count leads to the list it counts."""
    user = person(request)
    sites = [site for site in access.own_sites(user) if not site.is_archived]
    roles = {site.pk: access.roles_of(user, site) for site in sites}
    loops = selectors.listed_loops(user).filter(archived_at=None)
    everything = set().union(*roles.values()) if roles else set()
    counts = selectors.counts_by(loops)
    context: dict[str, Any] = {
        "section": "home",
        "sites": sites,
        "role_names": sorted({Role(role).label for role in everything}),
        "verdicts": by_verdict(counts),
        "total": sum(counts.values()),
        "first_steps": [] if counts else first_steps(user, [site.pk for site in sites]),
    }
    if Role.DESIGNER in everything:
        context["mine"] = mine(loops, user)
    if Role.APPROVER in everything:
        here = [key for key, found in roles.items() if Role.APPROVER in found]
        context["waiting"] = waiting(user, here)
    if Role.PLANNER in everything:
        context["planner"] = True
    if Role.KEEPER in everything:
        context["certificates"] = running_out()
    return render(request, "home.html", context)


def by_verdict(counts: Mapping[str, int]) -> list[dict[str, Any]]:
    """How many loops have each verdict, worst first, each with the list of them."""
    return [
        {"verdict": verdict.value, "count": counts.get(verdict.value, 0), "url": listed(verdict=verdict.value)}
        for verdict in PRECEDENCE
    ]


def mine(loops: QuerySet[Loop], user: User) -> dict[str, Any]:
    """A designer's own loops that are not issued: drafts, returned ones first, and those that fail."""
    own = loops.filter(owner=user)
    counts = own.order_by().aggregate(
        returned=Count("pk", filter=Q(state=LoopState.RETURNED)),
        failing=Count("pk", filter=selectors.FAILING),
        drafts=Count("pk", filter=Q(state=LoopState.DRAFT)),
    )
    asked = {
        "returned": (_("returned"), {"state": LoopState.RETURNED.value}),
        "failing": (_("failing"), {"failing": "1"}),
        "drafts": (_("drafts"), {"state": LoopState.DRAFT.value}),
    }
    return {
        "counts": [
            {"text": words, "count": counts[name], "url": listed(owner="me", **wanted)}
            for name, (words, wanted) in asked.items()
        ],
        "loops": list(
            own.filter(state__in=[LoopState.RETURNED, LoopState.DRAFT]).order_by("-state", "-changed_at")[:SHOWN]
        ),
    }


def waiting(user: User, site_ids: list[int]) -> dict[str, Any]:
    """What waits for approval at the sites where this person approves, the oldest first."""
    queue = selectors.waiting_for_approval(user, site_ids)
    shown = list(queue[:SHOWN])
    hands = contributors_of(shown)
    rows = [{"loop": loop, "own": hands[loop.pk].get(user.pk, "")} for loop in shown]
    return {"count": queue.count(), "rows": rows, "url": listed(state=LoopState.IN_REVIEW.value, sort="changed")}


def running_out() -> dict[str, Any]:
    """Certificates that carry an end date which has passed or is near, and those not in force any more."""
    today = timezone.localdate()
    near = today + dt.timedelta(days=RUNNING_OUT_DAYS)
    bad = Q(status__in=[CertificateStatus.WITHDRAWN, CertificateStatus.SUSPENDED, CertificateStatus.SUPERSEDED])
    found = Certificate.objects.filter(archived_at=None).filter(Q(valid_to__lte=near) | bad)
    rows = [
        {"certificate": certificate, "over": certificate.has_run_out(today)}
        for certificate in found.order_by("valid_to", "number")[:SHOWN]
    ]
    return {"count": found.count(), "rows": rows, "days": RUNNING_OUT_DAYS}


def listed(**wanted: str) -> str:
    """The list of loops with these filters."""
    return f"/loops/?{urlencode(wanted)}"
