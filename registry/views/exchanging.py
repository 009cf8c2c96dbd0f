"""Tables in and out of the register: import with a check before it, templates, and export of what a list shows."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from registry import access
from registry.asking import Asked
from registry.exchange.csv_xlsx import MAX_BYTES, write_table
from registry.models import Origin, User
from registry.plain import harmless
from registry.printing import PRINTERS, Printed, PrintRefused, require_short
from registry.services.imports import KINDS, Report, TableError, export_file, import_file, template_file
from registry.services.records import Author
from registry.stored import said
from registry.tasks import foretell_table
from registry.views import kinds
from registry.views.foreseeing import ALL_ASKED, JUDGE_ALL, shown_effects
from registry.views.listing import asked_of, seen_table, shown_records, with_layout
from registry.views.lists import list_page
from registry.views.pages import KindPage

SHOWN = 200
CARRIED_BYTES = 1_500_000
"""A checked file up to this size travels in the page, so that saving it is one press. In base 64 it stays below what
the site takes as text of a form."""
TABLE_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
TYPES = TABLE_TYPES | {"pdf": "application/pdf"}
MAY_IMPORT = ("register.edit", "area.edit", "loop.edit")


def attached(content: bytes, name: str, content_type: str) -> HttpResponse:
    """A file to be kept, never to be shown by the browser."""
    answer = HttpResponse(content, content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@require_safe
def export_list(request: HttpRequest, kind: KindPage, suffix: str) -> HttpResponse:
    """What a list shows under its filters, all pages of it, as a table that can be imported again."""

    def content(user: User, asked: Asked) -> bytes:
        return export_file(kind.kind, shown_records(kind, user, asked), suffix)

    if suffix not in TABLE_TYPES:
        raise Http404
    return exported(request, kind, suffix, kind.path, content)


@require_safe
def export_seen(request: HttpRequest, kind: KindPage, suffix: str) -> HttpResponse:
    """The columns that a list shows, of all its pages, as they read there."""

    def content(user: User, asked: Asked) -> bytes:
        columns = with_layout(kind, user, asked)[0]
        if suffix in PRINTERS:
            require_short(shown_records(kind, user, asked).count())
        seen = seen_table(kind, user, asked, columns)
        if suffix in PRINTERS:
            return PRINTERS[suffix](Printed(kind.title, tuple(asked.in_words()), seen, user, timezone.now()))
        return write_table(seen, suffix, kind.plural[:31])

    try:
        return exported(request, kind, suffix, f"{kind.path.replace('/', '-')}-seen", content)
    except PrintRefused as refused:
        messages.error(request, str(refused))
        return redirect(f"{kind.list_url}?{request.GET.urlencode()}")


def exported(
    request: HttpRequest, kind: KindPage, suffix: str, name: str, content: Callable[[User, Asked], bytes]
) -> HttpResponse:
    """A table of what a list is asked for; the list itself where it cannot be understood. Raises Http404."""
    user: User = request.user  # type: ignore[assignment]
    if suffix not in TABLE_TYPES and suffix not in PRINTERS:
        raise Http404
    asked = asked_of(kind, request.GET, user)
    if asked.is_faulty:
        return list_page(request, kind, asked)
    return attached(content(user, asked), f"{name}.{suffix}", TYPES[suffix])


@require_safe
def table_template(request: HttpRequest, kind: str, suffix: str) -> HttpResponse:
    """The headings of a kind with one row as an example."""
    if suffix not in TABLE_TYPES or kind not in KINDS:
        raise Http404
    return attached(template_file(kind, suffix), f"{kind}-template.{suffix}", TABLE_TYPES[suffix])


def require_import(user: User) -> None:
    """Raise PermissionDenied for who may import nothing at all; each table is asked about again when it is read."""
    if not any(access.may(user, action) for action in MAY_IMPORT):
        access.require(user, "register.edit")


@require_http_methods(["GET", "HEAD", "POST"])
def import_page(request: HttpRequest) -> HttpResponse:
    """Check a table, or save it as a whole.

    Nothing is kept here between the two: the file comes again with the save, chosen anew or carried by the page, and
    is read and checked anew, so that what is saved is what was sent.
    """
    user: User = request.user  # type: ignore[assignment]
    require_import(user)
    kind = (request.POST if request.method == "POST" else request.GET).get("kind", "")
    kind = kind if kind in KINDS else ""
    reason = harmless(request.POST.get("reason", "")).strip()[:400]
    context: dict[str, Any] = {"kind": kind, "reason": reason}
    status = 200
    if request.method == "POST":
        try:
            name, content = sent_file(request)
            author = Author(user, Origin.IMPORT, reason or _("Import of %(name)s") % {"name": name})
            report = import_file(content, author, kind=kind, commit="save" in request.POST)
        except (TableError, PermissionDenied) as error:
            status = 403 if isinstance(error, PermissionDenied) else 400
            context["errors"] = [{"id": "f-file", "text": said(str(error)), "message": said(str(error))}]
        else:
            status = 400 if report.faults else 200
            context |= shown_report(report)
            if not report.saved and not report.faults and len(content) <= CARRIED_BYTES:
                context["carried"] = {"name": name, "content": base64.b64encode(content).decode()}
                if JUDGE_ALL in request.POST:
                    foretell_table.enqueue(user.pk, context["carried"]["content"], report.kind, name)
                    messages.info(request, ALL_ASKED)
                    context["all_asked"] = True
    return render(request, "registry/import.html", context | page_context(kind, reason), status=status)


def sent_file(request: HttpRequest) -> tuple[str, bytes]:
    """Name and content of the file of a request: chosen, or carried along from the check. Raises TableError."""
    upload = request.FILES.get("file")
    if upload is None and (carried := request.POST.get("carried")):
        try:
            return request.POST.get("carried_name", "")[:200], base64.b64decode(carried, validate=True)
        except (binascii.Error, ValueError) as error:
            raise TableError(_("The page was damaged on its way: choose the file again.")) from error
    if upload is None:
        raise TableError(_("Choose a CSV or XLSX file."))
    if (upload.size or 0) > MAX_BYTES:
        raise TableError(_("This file is larger than %(size)s MB: divide it.") % {"size": MAX_BYTES // 1_000_000})
    return str(upload.name)[:200], upload.read()


def shown_report(report: Report) -> dict[str, Any]:
    """What the page says of an import."""
    faults = base64.b64encode(report.as_csv()).decode() if report.faults else ""
    return {
        "report": report,
        "title": _(KINDS[report.kind].layout.title),
        "differs": bool(report.added or report.changed),
        "list_url": kinds.KINDS[report.kind].list_url if report.kind in kinds.KINDS else "",
        "faults": [asdict(fault) for fault in report.faults[:SHOWN]],
        "more": max(0, len(report.faults) - SHOWN),
        **(shown_effects(report.effects) if report.effects else {}),
        "faults_file": f"data:text/csv;base64,{faults}" if faults else "",
    }


def page_context(kind: str, reason: str) -> dict[str, Any]:
    choices = [("", _("Told by its headings")), *((name, _(item.layout.title)) for name, item in KINDS.items())]
    page = kinds.KINDS.get(kind)
    return {
        "section": page.section if page else "loops" if kind == "loop" else "",
        "crumbs": [*([{"text": page.title, "url": page.list_url}] if page else []), {"text": _("Import"), "url": ""}],
        "fields": [
            {
                "name": "file",
                "id": "f-file",
                "label": _("Table"),
                "kind": "file",
                "required": True,
                "help": _("CSV or XLSX, at most %(size)s MB.") % {"size": MAX_BYTES // 1_000_000},
                "attrs": {"accept": ".csv,.xlsx"},
            },
            {
                "name": "kind",
                "id": "f-kind",
                "label": _("Table of"),
                "kind": "select",
                "value": kind,
                "choices": choices,
                "required": True,
            },
            {
                "name": "reason",
                "id": "f-reason",
                "label": _("Why"),
                "value": reason,
                "wide": True,
                "help": _("Kept with each revision."),
            },
        ],
        "templates": [(name, _(item.layout.title)) for name, item in KINDS.items()],
    }
