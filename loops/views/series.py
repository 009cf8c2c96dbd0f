"""A page that makes many loops like one from a list of tags and cable lengths."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from loops.models import Loop
from loops.services.series import MOST_LOOPS, Line, make_series, read_lines, runs_of
from loops.views.page import visible_loop
from loops.views.requests import person, typed
from registry import access
from registry.plain import harmless
from registry.services.records import Author

LONGEST_LIST = 60_000


@require_http_methods(["GET", "HEAD", "POST"])
def series(request: HttpRequest, pk: int) -> HttpResponse:
    """The list, what would come of it, and the loops made of it."""
    loop = visible_loop(request, pk)
    access.require(person(request), "loop.edit", loop.site)
    if request.method != "POST":
        return show(request, loop, "", [])
    text = harmless(request.POST.get("lines", ""))
    fault = ""
    lines = read_lines(text, len(runs_of(loop))) if len(text) <= LONGEST_LIST else []
    if len(text) > LONGEST_LIST or len(lines) > MOST_LOOPS:
        fault = _("The list is too long: make at most %d loops at a time.") % MOST_LOOPS
    elif not lines:
        fault = _("Write a line for each loop first.")
    if fault:
        return show(request, loop, text, [], fault=fault, status=400)
    commit = "_save" in request.POST
    author = Author(person(request), reason=typed(request, "reason", 400) or _("Made like %s") % loop.tag)
    good = make_series(loop, lines, author, commit=commit)
    if good and commit:
        count = len(lines)
        messages.success(
            request,
            ngettext("%(count)d loop like %(tag)s was made.", "%(count)d loops like %(tag)s were made.", count)
            % {"count": count, "tag": loop.tag},
        )
        return redirect("loop_list")
    return show(request, loop, text, lines, checked=good, status=200 if good else 400)


def show(
    request: HttpRequest,
    loop: Loop,
    text: str,
    lines: list[Line],
    *,
    checked: bool = False,
    fault: str = "",
    status: int = 200,
) -> HttpResponse:
    """The page with what was typed."""
    runs = runs_of(loop)
    example = "; ".join([f"{loop.tag}-2", *("120 m" for _run in runs), _("its service")])
    faulty = [line for line in lines if line.faults]
    errors = [{"id": "id-lines", "label": _("List"), "text": fault}] if fault else []
    errors += [
        {"id": "id-lines", "label": _("Line %d") % line.number, "text": text} for line in faulty for text in line.faults
    ]
    context = {
        "section": "loops",
        "crumbs": [
            {"text": _("Loops"), "url": reverse("loop_list")},
            {"text": loop.tag, "url": reverse("loop", args=[loop.pk])},
            {"text": _("More like this"), "url": ""},
        ],
        "loop": loop,
        "runs": runs,
        "lines": lines,
        "checked": checked,
        "errors": errors,
        "heading": _("Nothing was made: please mend the following"),
        "field": {
            "name": "lines",
            "id": "id-lines",
            "label": _("Tag, length of each cable run, service"),
            "kind": "textarea",
            "rows": 12,
            "value": text,
            "required": True,
            "help": _(
                "A line for each loop, parted by tabs or semicolons; rows of a spreadsheet can be pasted. Example: "
            )
            + example,
            "errors": [error["text"] for error in errors] if fault else [],
        },
        "reason": request.POST.get("reason", ""),
    }
    return render(request, "loops/series.html", context, status=status)
