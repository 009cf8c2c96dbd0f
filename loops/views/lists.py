"""The list of loops."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from loops import selectors
from loops.models import LoopState, LoopVerdict
from loops.views.requests import person
from registry import access
from registry.models import Site
from registry.services.imports import export_file
from registry.views.exchanging import TYPES, attached

PAGE_SIZE = 50
FILTERS = ("site", "state", "verdict", "area", "q", "owner", "failing", "basis", "archived")
COLUMNS = (
    ("tag", "Loop"),
    ("service", "Service"),
    ("", "Areas"),
    ("verdict", "Verdict"),
    ("", "What decides"),
    ("margin", "Least margin"),
    ("state", "State"),
    ("letter", "Revision"),
    ("owner", "Owner"),
    ("changed", "Changed"),
)


def loop_list(request: HttpRequest) -> HttpResponse:
    """Loops of all sites of the person, filtered and sorted by the query string."""
    wanted = asked(request)
    loops = selectors.filtered_loops(person(request), wanted)
    page = Paginator(loops, PAGE_SIZE).get_page(request.GET.get("page"))
    rows = list(page.object_list)
    areas = selectors.areas_by_loop([loop.pk for loop in rows])
    sites = list(Site.objects.filter(pk__in=access.sites_of(person(request))).order_by("code"))
    choosable = [
        (str(area.pk), f"{area.site.code}: {area.name}" if len(sites) > 1 else area.name)
        for area in selectors.areas_of([site.pk for site in sites]).order_by("site__code", "name")
    ]
    context = {
        "section": "loops",
        "page_obj": page,
        "rows": [(loop, areas.get(loop.pk, [])) for loop in rows],
        "several_sites": len(sites) > 1,
        "columns": columns(wanted),
        "filters": filters(wanted, sites, choosable),
        "chips": chips(wanted, dict(choosable)),
        "clear_url": "?" if set(wanted) - {"sort"} else "",
        "hidden": [("sort", wanted["sort"])] if "sort" in wanted else [],
        "query_string": urlencode(wanted),
        "what": "loops",
        "exports": [(suffix, reverse("loop_export", args=[suffix]) + f"?{urlencode(wanted)}") for suffix in TYPES],
    }
    return render(request, "loops/list.html", context)


@require_safe
def export(request: HttpRequest, suffix: str) -> HttpResponse:
    """The loops that the list shows under its filters, all pages of it, as a table that can be imported again."""
    if suffix not in TYPES:
        raise Http404
    loops = selectors.filtered_loops(person(request), asked(request))
    return attached(export_file("loop", loops, suffix), f"loops.{suffix}", TYPES[suffix])


def asked(request: HttpRequest) -> dict[str, str]:
    """The filters and the order in the query string."""
    return {name: text for name in (*FILTERS, "sort") if (text := request.GET.get(name, "").replace("\0", "").strip())}


def columns(wanted: dict[str, str]) -> list[dict[str, str]]:
    """Table heads with the address that sorts by them and how they are sorted now."""
    now = wanted.get("sort", selectors.DEFAULT_SORT)
    kept = {name: value for name, value in wanted.items() if name != "sort"}
    heads = []
    for name, text in COLUMNS:
        target = f"-{name}" if now == name else name
        order = {name: "ascending", f"-{name}": "descending"}.get(now, "") if name else ""
        heads.append({"text": text, "order": order, "url": "?" + urlencode(kept | {"sort": target}) if name else ""})
    return heads


def filters(wanted: dict[str, str], sites: list[Site], areas: list[tuple[str, str]]) -> list[dict[str, Any]]:
    """Fields of the filter bar."""
    found: list[dict[str, Any]] = [
        {
            "name": "q",
            "id": "filter-q",
            "label": "Tag or service",
            "value": wanted.get("q", ""),
            "kind": "search",
            "placeholder": "Part of a tag",
        }
    ]
    choices: list[tuple[str, str, list[tuple[str, str]]]] = [
        ("verdict", "Verdict", [(str(value), str(text)) for value, text in LoopVerdict.choices]),
        ("state", "State", [(str(value), str(text)) for value, text in LoopState.choices]),
        ("area", "Area", areas),
        ("owner", "Owner", [("me", "My loops")]),
        ("failing", "Failing", [("1", "In safety or function")]),
        ("basis", "Basis", [("changed", "Changed since issue")]),
        ("archived", "Archived", [("1", "Archived loops"), ("all", "Both")]),
    ]
    if len(sites) > 1:
        choices.insert(0, ("site", "Site", [(site.code, str(site)) for site in sites]))
    nothing = {"archived": "Not archived", "owner": "Everybody"}
    for name, label, pairs in choices:
        found.append(
            {
                "name": name,
                "id": f"filter-{name}",
                "label": label,
                "value": wanted.get(name, ""),
                "kind": "select",
                "choices": [("", nothing.get(name, "Any")), *pairs],
            }
        )
    return found


def chips(wanted: dict[str, str], areas: dict[str, str]) -> list[dict[str, str]]:
    """The filters in force in words, each with the address of the list without it."""
    words = {
        "q": lambda value: f"“{value}”",
        "site": lambda value: f"Site {value}",
        "state": lambda value: dict(LoopState.choices).get(value, value),
        "verdict": lambda value: dict(LoopVerdict.choices).get(value, value),
        "area": lambda value: f"Area {areas.get(value, value)}",
        "owner": lambda value: "My loops",
        "failing": lambda value: "Failing",
        "basis": lambda value: "Basis changed",
        "archived": lambda value: "Archived and not" if value == "all" else "Archived",
    }
    return [
        {
            "text": str(words[name](wanted[name])),
            "url": "?" + urlencode({key: value for key, value in wanted.items() if key != name}),
        }
        for name in FILTERS
        if name in wanted
    ]
