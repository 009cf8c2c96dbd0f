"""What is to be inspected next: a list with filters, a table of it, and loops ticked for a round."""

from __future__ import annotations

import datetime as dt
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_safe

from loops import selectors
from loops.views.kind import own_areas, own_sites
from loops.views.requests import person
from registry import access
from registry.exchange.csv_xlsx import Table, table, write_table
from registry.models import User
from registry.printing import PRINTERS, Printed, PrintRefused, require_short
from registry.querysets import search_text
from registry.reading import read_key
from registry.views.exchanging import TYPES, attached
from reports.inspection.due import Due, due_rows
from reports.inspection.models import Grade

PAGE_SIZE = 50
WHEN = (
    ("overdue", gettext_lazy("Overdue")),
    ("soon", gettext_lazy("Due within 30 days")),
    ("later", gettext_lazy("Later")),
    ("none", gettext_lazy("Not planned")),
)
NAMES = ("q", "site", "area", "grade", "when")


def asked_of(request: HttpRequest) -> dict[str, str]:
    """What the address asks for, empty values left out."""
    found = {name: search_text(request.GET.get(name, "")) for name in NAMES}
    return {name: value for name, value in found.items() if value}


def listed(user: User, asked: dict[str, str], today: dt.date) -> list[Due]:
    """The inspections that meet what is asked; what is not understood meets nothing."""
    loops = selectors.visible_loops(user)
    if "site" in asked:
        loops = loops.filter(site__code=asked["site"])
    if "area" in asked:
        loops = loops.filter(
            pk__in=loops.filter(circuits__members__area=read_key(asked["area"]) or 0).order_by().values("pk")
        )
    loops = selectors.containing(loops, asked.get("q", ""))
    rows = due_rows(loops)
    if "grade" in asked:
        rows = [due for due in rows if due.grade == asked["grade"]]
    if "when" in asked:
        rows = [due for due in rows if due.state(today) == asked["when"]]
    return rows


def when_words(due: Due, today: dt.date) -> str:
    """How long until the next inspection, in words."""
    if due.on is None:
        return _("none planned")
    days = (due.on - today).days
    if days < 0:
        return ngettext("overdue since %(days)d day", "overdue since %(days)d days", -days) % {"days": -days}
    return ngettext("in %(days)d day", "in %(days)d days", days) % {"days": days} if days else _("today")


@require_safe
def due(request: HttpRequest) -> HttpResponse:
    """The next inspection of every loop in use, the earliest first."""
    user = person(request)
    access.require(user, "inspection.view")
    today, asked = timezone.localdate(), asked_of(request)
    rows = listed(user, asked, today)
    page = Paginator(rows, PAGE_SIZE).get_page(request.GET.get("page", "")[:9])
    areas = selectors.areas_by_loop([item.loop.pk for item in page])
    query = urlencode(asked)
    context = {
        "section": "inspections",
        "filters": fields(user, asked),
        "clear_url": reverse("inspections") if asked else "",
        "page_obj": page,
        "rows": [
            {
                "due": item,
                "state": item.state(today),
                "words": when_words(item, today),
                "areas": ", ".join(areas.get(item.loop.pk, [])),
            }
            for item in page
        ],
        "counts": [
            (value, label, sum(item.state(today) == value for item in rows)) for value, label in WHEN if value != "none"
        ],
        "query_string": query,
        "what": _("loops"),
        "exports": [
            (suffix, reverse("inspections_export", args=[suffix]) + (f"?{query}" if query else ""))
            for suffix in ("xlsx", "csv", *PRINTERS)
        ],
        "grades": Grade.choices,
    }
    return render(request, "reports/inspection/due.html", context)


def fields(user: User, asked: dict[str, str]) -> list[dict[str, Any]]:
    """The fields of components/filter_bar.html."""
    found: list[dict[str, Any]] = [
        {"name": "q", "label": _("Contains"), "kind": "search", "placeholder": _("Part of a tag or service")},
        {"name": "site", "label": _("Site"), "choices": own_sites(user)},
        {"name": "area", "label": _("Area"), "choices": own_areas(user)},
        {"name": "grade", "label": _("Grade"), "choices": Grade.choices},
        {"name": "when", "label": _("When"), "choices": WHEN},
    ]
    for field in found:
        field |= {"id": f"filter-{field['name']}", "value": asked.get(field["name"], "")}
        if "choices" in field:
            field |= {"kind": "select", "choices": [("", _("Any")), *field["choices"]]}
    return found


@require_safe
def export(request: HttpRequest, suffix: str) -> HttpResponse:
    """What the list shows, all pages of it, as a table."""
    user = person(request)
    access.require(user, "inspection.view")
    if suffix not in TYPES:
        raise Http404
    today, asked = timezone.localdate(), asked_of(request)
    content = due_table(listed(user, asked, today), today)
    if suffix == "pdf":
        try:
            require_short(len(content.rows))
        except PrintRefused as refused:
            messages.error(request, str(refused))
            return redirect("inspections")
        words = tuple(f"{field['label']}: {chosen(field)}" for field in fields(user, asked) if field["value"])
        data = PRINTERS[suffix](Printed(str(_("Inspections due")), words, content, user, timezone.now()))
    else:
        data = write_table(content, suffix, "inspections")
    return attached(data, f"inspections.{suffix}", TYPES[suffix])


def chosen(field: dict[str, Any]) -> str:
    """What is chosen in a filter, in words."""
    return str(dict(field.get("choices", ())).get(field["value"], field["value"]))


def due_table(rows: list[Due], today: dt.date) -> Table:
    """The list as texts."""
    areas = selectors.areas_by_loop([item.loop.pk for item in rows])
    heads = [
        _("Loop"),
        _("Service"),
        _("Site"),
        _("Areas"),
        _("Next grade"),
        _("Due on"),
        _("State"),
        *((_("Last %(g)s") % {"g": g}) for g in Grade.values),
    ]
    return table(
        heads,
        [
            [
                item.loop.tag,
                item.loop.service,
                item.loop.site.code,
                ", ".join(areas.get(item.loop.pk, [])),
                item.grade_text,
                item.on.isoformat() if item.on else "",
                _("never inspected") if item.never else item.state(today),
                *(item.last[grade].isoformat() if grade in item.last else "" for grade in Grade.values),
            ]
            for item in rows
        ],
    )
