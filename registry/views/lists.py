"""The list of one kind of record: search, filters, order, columns and page, all of them in the address."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import escape
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry import access
from registry.asking import Asked
from registry.filters import Filter, form_field
from registry.models import User
from registry.printing import PRINTERS
from registry.services.imports import KINDS as IMPORT_KINDS
from registry.services.many import MANY_KINDS
from registry.views.cells import rows_html
from registry.views.listing import asked_of, filled, filters_of, found_records, with_layout
from registry.views.ordering import parts_of
from registry.views.pages import Column, KindPage
from registry.views.portions import LAST, Portion, most_counted, number_of, page_number, portion, tab_counts
from registry.views.saved import kept


@require_safe
def record_list(request: HttpRequest, kind: KindPage, template: str = "registry/list.html") -> HttpResponse:
    """All records of a kind that the person may see, narrowed as the address says.

    What an address asks for and is not understood is told with status 400, and the list is empty then.
    """
    user: User = request.user  # type: ignore[assignment]
    asked = asked_of(kind, request.GET, user)
    return list_page(request, kind, asked, template)


def list_page(request: HttpRequest, kind: KindPage, asked: Asked, template: str = "registry/list.html") -> HttpResponse:
    """A page of what is asked for."""
    user: User = request.user  # type: ignore[assignment]
    columns, size = with_layout(kind, user, asked)
    counts, count, most = counted(kind, user, asked)
    found = found_records(kind, user, asked)
    parts = parts_of(kind, found, asked.sort, access.own_sites(user))
    wanted = page_number(request.GET.get("page", ""))
    if request.GET.get("page") == LAST:
        # Whoever asks for the end waits until all is counted.
        count, most = found.order_by().count(), None
        wanted = -(-count // size)
    keys, number, pages, further = portion(parts, count, most, size, max(1, wanted))
    records = filled(kind, keys, columns, user)
    page = Portion(records, number, pages, further)
    labels = [escape(column.label) for column in columns]
    rows = [
        [shown_cell(column, label, record) for column, label in zip(columns, labels, strict=True)] for record in records
    ]
    many = many_parts(kind, user, asked)
    context = {
        "kind": kind,
        "section": kind.section,
        "query": "",
        "tabs": tab_links(kind, asked, counts) if kind.tabs else [],
        **filter_parts(kind, asked),
        "page_obj": page,
        "records": records,
        "query_string": asked.query(),
        "what": kind.plural,
        "columns": column_heads(kind, columns, asked),
        "rows": rows,
        "body": rows_html(rows, tick=bool(many["many"])),
        "is_filtered": bool(asked.typed or asked.is_faulty),
        "may_add": kind.may_edit(user),
        "who_adds": "" if kind.may_edit(user) else access.SIDES.get(kind.add_action, ""),
        "exports": exports(kind, asked, "export") if kind.kind in IMPORT_KINDS else [],
        "seen": exports(kind, asked, "seen", *PRINTERS),
        **many,
        "page_size": size,
        **kept(kind, user, asked, columns),
    }
    return render(request, template, context, status=400 if asked.is_faulty else 200)


EMPTY = dict.fromkeys(
    ("url", "note", "text", "lines", "verdict", "failing", "state", "open", "small", "warn", "strong", "soft"), ""
)
"""What a cell may say: each says all of it."""

EMPTY_LINE = dict.fromkeys(("label", "text", "state"), "")


def shown_cell(column: Column, label: str, record: Any) -> dict[str, Any]:
    """A cell of a list as cells.py shows it, under the label of its column; `plain` where it is its text alone."""
    cell = column.cell(record)
    found = EMPTY | cell | {"label": label, "number": column.number, "wide": column.wide}
    if lines := cell.get("lines"):
        found["lines"] = [EMPTY_LINE | line for line in lines]
    found["key"] = record.pk
    found["plain"] = not any(value for name, value in cell.items() if name != "text")
    return found


def address(page: KindPage, query: str) -> str:
    """The list's address with a query."""
    return f"{page.list_url}?{query}" if query else page.list_url


def many_parts(kind: KindPage, user: User, asked: Asked) -> dict[str, Any]:
    """Where one value of all that the list shows, or of what is ticked in it, can be changed."""
    if kind.kind not in MANY_KINDS or not kind.may_edit(user):
        return {"many": ""}
    action = reverse(f"{kind.kind}_many")
    query = asked.parameters(view="", columns="", size="")
    return {"many": f"{action}?{urlencode(query)}", "many_action": action, "many_query": list(query.items())}


def exports(kind: KindPage, asked: Asked, view: str, *more: str) -> list[tuple[str, str]]:
    """Where what the list shows can be had as a table: format and address."""
    query = f"?{asked.query()}" if asked.query() else ""
    return [(suffix, reverse(f"{kind.kind}_{view}", args=[suffix]) + query) for suffix in ("xlsx", "csv", *more)]


def counted(kind: KindPage, user: User, asked: Asked) -> tuple[dict[str, int] | None, int, int | None]:
    """How many records each tab has, how many the list shows, and how far they were counted."""
    most = most_counted(kind, asked)
    found = found_records(kind, user, asked)
    if not kind.tabs:
        return None, *number_of(kind, found, most)
    counts, counted_to = tab_counts(kind, user, asked, most)
    chosen = asked.typed.get(kind.tabs.name, "")
    if counts is not None:
        return counts, counts.get(chosen, 0) if chosen else sum(counts.values()), counted_to
    # The tabs together hold more than are counted.
    return None, *(number_of(kind, found, most) if chosen else (most + 1, most))


def tab_links(kind: KindPage, asked: Asked, counts: dict[str, int] | None) -> list[dict[str, Any]]:
    """One tab for each value of the kind's main filter, with its count under the other filters, where it is known."""
    assert kind.tabs is not None and asked.asking is not None
    name = kind.tabs.name
    chosen = asked.typed.get(name, "")
    tabs = [("", _("All"), None if counts is None else sum(counts.values()))]
    for value, label in asked.asking.offered(kind.tabs):
        tabs.append((value, label, None if counts is None else counts.get(value, 0)))
    return [
        {"text": label, "url": address(kind, asked.query(**{name: value})), "current": value == chosen, "count": count}
        for value, label, count in tabs
    ]


# ------------------------------------------------------------------------------------------------------ filters shown


def filter_parts(kind: KindPage, asked: Asked) -> dict[str, Any]:
    """What components/filter_bar.html shows: fields, further fields, filters in force, and what is wrong."""
    assert asked.asking is not None
    search = form_field(asked.asking, "q", _("Contains"), "search", placeholder=kind.search_label)
    shown = [search, *(one for item in kind.filters if not item.more for one in item.fields(asked.asking))]
    further = [one for item in kind.filters if item.more for one in item.fields(asked.asking)]
    used = {name for item in kind.filters if item.more for name in item.names()} & set(asked.typed)
    tabs = kind.tabs.names() if kind.tabs else ()
    carried = [(name, value) for name, value in asked.parameters().items() if name not in asked.typed or name in tabs]
    return {
        "filters": shown,
        "further": further,
        "further_open": bool(used),
        "further_count": len({item.names for item in asked.conditions if set(item.names) & used}),
        "hidden": carried,
        "chips": chips(kind, asked),
        "clear_url": address(kind, asked.without(asked.typed)) if asked.typed or asked.unknown else "",
        "faults": faults_shown(asked, filters_of(kind)),
        "remarks": asked.remarks,
    }


def faults_shown(asked: Asked, filters: Sequence[Filter]) -> list[dict[str, str]]:
    """What components/filter_faults.html shows: each fault with its field, and what is no filter."""
    return [
        *({"id": "", "label": "", "text": sentence} for sentence in asked.unknown),
        *(
            {"id": f"filter-{name}", "label": label_of(filters, name), "text": text}
            for name, text in asked.faults.items()
        ),
    ]


def label_of(filters: Sequence[Filter], name: str) -> str:
    """What a parameter is called on the page."""
    for item in filters:
        if name in item.names():
            return str(getattr(item, "label", _("By value")))
    return _("Contains") if name == "q" else ""


def chips(kind: KindPage, asked: Asked) -> list[dict[str, str]]:
    """The filters in force, each with the address that drops it."""
    found = []
    if asked.text:
        found.append(
            {"text": (_("Contains “%(text)s”") % {"text": asked.text}), "url": address(kind, asked.without(["q"]))}
        )
    tabs = kind.tabs.names() if kind.tabs else ()
    found += [
        {"text": item.words, "url": address(kind, asked.without(item.names))}
        for item in asked.conditions
        if item.words and item.names != tabs
    ]
    return found


def column_heads(kind: KindPage, columns: list[Column], asked: Asked) -> list[dict[str, Any]]:
    """Column heads; a sortable one links to its order, or to the reverse of it where it is in force."""
    heads = []
    sort = asked.sort
    for column in columns:
        head: dict[str, Any] = {"label": column.label, "number": column.number, "url": "", "order": ""}
        if column.sort:
            head["order"] = {column.sort: "ascending", f"-{column.sort}": "descending"}.get(sort, "")
            turned = f"-{column.sort}" if sort == column.sort else column.sort
            head["url"] = address(kind, asked.query(sort=turned))
        heads.append(head)
    return heads
