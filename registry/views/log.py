"""The change log: what was done, by whom, when and why, narrowed by the address, a page at a time, and as a table."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry import access
from registry.asking import Asked, read_asked
from registry.exchange.csv_xlsx import escaped
from registry.filters import Choice, Choices, Contains, Days, Filter, excerpt, narrowed
from registry.models import Change, Deed, Site, User
from registry.querysets import visible
from registry.reading import read_key
from registry.services.log import HEADINGS, kinds_in, reason_of, table_rows, visible_changes
from registry.views.lists import faults_shown
from registry.views.pages import fixed, same

PAGE_SIZE = 50
PAGES = ("before", "after")
"""The parameters that choose a page: numbers of deeds."""

COMPARED = frozenset({Deed.CHANGE, Deed.ARCHIVE, Deed.RESTORE})
"""Deeds that made a revision out of another."""


def filters_of(user: User) -> tuple[Filter, ...]:
    """What may be asked of the log."""
    return (
        Contains("record", _("Record"), "label", more=False, placeholder=_("Tag, number or type")),
        Contains("who", _("Who"), "actor_name", more=False, placeholder=_("Name")),
        Contains("why", _("Reason"), ("detail__reason", "detail__text"), more=False),
        Choice("kind", _("Kind"), kinds, same("kind")),
        Choice("verb", _("What was done"), fixed([(deed.value, str(deed.label)) for deed in Deed]), same("verb")),
        Choice("site", _("Site"), sites, same("site__code")),
        Days("day", _("Day"), "at", more=False, moments=True, ends=("first", "last")),
    )


def kinds(user: User) -> Choices:
    return [(kind, in_words(kind)) for kind in kinds_in(visible_changes(user))]


def sites(user: User) -> Choices:
    return [(site.code, site.code) for site in visible(Site, user).order_by("code")]


def asked_of(request: HttpRequest, user: User) -> Asked:
    """What the address asks for."""
    return read_asked(request.GET, filters_of(user), user, others=PAGES, searched=False)


def found_changes(user: User, asked: Asked) -> QuerySet[Change]:
    """The deeds that are asked for, newest first; none where a part of it was not understood."""
    if asked.is_faulty:
        return Change.objects.none()
    return narrowed(visible_changes(user), asked.conditions).order_by("-number")


@require_safe
def log(request: HttpRequest) -> HttpResponse:
    """A page of the log, newest first. `before` and `after` are numbers of deeds: a page does not shift while others
    work."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    asked = asked_of(request, user)
    return log_page(request, user, asked)


def log_page(request: HttpRequest, user: User, asked: Asked) -> HttpResponse:
    """A page of what is asked for; what is not understood is told with status 400, and the log is empty then."""
    found = found_changes(user, asked)
    before, after = (read_key(request.GET.get(name, "")) for name in ("before", "after"))
    if after is not None:
        rows = list(found.filter(number__gt=after).order_by("number").select_related("site")[: PAGE_SIZE + 1])
        newer, older = len(rows) > PAGE_SIZE, True
        rows = rows[:PAGE_SIZE][::-1]
    else:
        page = found.filter(number__lt=before) if before is not None else found
        rows = list(page.select_related("site")[: PAGE_SIZE + 1])
        newer, older = before is not None, len(rows) > PAGE_SIZE
        rows = rows[:PAGE_SIZE]
    query = asked.query()
    address = f"?{query}&" if query else "?"
    return render(
        request,
        "registry/log.html",
        {
            "section": "log",
            "filters": [one for item in filters_of(user) for one in item.fields(asked.asking)],  # type: ignore[arg-type]
            "faults": faults_shown(asked, filters_of(user)),
            "remarks": odd_pages(request),
            "clear_url": reverse("log") if asked.typed or asked.unknown else "",
            "rows": [shown(change) for change in rows],
            "newer_url": f"{address}after={rows[0].number}" if rows and newer else "",
            "older_url": f"{address}before={rows[-1].number}" if rows and older else "",
            "newest_url": f"?{query}",
            "is_newest": before is None and after is None,
            "export_url": reverse("log_export") + (f"?{query}" if query else ""),
        },
        status=400 if asked.is_faulty else 200,
    )


def odd_pages(request: HttpRequest) -> list[str]:
    """A sentence where the page that is asked for has no number."""
    odd = [text for name in PAGES if (text := request.GET.get(name, "")) and read_key(text) is None]
    return [_("“%(text)s” is no number of a line: the newest are shown.") % {"text": excerpt(text)} for text in odd]


@require_safe
def log_export(request: HttpRequest) -> HttpResponseBase:
    """All that the filters leave of the log, as CSV; the page with what is wrong where they are not understood."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    asked = asked_of(request, user)
    if asked.is_faulty:
        return log_page(request, user, asked)
    rows = table_rows(found_changes(user, asked))
    answer = StreamingHttpResponse(csv_lines(HEADINGS, rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="change-log.csv"'
    return answer


class Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(headings: Iterable[str], rows: Iterable[list[str]]) -> Iterator[str]:
    """A table as lines of CSV, no cell of which a spreadsheet takes for a formula."""
    writer = csv.writer(Echo())
    yield "\ufeff" + writer.writerow(headings)
    for row in rows:
        yield writer.writerow([escaped(cell) for cell in row])


def shown(change: Change) -> dict[str, Any]:
    """One deed for the page."""
    number = change.detail.get("revision")
    url = address_of(change.kind, change.record_id)
    was_other = change.verb in COMPARED and isinstance(number, int) and number > 1
    compare = address_of(f"{change.kind}_compare", change.record_id) if was_other else ""
    return {
        "change": change,
        "kind": in_words(change.kind),
        "url": url,
        "revision": number,
        "compare_url": f"{compare}?from={number - 1}&to={number}" if compare and number else "",
        "why": reason_of(change),
    }


def in_words(kind: str) -> str:
    return kind.replace("_", " ")


def address_of(name: str, record_id: int | None) -> str:
    """The address of a record's page: it is named as its kind is; empty where there is none."""
    try:
        return reverse(name, args=[record_id]) if record_id else ""
    except NoReverseMatch:
        return ""
