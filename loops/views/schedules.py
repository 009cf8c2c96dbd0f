"""The schedules of a plant: each is one of the lists with its filter, order and columns, as page, XLSX, CSV and PDF."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from registry import access
from registry.asking import read_asked
from registry.models import Site, User
from registry.printing import PRINTERS
from registry.views.listing import filters_of, found_records
from registry.views.pages import LISTS
from registry.words import lazily as _


@dataclass(frozen=True)
class Schedule:
    """A list with what it is asked for. `at_site` is false where the records belong to no site."""

    title: str | Promise
    about: str | Promise
    kind: str
    asked: tuple[tuple[str, str], ...] = ()
    columns: tuple[str, ...] = ()
    sort: str = ""
    at_site: bool = True


SCHEDULES = (
    Schedule(
        gettext_lazy("Loop index"),
        gettext_lazy("Every loop with its service, drawing, verdict and revision."),
        "loop",
        columns=(
            _("Service"),
            _("Loop drawing"),
            _("Areas"),
            _("Verdict"),
            _("Function"),
            _("Least margin"),
            _("State"),
            _("Revision"),
        ),
    ),
    Schedule(
        gettext_lazy("Cable schedule"),
        gettext_lazy("Every run with its ends, type, length, and the capacitance and inductance that it counts with."),
        "cable_run",
        columns=(
            _("From"),
            _("To"),
            _("Type"),
            _("Circuits in the cable"),
            _("Length"),
            _("C per length"),
            _("L per length"),
            "C used",
            "L used",
            _("Verdict"),
        ),
    ),
    Schedule(
        gettext_lazy("Certificate register"),
        gettext_lazy("Every certificate with its issue, status, end and conditions. Shared by all sites."),
        "certificate",
        columns=(_("Scheme"), _("Holder"), _("Status"), _("Issued"), _("End"), _("Conditions of use"), _("Equipment")),
        at_site=False,
    ),
    Schedule(
        gettext_lazy("Equipment by where it is used"),
        gettext_lazy("Every item at its tag, with area, certificate and loop."),
        "member",
        columns=(
            _("Maker"),
            _("Type"),
            _("Terminals"),
            _("Role"),
            _("Area"),
            _("Certificate"),
            _("Verdict"),
            _("State"),
        ),
    ),
    Schedule(
        gettext_lazy("Failing loops"),
        gettext_lazy("Loops that fail in safety or in function, and what decides."),
        "loop",
        (("failing", "1"),),
        (_("Service"), _("Verdict"), _("What decides"), _("Least margin"), _("State"), _("Owner")),
        "verdict",
    ),
    Schedule(
        gettext_lazy("Nearest to their limit"),
        gettext_lazy("Loops that comply, the smallest margin first."),
        "loop",
        (("verdict", "complies"),),
        (_("Service"), _("Deciding check"), _("What decides"), _("Least margin"), _("State")),
        "margin",
    ),
    Schedule(
        gettext_lazy("Basis changed"),
        gettext_lazy("Issued loops that rest on a record that was changed since, with what changed."),
        "loop",
        (("basis", "changed"),),
        (_("Service"), _("Verdict"), _("What changed in its basis"), _("State"), _("Revision"), _("Owner")),
    ),
)


@require_safe
def schedules(request: HttpRequest) -> HttpResponse:
    """All schedules with how many rows each has, for one site or all of a person's."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "loop.view")
    sites = access.own_sites(user)
    site = next((row for row in sites if row.code == request.GET.get("site")), None)
    rows = [row for schedule in SCHEDULES if (row := row_of(schedule, user, site)) is not None]
    context = {"section": "schedules", "sites": sites, "site": site, "rows": rows}
    return render(request, "loops/schedules.html", context)


def row_of(schedule: Schedule, user: User, site: Site | None) -> dict[str, Any] | None:
    """A schedule with the addresses of its forms; nothing for who may not see the list."""
    page = LISTS[schedule.kind]
    if not access.may(user, page.view_action):
        return None
    labels = {column.label: column.name for column in page.columns}
    query = dict(schedule.asked)
    if site is not None and schedule.at_site:
        query["site"] = site.code
    sorts = {column.sort for column in page.columns if column.sort}
    asked = read_asked(urlencode(query), filters_of(page), user, sorts)
    if schedule.sort:
        query["sort"] = schedule.sort
    query["columns"] = ",".join(labels[label] for label in schedule.columns)
    text = urlencode(query)
    return {
        "title": schedule.title,
        "about": schedule.about,
        "shared": not schedule.at_site,
        "count": found_records(page, user, asked).count(),
        "url": f"{page.list_url}?{text}",
        "files": [
            (suffix.upper(), f"{reverse(f'{page.kind}_seen', args=[suffix])}?{text}")
            for suffix in (*PRINTERS, "xlsx", "csv")
        ],
    }
