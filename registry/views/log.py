"""The change log: what was done, by whom, when and why, narrowed by the address, a page at a time, and as a table."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry import access
from registry.exchange.csv_xlsx import escaped
from registry.models import Change, Deed, Site, User
from registry.querysets import search_text, visible
from registry.reading import read_key
from registry.services.log import HEADINGS, Asked, kinds_in, narrowed, reason_of, table_rows, visible_changes

PAGE_SIZE = 50
NAMES = ("who", "record", "kind", "verb", "site", "first", "last", "why")
COMPARED = frozenset({Deed.CHANGE, Deed.ARCHIVE, Deed.RESTORE})
"""Deeds that made a revision out of another."""


def read_day(text: str) -> dt.date | None:
    """A day as YYYY-MM-DD; None for anything else."""
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        return None
    return day if 1970 < day.year < 9999 else None


def read_asked(request: HttpRequest, sites: Iterable[Site]) -> tuple[Asked, dict[str, str]]:
    """What the address asks for, and the part of it that is understood."""
    given = {name: search_text(request.GET.get(name, "")) for name in NAMES}
    keys = {site.code: site.pk for site in sites}
    given["site"] = given["site"] if given["site"] in keys else ""
    given["verb"] = given["verb"] if given["verb"] in Deed.values else ""
    first, last = read_day(given["first"]), read_day(given["last"])
    given["first"], given["last"] = (given[name] if day else "" for name, day in (("first", first), ("last", last)))
    asked = Asked(
        who=given["who"],
        kind=given["kind"],
        record=given["record"],
        verb=given["verb"],
        site=keys.get(given["site"]),
        first=first,
        last=last,
        why=given["why"],
    )
    return asked, {name: value for name, value in given.items() if value}


@require_safe
def log(request: HttpRequest) -> HttpResponse:
    """A page of the log, newest first. `before` and `after` are numbers of deeds: a page does not shift while others
    work."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    sites = list(visible(Site, user).order_by("code"))
    asked, given = read_asked(request, sites)
    changes = visible_changes(user)
    found = narrowed(changes, asked)
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
    query = urlencode(given)
    address = f"?{query}&" if query else "?"
    return render(
        request,
        "registry/log.html",
        {
            "section": "log",
            "filters": filter_fields(given, sites, kinds_in(changes)),
            "clear_url": reverse("log") if given else "",
            "rows": [shown(change) for change in rows],
            "newer_url": f"{address}after={rows[0].number}" if rows and newer else "",
            "older_url": f"{address}before={rows[-1].number}" if rows and older else "",
            "newest_url": f"?{query}",
            "is_newest": before is None and after is None,
            "export_url": reverse("log_export") + (f"?{query}" if query else ""),
        },
    )


@require_safe
def log_export(request: HttpRequest) -> StreamingHttpResponse:
    """All that the filters leave of the log, as CSV."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    asked, _given = read_asked(request, visible(Site, user))
    rows = table_rows(narrowed(visible_changes(user), asked))
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


def filter_fields(given: dict[str, str], sites: Iterable[Site], kinds: Iterable[str]) -> list[dict[str, Any]]:
    """The fields of components/filter_bar.html."""
    fields: list[dict[str, Any]] = [
        {"name": "record", "label": _("Record"), "placeholder": _("Tag, number or type")},
        {"name": "who", "label": _("Who"), "placeholder": _("Name")},
        {"name": "why", "label": _("Reason contains")},
        {"name": "kind", "label": _("Kind"), "choices": [(kind, in_words(kind)) for kind in kinds]},
        {"name": "verb", "label": _("What was done"), "choices": [(deed.value, deed.label) for deed in Deed]},
        {"name": "site", "label": _("Site"), "choices": [(site.code, site.code) for site in sites]},
        {"name": "first", "label": _("From"), "kind": "date"},
        {"name": "last", "label": _("To"), "kind": "date"},
    ]
    for field in fields:
        field |= {"id": f"filter-{field['name']}", "value": given.get(field["name"], "")}
        if "choices" in field:
            field |= {"kind": "select", "choices": [("", _("Any")), *field["choices"]]}
        else:
            field.setdefault("kind", "search")
    return fields
