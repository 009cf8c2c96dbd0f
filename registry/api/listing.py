"""Lists of the API: narrowed by the filters of the pages, in the order of the keys or of a column that the pages sort
by (registry/api/cursors.py), a page after a cursor.

What is added or changed while somebody reads shifts nothing: a page begins behind the key that the last one ended with.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes
from rest_framework.request import Request
from rest_framework.response import Response

from registry import access
from registry.api.cursors import sorted_page
from registry.api.requests import person
from registry.asking import Asked, read_asked
from registry.filters import Choice, Days, Filter, Ranges
from registry.services.records import EntryRefused
from registry.views.listing import filters_of, found_records
from registry.views.pages import KindPage

LIMIT = 50
MOST = 200
LARGEST = 2**62
PAGING = ("cursor", "limit")
PAGING_PARAMETERS = [
    OpenApiParameter(
        "cursor",
        {"type": "integer", "minimum": 0, "maximum": LARGEST},
        description="“next” of the page before; left out: from the beginning.",
    ),
    OpenApiParameter(
        "limit",
        {"type": "integer", "minimum": 1, "maximum": MOST, "default": LIMIT},
        description="How many at a time.",
    ),
]


def parameters_of(page: KindPage) -> list[OpenApiParameter]:
    """The filters of a list as the API describes them."""
    words = f"Words that it contains: {page.search_label[:1].lower()}{page.search_label[1:]}."
    found = [OpenApiParameter("q", OpenApiTypes.STR, description=words)]
    for item in filters_of(page):
        for name in item.names():
            found.append(OpenApiParameter(name, OpenApiTypes.STR, description=described(item, name)))
    return [*found, *sorting_parameters(page)]


def sorts_of(page: KindPage) -> list[str]:
    """By what a list can be sorted, as in the address of its page."""
    return [column.sort for column in page.columns if column.sort]


def sorting_parameters(page: KindPage) -> list[OpenApiParameter]:
    """Order and paging of a list that can be sorted."""
    _cursor, limit = PAGING_PARAMETERS
    return [
        OpenApiParameter(
            "sort",
            {"type": "string", "enum": [turn + sort for sort in sorts_of(page) for turn in ("", "-")]},
            description="The order, as in the address of the list; “-” in front turns it. Left out: that of the keys.",
        ),
        OpenApiParameter(
            "cursor",
            {"oneOf": [{"type": "integer", "minimum": 0, "maximum": LARGEST}, {"type": "string", "pattern": "[^0-9]"}]},
            description="“next” of the page before, with the same “sort”; left out: from the beginning.",
        ),
        limit,
    ]


def described(item: Filter, name: str) -> str:
    """What a parameter of a filter is."""
    if isinstance(item, Ranges):
        if name.startswith("quantity"):
            return f"A quantity, for example {item.measures[0].key}; “from{name[8:]}” and “to{name[8:]}” bound it."
        return f"A value with its unit, for example {item.measures[0].example}."
    if isinstance(item, Days):
        return f"{item.label}: a day, for example 2026-11-25."
    label = getattr(item, "label", name)
    return f"{label}: as in the address of the list." if isinstance(item, Choice) else f"{label} contains this."


def whole_number(request: Request, name: str, low: int, high: int, otherwise: int) -> int:
    """A parameter that is a whole number. Raises EntryRefused for what is none, or asked for twice."""
    values = request.query_params.getlist(name)
    if not values:
        return otherwise
    text = values[0]
    plain = len(values) == 1 and text.isascii() and text.isdigit() and len(text) < 20
    if not plain or not low <= int(text) <= high:
        raise EntryRefused({name: [f"Give a whole number from {low} to {high} once."]})
    return int(text)


def narrowed_by(request: Request, page: KindPage) -> QuerySet[Any]:
    """The records that a request asks for, in no order. Raises EntryRefused with what is wrong with its filters,
    PermissionDenied."""
    user = person(request)
    if page.seen is None:
        access.require(user, page.view_action)
    return found_records(page, user, asked_by(request, filters_of(page), "sort"))


def sort_of(request: Request, page: KindPage) -> str:
    """The order that a request asks for; empty for that of the keys. Raises EntryRefused."""
    values = request.query_params.getlist("sort")
    if not values:
        return ""
    if len(values) > 1 or values[0].removeprefix("-") not in sorts_of(page):
        raise EntryRefused({"sort": [f"Give one of {', '.join(sorts_of(page))}, once, with “-” in front to turn it."]})
    return values[0]


def list_answer(request: Request, page: KindPage, read: Callable[[list[int]], Sequence[Mapping[str, Any]]]) -> Response:
    """One page of the list of a kind, in the order that is asked for."""
    found, sort = narrowed_by(request, page), sort_of(request, page)
    if not sort:
        return page_answer(request, found, read)
    limit = whole_number(request, "limit", 1, MOST, LIMIT)
    cursors = request.query_params.getlist("cursor") or [""]
    if len(cursors) > 1:
        raise EntryRefused({"cursor": ["Give it once."]})
    keys, after = sorted_page(page, found, sort, cursors[0], limit)
    return Response({"next": after, "results": read(keys)})


def asked_by(request: Request, filters: Sequence[Filter], *others: str, searched: bool = True) -> Asked:
    """What a request asks of a list; `others` are parameters besides its filters and its pages. Raises EntryRefused
    with what is wrong with it."""
    asked = read_asked(request.query_params, filters, person(request), others=(*PAGING, *others), searched=searched)
    if asked.is_faulty:
        errors = {name: [message] for name, message in asked.faults.items()}
        raise EntryRefused(errors | ({"query": asked.unknown} if asked.unknown else {}))
    return asked


def keys_of(request: Request, found: QuerySet[Any], column: str = "pk") -> tuple[list[int], int | None]:
    """The keys of one page, and the cursor of the page after it."""
    cursor = whole_number(request, "cursor", 0, LARGEST, 0)
    limit = whole_number(request, "limit", 1, MOST, LIMIT)
    rows = found.filter(**{f"{column}__gt": cursor}).order_by(column).values_list(column, flat=True)
    keys = list(rows[: limit + 1])
    return keys[:limit], keys[limit - 1] if len(keys) > limit else None


def page_answer(
    request: Request, found: QuerySet[Any], read: Callable[[list[int]], Sequence[Mapping[str, Any]]]
) -> Response:
    """One page of what was found; `read` gives the records of some keys as plain data, in their order."""
    keys, after = keys_of(request, found)
    return Response({"next": after, "results": read(keys)})
