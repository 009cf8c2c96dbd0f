"""The list of one kind of record: search, filters, order and page, all of them in the address."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db.models import Count, F, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry import access
from registry.models import User
from registry.querysets import containing, search_text, visible
from registry.services.imports import KINDS as IMPORT_KINDS
from registry.views.pages import Choices, Filter, KindPage

PAGE_SIZE = 50


def shown_records(request: HttpRequest, kind: KindPage, user: User) -> QuerySet[Any]:
    """The records that a list shows under the filters and in the order of the address, on all its pages."""
    access.require(user, kind.view_action)
    offered = {item.name: item.choices(user) for item in (*kind.filters, *([kind.tabs] if kind.tabs else []))}
    asked = read_query(request, kind, offered)
    found = narrowed(kind, user, asked)
    if kind.tabs and kind.tabs.name in asked:
        found = kind.tabs.narrow(found, asked[kind.tabs.name])
    return ordered(kind, kind.rows(found), asked.get("sort", ""))


@require_safe
def record_list(request: HttpRequest, kind: KindPage) -> HttpResponse:
    """All records of a kind that the person may see, narrowed as the address says."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, kind.view_action)
    offered = {item.name: item.choices(user) for item in (*kind.filters, *([kind.tabs] if kind.tabs else []))}
    asked = read_query(request, kind, offered)
    found = narrowed(kind, user, asked)
    tabs = tab_links(kind, found, asked, offered) if kind.tabs else []
    if kind.tabs and kind.tabs.name in asked:
        found = kind.tabs.narrow(found, asked[kind.tabs.name])
    page = Paginator(ordered(kind, kind.rows(found), asked.get("sort", "")), PAGE_SIZE).get_page(
        request.GET.get("page", "")[:9]
    )
    filtered = [name for name in asked if name not in {"sort"}]
    return render(
        request,
        "registry/list.html",
        {
            "kind": kind,
            "section": kind.section,
            "query": "",
            "tabs": tabs,
            "filters": filter_fields(kind, asked, offered),
            "chips": chips(kind, asked, offered),
            "clear_url": kind.list_url if filtered else "",
            "hidden": [(name, asked[name]) for name in hidden_names(kind) if name in asked],
            "page_obj": page,
            "query_string": urlencode(asked),
            "what": kind.plural,
            "columns": column_heads(kind, asked),
            "rows": [
                [column.cell(record) | {"label": column.label, "number": column.number} for column in kind.columns]
                for record in page.object_list
            ],
            "is_filtered": bool(filtered),
            "may_add": kind.may_edit(user),
            "exports": exports(kind, asked),
        },
    )


def exports(kind: KindPage, asked: dict[str, str]) -> list[tuple[str, str]]:
    """Where what the list shows can be had as a table: format and address."""
    if kind.kind not in IMPORT_KINDS:
        return []
    query = f"?{urlencode(asked)}" if asked else ""
    return [(suffix, reverse(f"{kind.kind}_export", args=[suffix]) + query) for suffix in ("xlsx", "csv")]


def hidden_names(kind: KindPage) -> list[str]:
    """What the filter form carries along without showing it."""
    return ["sort", *([kind.tabs.name] if kind.tabs else [])]


def read_query(request: HttpRequest, kind: KindPage, offered: dict[str, Choices]) -> dict[str, str]:
    """The part of the address that is understood: search text, filters with a value on offer, a known order."""
    asked = {}
    if q := search_text(request.GET.get("q", "")):
        asked["q"] = q
    for name, choices in offered.items():
        value = request.GET.get(name, "")
        if value in {key for key, _ in choices}:
            asked[name] = value
    sort = request.GET.get("sort", "")
    if sort.removeprefix("-") in {column.sort for column in kind.columns if column.sort}:
        asked["sort"] = sort
    return asked


def narrowed(kind: KindPage, user: User, asked: dict[str, str]) -> QuerySet[Any]:
    found = containing(visible(kind.model, user), asked.get("q", ""), kind.searched)
    for item in kind.filters:
        if item.name in asked or item.name == "archived":
            found = item.narrow(found, asked.get(item.name, ""))
    return found


def ordered(kind: KindPage, found: QuerySet[Any], sort: str) -> QuerySet[Any]:
    """In the order asked for; what has no value comes last either way."""
    for column in kind.columns:
        if column.sort and column.sort == sort.removeprefix("-"):
            first, *rest = column.order
            order = F(first).desc(nulls_last=True) if sort.startswith("-") else F(first).asc(nulls_last=True)
            return found.order_by(order, *rest, "pk")
    return found.order_by(*(kind.model._meta.ordering or ()), "pk")


def address(page: KindPage, asked: dict[str, str], /, **changed: str) -> str:
    """The list's address with some of what is asked for changed; an empty text drops it."""
    query = urlencode({name: value for name, value in (asked | changed).items() if value})
    return f"{page.list_url}?{query}" if query else page.list_url


def tab_links(
    kind: KindPage, found: QuerySet[Any], asked: dict[str, str], offered: dict[str, Choices]
) -> list[dict[str, Any]]:
    """One tab for each value of the kind's main filter, with its count under the other filters."""
    assert kind.tabs is not None
    name = kind.tabs.name
    counts = dict(found.order_by().values_list(name).annotate(Count("pk")))
    chosen = asked.get(name, "")
    tabs = [
        {"text": "All", "url": address(kind, asked, **{name: ""}), "current": not chosen, "count": sum(counts.values())}
    ]
    tabs += [
        {
            "text": label,
            "url": address(kind, asked, **{name: value}),
            "current": value == chosen,
            "count": counts.get(value, 0),
        }
        for value, label in offered[name]
    ]
    return tabs


def filter_fields(kind: KindPage, asked: dict[str, str], offered: dict[str, Choices]) -> list[dict[str, Any]]:
    """The fields of components/filter_bar.html."""
    fields: list[dict[str, Any]] = [
        {
            "name": "q",
            "id": "filter-q",
            "label": "Contains",
            "kind": "search",
            "value": asked.get("q", ""),
            "placeholder": kind.search_label,
        }
    ]
    return fields + [filter_field(item, asked, offered) for item in kind.filters]


def filter_field(item: Filter, asked: dict[str, str], offered: dict[str, Choices]) -> dict[str, Any]:
    return {
        "name": item.name,
        "id": f"filter-{item.name}",
        "label": item.label,
        "kind": "select",
        "value": asked.get(item.name, ""),
        "choices": [("", "Left out" if item.name == "archived" else "Any"), *offered[item.name]],
    }


def chips(kind: KindPage, asked: dict[str, str], offered: dict[str, Choices]) -> list[dict[str, str]]:
    """The filters in force, each with the address that drops it."""
    found = []
    if "q" in asked:
        found.append({"text": f"Contains “{asked['q']}”", "url": address(kind, asked, q="")})
    for item in kind.filters:
        if item.name in asked:
            words = dict(offered[item.name])[asked[item.name]]
            found.append({"text": f"{item.label}: {words}", "url": address(kind, asked, **{item.name: ""})})
    return found


def column_heads(kind: KindPage, asked: dict[str, str]) -> list[dict[str, Any]]:
    """Column heads; a sortable one links to its order, or to the reverse of it where it is in force."""
    heads = []
    sort = asked.get("sort", "")
    for column in kind.columns:
        head: dict[str, Any] = {"label": column.label, "number": column.number, "url": "", "order": ""}
        if column.sort:
            head["order"] = {column.sort: "ascending", f"-{column.sort}": "descending"}.get(sort, "")
            head["url"] = address(kind, asked, sort=f"-{column.sort}" if sort == column.sort else column.sort)
        heads.append(head)
    return heads
