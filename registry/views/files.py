"""Files of a record: attach one, read one, retire one."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from registry.models import Attachment, User
from registry.plain import harmless
from registry.services import attachments
from registry.services.attachments import FileDamaged, FileRefused
from registry.views.details import find, record_answer
from registry.views.kinds import KINDS
from registry.views.pages import KindPage


@require_POST
def attach(request: HttpRequest, kind: KindPage, pk: int) -> HttpResponse:
    """Take a file in; a refusal stands on the page of the record."""
    record = find(request, kind, pk)
    user: User = request.user  # type: ignore[assignment]
    kind.require_edit(user, record)
    upload = request.FILES.get("file")
    try:
        if upload is None:
            raise FileRefused(_("Choose a file first."))
        if (upload.size or 0) > settings.ATTACHMENT_MAX_BYTES:
            raise FileRefused(
                _("This file is larger than %(ATTACHMENT_MAX_BYTES)s MB: save it smaller, or in parts.")
                % {"ATTACHMENT_MAX_BYTES": settings.ATTACHMENT_MAX_BYTES // 1000000}
            )
        row = attachments.attach(kind.kind, pk, user, name=upload.name or "", content=upload.read())
    except FileRefused as error:
        return record_answer(request, kind, record, file_refusal=str(error))
    messages.success(request, (_("%(name)s was attached.") % {"name": row.name}))
    return redirect(kind.url(record))


def found_file(request: HttpRequest, pk: int) -> Attachment:
    """The file, or 404 where there is none whose record the person may see."""
    row = get_object_or_404(Attachment.objects.select_related("retirement"), pk=pk)
    if row.kind not in attachments.MODELS:
        raise Http404
    find(request, KINDS[row.kind], row.record_id)
    return row


@require_safe
def file(request: HttpRequest, pk: int) -> HttpResponse:
    """The bytes of a file, to be saved and never shown as a page of this site."""
    return file_answer(found_file(request, pk))


def file_answer(row: Attachment, *, shown: bool = False) -> HttpResponse:
    """The bytes of a file, to be saved; `shown` for a picture that the browser may show, alone and without rights."""
    try:
        content = attachments.file_bytes(row)
    except FileDamaged as error:
        return HttpResponse(f"{row.name}: {error}", status=500, content_type="text/plain; charset=utf-8")
    response = HttpResponse(content, content_type=row.media_type)
    response["Content-Disposition"] = content_disposition_header(not shown, row.name) or "attachment"
    return kept_apart(response)


def kept_apart(response: HttpResponse) -> HttpResponse:
    """A file as an answer: of the type that it says, without rights in the browser, kept by nobody on the way."""
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'; sandbox"
    response["Cache-Control"] = "private, no-store"
    return response


@require_POST
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    """State that a file no longer counts."""
    row = found_file(request, pk)
    kind = KINDS[row.kind]
    record = find(request, kind, row.record_id)
    user: User = request.user  # type: ignore[assignment]
    kind.require_edit(user, record)
    reason = harmless(str(request.POST.get("reason", "")))
    try:
        attachments.retire(row.pk, user, reason=reason)
    except FileRefused as error:
        return record_answer(request, kind, record, file_refusal=str(error))
    messages.success(request, (_("%(name)s was retired; it stays readable.") % {"name": row.name}))
    return redirect(kind.url(record))
