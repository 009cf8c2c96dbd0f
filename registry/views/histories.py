"""The history of a record: every revision with what it changed, and any two of them side by side."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry.differences import changes
from registry.models import Revision
from registry.selectors import newest_number, revisions_of
from registry.showing import name_of
from registry.views.details import find
from registry.views.pages import KindPage

REVISIONS_A_PAGE = 20
CHOICES_SHOWN = 200


@require_safe
def history(request: HttpRequest, kind: KindPage, pk: int) -> HttpResponse:
    """Every revision of a record, newest first, each with what it changed."""
    record = find(request, kind, pk)
    newest = newest_number(record)
    asked = request.GET.get("page", "")
    last = max(1, -(-newest // REVISIONS_A_PAGE))
    number = min(last, int(asked)) if asked.isascii() and asked.isdigit() and 0 < len(asked) < 7 else 1
    number = max(1, number)
    upto = newest - (number - 1) * REVISIONS_A_PAGE
    # One more than is shown: the oldest on the page is compared with the one before it.
    found = list(revisions_of(record).filter(number__lte=upto, number__gte=upto - REVISIONS_A_PAGE))
    names: dict[tuple[str, int], str] = {}
    entries = []
    for revision, before in zip(found[:REVISIONS_A_PAGE], [*found[1:], None], strict=False):
        entries.append(
            {
                "revision": revision,
                "changes": described(kind, before, revision, names) if before else [],
                "is_first": revision.number == 1,
                "in_force": revision.number == newest,
            }
        )
    return render(
        request,
        "registry/history.html",
        {
            "kind": kind,
            "section": kind.section,
            "record": record,
            "record_url": kind.url(record),
            "compare_url": kind.url(record, "compare"),
            "entries": entries,
            "page": number,
            "pages": last,
            "count": newest,
            "crumbs": [
                {"text": kind.title, "url": kind.list_url},
                {"text": name_of(record), "url": kind.url(record)},
                {"text": _("History"), "url": ""},
            ],
        },
    )


def described(
    kind: KindPage, before: Revision, after: Revision, names: dict[tuple[str, int], str]
) -> list[dict[str, str]]:
    """The changes of one revision as rows: field, before, after."""
    return [
        {
            "label": f"{change.place}, {change.label}" if change.place else change.label,
            "before": change.before,
            "after": change.after,
        }
        for change in changes(kind.entry, before.snapshot, after.snapshot, names)
    ]


def chosen_revisions(request: HttpRequest, revisions: QuerySet[Revision]) -> tuple[Revision, Revision]:
    """The two revisions that `from` and `to` of the address name, the last two where it names none; 404 otherwise.

    `revisions` are those of one record.
    """
    newest = revisions.order_by("-number").values_list("number", flat=True).first()
    if newest is None:
        raise Http404(_("There is no revision yet."))
    asked = [request.GET.get(name, "") for name in ("from", "to")]
    standard = (max(1, newest - 1), newest)
    numbers = [
        int(text) if text.isascii() and text.isdigit() and len(text) < 10 else number
        for text, number in zip(asked, standard, strict=True)
    ]
    found = {revision.number: revision for revision in revisions.filter(number__in=numbers).select_related("author")}
    if any(number not in found for number in numbers):
        raise Http404(_("There is no such revision."))
    return found[numbers[0]], found[numbers[1]]


def comparison(
    revisions: QuerySet[Revision], before: Revision, after: Revision, rows: Iterable[dict[str, str]]
) -> dict[str, Any]:
    """What templates/registry/compare.html shows of two revisions of one record."""
    offered = revisions.order_by("-number").select_related("author").defer("snapshot")[:CHOICES_SHOWN]
    choices = {row.number: row for row in (*offered, before, after)}
    return {
        "before": before,
        "after": after,
        "rows": list(rows),
        "choices": [choices[number] for number in sorted(choices, reverse=True)],
    }


@require_safe
def compare(request: HttpRequest, kind: KindPage, pk: int) -> HttpResponse:
    """Any two revisions of a record, field by field."""
    record = find(request, kind, pk)
    revisions = revisions_of(record)
    if not revisions.exists():
        return HttpResponseRedirect(kind.url(record, "history"))  # it says why there is none
    before, after = chosen_revisions(request, revisions)
    context = comparison(revisions, before, after, described(kind, before, after, {}))
    context |= {
        "section": kind.section,
        "record": record,
        "crumbs": [
            {"text": kind.title, "url": kind.list_url},
            {"text": name_of(record), "url": kind.url(record)},
            {"text": _("History"), "url": kind.url(record, "history")},
            {"text": _("Compare"), "url": ""},
        ],
    }
    return render(request, "registry/compare.html", context)
