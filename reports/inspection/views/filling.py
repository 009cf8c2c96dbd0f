"""Filling in an inspection on a phone or at a desk: one place at a time, and each line may be saved alone."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from loops.topics import topic_said
from loops.views.requests import person, typed
from registry import access
from registry.models import Attachment, User
from registry.services.attachments import FileRefused
from registry.views.files import file_answer
from reports.inspection import services
from reports.inspection.lengths import expected_in, values_in
from reports.inspection.models import PHOTO, Inspection, Line, Priority, Result, photos_of
from reports.inspection.services import LONGEST_FOUND, LONGEST_NOTE, InspectionRefused, LineFault, LineText

Places = list[tuple[str, list[Line]]]
PICKED = {"item": "MemberEntry.terminals", "cable_type": "CableEntry.cable_type"}
"""Values that are names of the register, and where names to pick from are asked for."""


def visible(request: HttpRequest, pk: int) -> Inspection:
    """The inspection, or 404 where there is none that the person may see."""
    found: Inspection = get_object_or_404(services.visible_inspections(person(request)), pk=pk)
    access.require(person(request), "inspection.view", found.loop.site)
    return found


def places_of(inspection: Inspection) -> Places:
    """The lines of an inspection by place, in their order."""
    lines = inspection.lines.select_related("saved_by")
    return [(name, list(group)) for name, group in groupby(lines, key=lambda line: line.place)]


def may_fill(inspection: Inspection, user: User) -> bool:
    return inspection.is_open and access.may(user, "inspection.make", inspection.loop.site)


def typed_line(request: HttpRequest, line: Line) -> LineText:
    """What a form says of one line."""
    return LineText(
        typed(request, f"result-{line.pk}", 20),
        typed(request, f"note-{line.pk}", LONGEST_NOTE),
        typed(request, f"priority-{line.pk}", 2),
        {
            value["name"]: typed(request, f"found-{line.pk}-{index}", LONGEST_FOUND)
            for index, value in enumerate(line.values)
        },
    )


def shown_line(
    line: Line, text: LineText, faults: dict[str, str], photos: list[Attachment], unit: str
) -> dict[str, Any]:
    """One line for the page, with what is typed and what is wrong with it; `unit` is what the site reads lengths in."""
    return {
        "line": line,
        "expected": expected_in(line.expected, line.values, unit),
        "mark": services.state_of(line).mark,
        "text": text,
        "results": [(str(value), label, value == text.result) for value, label in Result.choices if value],
        "priorities": [(value, label, value == text.priority) for value, label in Priority.choices],
        "values": [
            value
            | {
                "field": f"found-{line.pk}-{index}",
                "typed": text.found.get(value["name"], ""),
                "fault": faults.get(value["name"], ""),
                "picked": reverse("pick", args=[PICKED[value["name"]]]) if value["name"] in PICKED else "",
            }
            for index, value in enumerate(values_in(line.values, unit))
        ],
        "faults": faults,
        "photos": photos,
        "open": bool(faults or photos or text.note or any(text.found.values())),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def place(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """One place of an inspection: its lines, saved together or one at a time.

    A line that cannot be kept hinders none of the others; it comes back as it was typed.
    """
    inspection = visible(request, pk)
    places = places_of(inspection)
    if not 1 <= number <= len(places):
        raise Http404
    if request.method == "POST":
        access.require(person(request), "inspection.make", inspection.loop.site)
        return saved(request, inspection, places, number)
    if not may_fill(inspection, person(request)):
        return redirect(f"{reverse('inspection', args=[pk])}#place-{number}")
    return place_page(request, inspection, places, number)


def saved(request: HttpRequest, inspection: Inspection, places: Places, number: int) -> HttpResponse:
    """Save the lines of a place that were sent, then show the next place, or this one where something is left."""
    refused: dict[int, tuple[LineText, dict[str, str]]] = {}
    count = 0
    for row in places[number - 1][1]:
        if f"opened-{row.pk}" not in request.POST:
            continue
        try:
            count += keep(request, inspection, row)
        except LineFault as fault:
            refused[row.pk] = (typed_line(request, row), fault.faults)
        except InspectionRefused as error:
            messages.error(request, str(error))
            return redirect("inspection", pk=inspection.pk)
    if count:
        words = ngettext("%(count)d line saved.", "%(count)d lines saved.", count) % {"count": count}
        messages.success(request, words)
    if refused:
        return place_page(request, inspection, places_of(inspection), number, refused)
    if "next" in request.POST:
        target = reverse("inspection_place", args=[inspection.pk, number + 1])
        return redirect(target if number < len(places) else reverse("inspection", args=[inspection.pk]))
    if request.POST.get("save", "").isdigit():
        return redirect(f"{reverse('inspection_place', args=[inspection.pk, number])}#line-{request.POST['save']}")
    return redirect("inspection_place", pk=inspection.pk, number=number)


def keep(request: HttpRequest, inspection: Inspection, row: Line) -> bool:
    """Save one line of a form with its photo; whether anything was new. Raises LineFault, InspectionRefused."""
    text, opened = typed_line(request, row), request.POST.get(f"opened-{row.pk}", "")
    untouched = text.mark == opened
    line = row if untouched else services.save_line(inspection.pk, row.pk, person(request), text, opened)
    photo = request.FILES.get(f"photo-{row.pk}")
    if photo is not None:
        try:
            if (photo.size or 0) > settings.ATTACHMENT_MAX_BYTES:
                raise FileRefused(
                    _("This photo is larger than %d MB: take it with fewer points.")
                    % (settings.ATTACHMENT_MAX_BYTES // 1_000_000)
                )
            services.add_photo(inspection.pk, line.pk, person(request), name=photo.name or "", content=photo.read())
        except FileRefused as error:
            raise LineFault({"photo": str(error)}) from error
    return bool(photo) or not untouched


def place_page(
    request: HttpRequest,
    inspection: Inspection,
    places: Places,
    number: int,
    refused: dict[int, tuple[LineText, dict[str, str]]] | None = None,
) -> HttpResponse:
    """The form of one place; what was refused is shown as it was typed."""
    refused = refused or {}
    name, lines = places[number - 1]
    photos = photos_of(lines)
    unit = inspection.loop.site.length_unit
    rows = [
        shown_line(line, *refused.get(line.pk, (services.state_of(line), {})), photos[line.pk], unit) for line in lines
    ]
    done = sum(bool(line.result) for _place, listed in places for line in listed)
    total = sum(len(listed) for _place, listed in places)
    context = {
        "section": "inspections",
        "crumbs": [
            {"text": _("Inspections"), "url": reverse("inspections")},
            {"text": inspection.loop.tag, "url": reverse("inspection", args=[inspection.pk])},
            {"text": topic_said(name), "url": ""},
        ],
        "inspection": inspection,
        "place": name,
        "number": number,
        "places": [
            {
                "number": index,
                "name": other,
                "done": sum(bool(line.result) for line in listed),
                "total": len(listed),
                "current": index == number,
            }
            for index, (other, listed) in enumerate(places, start=1)
        ],
        "rows": rows,
        "done": done,
        "total": total,
        "is_last": number == len(places),
        "largest_file_mb": settings.ATTACHMENT_MAX_BYTES // 1_000_000,
        "errors": [
            {"id": f"line-{pk}", "label": "", "text": text}
            for pk, (_text, faults) in refused.items()
            for text in faults.values()
        ],
    }
    return render(request, "reports/inspection/place.html", context, status=400 if refused else 200)


@require_POST
def line(request: HttpRequest, pk: int, line_pk: int) -> JsonResponse:
    """Save one line for the page's script: what was saved, or what is wrong with it."""
    inspection = visible(request, pk)
    access.require(person(request), "inspection.make", inspection.loop.site)
    row: Line = get_object_or_404(inspection.lines.select_related("saved_by"), pk=line_pk)
    try:
        keep(request, inspection, row)
    except LineFault as fault:
        return JsonResponse({"faults": list(fault.faults.values())}, status=400)
    except InspectionRefused as error:
        return JsonResponse({"faults": [str(error)]}, status=409)
    row.refresh_from_db()
    unit = inspection.loop.site.length_unit
    shown = shown_line(row, services.state_of(row), {}, photos_of([row])[row.pk], unit)
    return JsonResponse(
        {
            "mark": shown["mark"],
            "done": inspection.lines.exclude(result="").count(),
            "outcome": render_to_string("reports/inspection/outcome.html", {"row": shown, "inspection": inspection}),
        }
    )


def photo_of(inspection: Inspection, photo_pk: int) -> Attachment:
    """A photo of a line of this inspection, or 404."""
    lines = inspection.lines.values("pk")
    found: Attachment = get_object_or_404(Attachment, pk=photo_pk, kind=PHOTO, record_id__in=lines)
    return found


@require_safe
def photo(request: HttpRequest, pk: int, photo_pk: int) -> HttpResponse:
    """The bytes of a photo; a picture is shown, anything else is saved and never shown as a page of this site."""
    row = photo_of(visible(request, pk), photo_pk)
    return file_answer(row, shown=row.media_type.startswith("image/"))


@require_POST
def retire_photo(request: HttpRequest, pk: int, photo_pk: int) -> HttpResponse:
    """Let a photo no longer count."""
    inspection = visible(request, pk)
    access.require(person(request), "inspection.make", inspection.loop.site)
    row = photo_of(inspection, photo_pk)
    try:
        services.retire_photo(pk, row.pk, person(request), reason=typed(request, "text", 400) or _("Taken by mistake"))
    except (FileRefused, InspectionRefused) as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%(name)s no longer counts; it stays in the store.") % {"name": row.name})
    places = places_of(inspection)
    number = next(index for index, (_n, lines) in enumerate(places, 1) if any(x.pk == row.record_id for x in lines))
    return redirect("inspection_place", pk=pk, number=number)
