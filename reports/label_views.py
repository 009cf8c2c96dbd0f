"""The pages of labels: choosing loops as their list chooses them, and the PDF."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from loops.models import Loop
from loops.selectors import visible_loops
from loops.views.kind import LOOP
from loops.views.requests import person
from registry import access
from registry.views.exchanging import export_seen
from registry.views.listing import asked_of, found_records
from registry.views.lists import record_list
from registry.views.many import keys_in
from registry.views.pages import Column, text
from registry.words import lazily
from reports.labels import GRIDS, KINDS, LOOPS, Grid, LabelsRefused, labels_of, labels_pdf, loops_with_code, own_grid
from reports.views import pdf_response

SHOWN = (lazily("Service"), lazily("Areas"), lazily("Verdict"), lazily("State"), lazily("Revision"))


def tag(loop: Loop) -> dict[str, Any]:
    return text(loop.tag, url=reverse("loop", args=[loop.pk]), note=loop.site.code, key=loop.pk)


def code(loop: Loop) -> dict[str, Any]:
    if getattr(loop, "has_code", False):
        return text(_("yes"))
    return text(_("none: not issued"), warn=True)


def fill(loops: list[Loop]) -> None:
    """Write into loops whether a code can lead to their issue."""
    coded = loops_with_code(loops)
    for loop in loops:
        loop.has_code = loop.pk in coded  # type: ignore[attr-defined]


LABEL = replace(
    LOOP,
    kind="label",
    path="labels",
    title="Labels",
    section="schedules",
    edit_action="",
    add_action="",
    fill=fill,
    columns=(
        Column(lazily("Loop"), tag, "tag", LOOP.columns[0].order),
        Column(lazily("Code"), code),
        *(replace(column, shown=column.label in SHOWN) for column in LOOP.columns[1:]),
    ),
    empty_text=lazily("Labels are printed for loops: enter one first."),
)
"""The list of loops, to choose from."""
MOST_LOOPS = 1_000
TOO_MANY = gettext_lazy("These are more than %(most)d loops: filter the list, or tick fewer.")
SIZES = ("columns", "rows", "width", "height", "left", "top", "gap_x", "gap_y")


@require_safe
def choose(request: HttpRequest) -> HttpResponse:
    """Loops of all sites of the person, narrowed as the address says, with what of them is to be labelled."""
    return record_list(request, LABEL, "reports/labels.html")


@require_safe
def export(request: HttpRequest, suffix: str) -> HttpResponse:
    """The columns that the list shows, of all its pages."""
    return export_seen(request, LABEL, suffix)


@require_safe
def labels(request: HttpRequest) -> HttpResponseBase:
    """The labels as PDF; what cannot be laid out leads back to the list with the reason."""
    user = person(request)
    if not access.may(user, "sheet.view"):
        raise PermissionDenied(_("You are not a member of this site: a site administrator can give you a role."))
    query = request.GET.get("query", "")[:4_000]
    try:
        grid, start = grid_of(request), whole(request, "start", 1)
        copies = whole(request, "copies", 1)
        if not 1 <= copies <= 20:
            raise LabelsRefused(_("Print 1 to 20 copies of each label."))
        kinds = [kind for kind in KINDS if kind in request.GET.getlist("what")] or [LOOPS]
        chosen = [label for label in labels_of(chosen_loops(request, query), kinds) for _copy in range(copies)]
        data = labels_pdf(
            chosen,
            grid,
            timezone.now(),
            start=start,
            stripe=request.GET.get("stripe") == "1",
            lines=request.GET.get("lines") == "1",
        )
    except LabelsRefused as refused:
        messages.error(request, str(refused))
        response = redirect("label_list")
        response["Location"] += f"?{query}" if query else ""
        return response
    return pdf_response(data, "labels.pdf", inline=request.GET.get("view") == "1")


def chosen_loops(request: HttpRequest, query: str) -> Any:
    """The loops that are ticked, or all that the list shows where that is asked for. Raises LabelsRefused."""
    user = person(request)
    if request.GET.get("which") == "all":
        asked = asked_of(LABEL, query, user)
        found = found_records(LABEL, user, asked)
    else:
        keys = keys_in(request.GET.getlist("loop"))
        if len(keys) > MOST_LOOPS:
            raise LabelsRefused(TOO_MANY % {"most": MOST_LOOPS})
        found = visible_loops(user).filter(pk__in=keys)
    found = Loop.objects.filter(pk__in=found.order_by().values("pk")).order_by("site__code", "tag", "pk")
    if found.count() > MOST_LOOPS:
        raise LabelsRefused(TOO_MANY % {"most": MOST_LOOPS})
    return found


def grid_of(request: HttpRequest) -> Grid:
    """The sheet that is asked for, with numbers of its own where some are typed. Raises LabelsRefused."""
    grid = GRIDS.get(request.GET.get("grid", ""), GRIDS["a4-3x8"])
    sizes = {name: value for name in SIZES if (value := number(request, name)) is not None}
    return own_grid(grid, sizes)


def number(request: HttpRequest, name: str) -> float | None:
    """A number in mm as it is typed; None where nothing is. Raises LabelsRefused."""
    text = request.GET.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,2})?", text):
        raise LabelsRefused(_("Write sizes in mm with at most two decimals, for example 63.5."))
    return float(text)


def whole(request: HttpRequest, name: str, otherwise: int) -> int:
    """A whole number as it is typed. Raises LabelsRefused."""
    text = request.GET.get(name, "").strip()
    if not text:
        return otherwise
    if not re.fullmatch(r"[0-9]{1,4}", text):
        raise LabelsRefused(_("Write positions and copies as whole numbers."))
    return int(text)
