"""A type is obsolete: which loops use it, which candidate serves most of them, and drafts of what was chosen."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from loops.selectors import with_units
from loops.services.suitability.drafts import REASON
from loops.services.suitability.substitution import (
    DRAFTS,
    SUBSTITUTION,
    WORDS,
    loops_with,
    margin_of,
    used_types,
)
from loops.views.requests import person, typed
from loops.views.suits import suits_crumbs
from registry import access
from registry.exchange.csv_xlsx import Table, table, write_table
from registry.models import Equipment, Work, WorkState
from registry.querysets import search_text
from registry.services import works
from registry.views.exchanging import TABLE_TYPES, attached

PAGE_SIZE = 50
SHOWN_COLUMNS = 8
ALTERNATIVES = 3
MOST_DRAFTS = 2_000
"""So many loops get a draft at a time; a loop in which the type stands twice is one."""
PLACE = re.compile(r"([0-9]{1,15})(?:-([0-9]{1,15}))?", re.ASCII)


@require_http_methods(["GET", "HEAD", "POST"])
def substitutions(request: HttpRequest) -> HttpResponse:
    """The types in use, most used first; a POST begins the matrix of one."""
    user = person(request)
    if request.method == "POST":
        access.require(user, "loop.view")
        text = request.POST.get("equipment", "")
        key = int(text) if text.isascii() and text.isdigit() and len(text) < 16 else 0
        item = get_object_or_404(Equipment, pk=key)
        if not loops_with(user, key).exists():
            raise Http404(_("No loop of your sites uses this type: choose another one."))
        try:
            work = works.begin(user, SUBSTITUTION, _("In place of %s") % item, {"equipment": key})
        except works.WorkRefused as refused:
            return show_types(request, str(refused), status=409)
        return redirect("substitution", pk=work.pk)
    return show_types(request)


def show_types(request: HttpRequest, refusal: str = "", status: int = 200) -> HttpResponse:
    """The page of the types."""
    text = search_text(request.GET.get("q", ""))
    user = person(request)
    context = {
        "section": "suits",
        "crumbs": suits_crumbs((_("A type is obsolete"), "")),
        "text": text,
        "types": used_types(user, text),
        "before": works.works_of(user).filter(kind=SUBSTITUTION).defer("result", "asked")[:10],
        "refusal": refusal,
    }
    return render(request, "loops/suits/substitutions.html", context, status=status)


def own_matrix(request: HttpRequest, pk: int) -> Work:
    """A matrix of the person; 404 where there is none."""
    found: Work = get_object_or_404(works.works_of(person(request)), pk=pk, kind=SUBSTITUTION)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def substitution(request: HttpRequest, pk: int) -> HttpResponse:
    """The matrix, or how far it is; a POST makes drafts of loops with one candidate."""
    work = own_matrix(request, pk)
    if request.method != "POST":
        return show_matrix(request, work)
    user = person(request)
    access.require(user, "loop.propose")
    reason = typed(request, "reason", 400)
    places = places_in(request.POST.getlist("loop"))
    keys = list(dict.fromkeys(loop for loop, _member in places))
    refusal = ""
    if not reason:
        refusal = str(REASON)
    elif not keys:
        refusal = _("Choose at least one loop.")
    elif len(keys) > MOST_DRAFTS:
        refusal = _("At most %d drafts are made at a time.") % MOST_DRAFTS
    chosen = chosen_column(work.result, request.POST.get("candidate", ""))
    if refusal or chosen is None:
        return show_matrix(request, work, refusal or _("Choose a candidate."), status=400)
    candidate = work.result["candidates"][chosen]
    asked = {"work": work.pk, "candidate": candidate["key"], "loops": keys, "places": places, "reason": reason}
    try:
        drafts = works.begin(user, DRAFTS, _("Drafts with %s") % candidate["name"], asked)
    except works.WorkRefused as refused:
        return show_matrix(request, work, str(refused), status=409)
    return redirect("work", pk=drafts.pk)


def places_in(texts: Sequence[str]) -> list[tuple[int, int]]:
    """The places that a form names as `<key of the loop>-<key of the item's row in it>`, each once; without the
    latter, as 0, every place of that loop."""
    found = (PLACE.fullmatch(text) for text in texts)
    return list(dict.fromkeys((int(match[1]), int(match[2] or 0)) for match in found if match))


def chosen_column(result: Mapping[str, Any], text: str) -> int | None:
    """The number of the candidate whose key stands in an address; the first one without."""
    candidates = result.get("candidates") or []
    if not text:
        return 0 if candidates else None
    return next((number for number, item in enumerate(candidates) if str(item["key"]) == text), None)


def show_matrix(request: HttpRequest, work: Work, refusal: str = "", status: int = 200) -> HttpResponse:
    """The page of a matrix."""
    context: dict[str, Any] = {
        "section": "suits",
        "crumbs": suits_crumbs((_("A type is obsolete"), reverse("substitutions")), (work.title, "")),
        "work": work,
        "refusal": refusal,
    }
    if work.state == WorkState.DONE:
        context |= matrix_context(request, work)
    return render(request, "loops/suits/substitution.html", context, status=status)


def matrix_context(request: HttpRequest, work: Work) -> dict[str, Any]:
    """What the page of a matrix that has been made shows."""
    result = work.result
    asked = request.POST if request.method == "POST" else request.GET
    chosen = chosen_column(result, asked.get("candidate", ""))
    candidates: Sequence[Mapping[str, Any]] = result["candidates"]
    if chosen is None and candidates:
        raise Http404
    rows = with_units(result["rows"])
    served = [row for row in rows if chosen is not None and row["words"][chosen] == "s"]
    others = [row for row in rows if chosen is None or row["words"][chosen] != "s"]
    page = Paginator(rows, PAGE_SIZE).get_page(asked.get("page", "")[:6])
    user = person(request)
    return {
        "result": result,
        "count": len(rows),
        "candidates": [
            dict(item) | {"url": f"?candidate={item['key']}", "chosen": number == chosen}
            for number, item in enumerate(candidates)
        ],
        "chosen": candidates[chosen] if chosen is not None else None,
        "served": [shown_row(row, chosen) for row in served],
        "others": [shown_row(row, chosen) | {"instead": instead(row, candidates)} for row in others[:PAGE_SIZE]],
        "others_count": len(others),
        "others_more": max(0, len(others) - PAGE_SIZE),
        "heads": [item["name"] for item in candidates[:SHOWN_COLUMNS]],
        "page_obj": page,
        "page_query": f"candidate={candidates[chosen]['key']}" if chosen is not None else "",
        "what": _("places"),
        "cells": [
            {"row": row, "words": [WORDS[letter].value for letter in row["words"][:SHOWN_COLUMNS]]}
            for row in page.object_list
        ],
        "columns_more": max(0, len(candidates) - SHOWN_COLUMNS),
        "may_draft": access.may(user, "loop.propose"),
        "reason": typed(request, "reason", 400),
        "ticked": request.POST.getlist("loop") if request.method == "POST" else None,
    }


def shown_row(row: Mapping[str, Any], chosen: int | None) -> dict[str, Any]:
    """One place as the lists show it."""
    way = row["ways"][chosen] if chosen is not None else ""
    url = reverse("suits_item", args=[row["loop"], row["member"]])
    return dict(row) | {
        "place": f"{row['loop']}-{row['member']}",
        "margin": margin_of(row["margins"][chosen]) if chosen is not None else None,
        "word": WORDS[row["words"][chosen]].value if chosen is not None else "",
        "url": reverse("suits_check", args=[row["loop"], row["member"], way]) if way else url,
        "reason": row.get("why", "") if chosen == 0 else "",
        "can_draft": row["state"] != "in_review",
    }


def instead(row: Mapping[str, Any], candidates: Sequence[Mapping[str, Any]]) -> list[str]:
    """The first candidates that suit in a place."""
    suiting = [item["name"] for item, letter in zip(candidates, row["words"], strict=True) if letter == "s"]
    return suiting[:ALTERNATIVES]


@require_safe
def export(request: HttpRequest, pk: int, suffix: str) -> HttpResponse:
    """The whole matrix as a table: a row a place, a column a candidate with its word and margin."""
    work = own_matrix(request, pk)
    if suffix not in TABLE_TYPES or work.state != WorkState.DONE:
        raise Http404
    content = matrix_table(work.result)
    data = write_table(content, suffix, _("substitution"))
    return attached(data, f"substitution-{work.pk}.{suffix}", TABLE_TYPES[suffix])


def matrix_table(result: Mapping[str, Any]) -> Table:
    """A matrix as a table."""
    candidates = result["candidates"]
    names = {"s": _("suits"), "c": _("cannot say"), "d": _("does not suit")}
    headings = [
        _("site"),
        _("loop"),
        _("tag"),
        _("state"),
        _("why not the first"),
        *(item["name"] for item in candidates),
    ]
    rows = []
    for row in result["rows"]:
        cells = []
        for letter, margin in zip(row["words"], row["margins"], strict=True):
            share = margin_of(margin)
            cells.append(names[letter] + (f" ({100 * share:.1f} %)" if share is not None else ""))
        rows.append([row["site"], row["tag"], row["item"], row["state"], row.get("why", ""), *cells])
    return table(headings, rows)
