"""Files of certificates and equipment: which there are, one more, the bytes of one, and its retirement."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from registry import access
from registry.api.describing import IDEMPOTENCY_KEY
from registry.api.errors import problem
from registry.api.idempotency import once
from registry.api.records import KindView
from registry.api.requests import UnlitAPIView, author_of, body_of, person
from registry.models import Attachment
from registry.services import attachments
from registry.services.attachments import ENDINGS, FileDamaged, FileRefused
from registry.services.records import EntryRefused
from registry.views.files import kept_apart
from registry.views.pages import KindPage

TAGS = ["Attachments"]


class AttachmentShape(serializers.Serializer):
    """A file of a record."""

    id = serializers.IntegerField()
    kind = serializers.CharField(help_text="certificate or equipment")
    record_id = serializers.IntegerField()
    name = serializers.CharField()
    media_type = serializers.CharField()
    size_bytes = serializers.IntegerField()
    sha256 = serializers.CharField()
    added_by = serializers.CharField(help_text="Printed name.")
    added_at = serializers.DateTimeField()
    retired_at = serializers.DateTimeField(allow_null=True)
    retired_because = serializers.CharField(allow_blank=True)


class UploadShape(serializers.Serializer):
    """A file to be attached: a PDF, or a picture as PNG, JPEG or WebP."""

    file = serializers.FileField()


class RetireShape(serializers.Serializer):
    """Why a file no longer counts."""

    reason = serializers.CharField(max_length=400)


class AnyMedia(BaseContentNegotiation):
    """What is given as it is stored has one media type; refusals are JSON."""

    def select_parser(self, request: Any, parsers: Any) -> Any:
        return parsers[0]

    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type


def plain(row: Attachment) -> dict[str, Any]:
    """A file as plain data."""
    retirement = getattr(row, "retirement", None)
    return {
        "id": row.pk,
        "kind": row.kind,
        "record_id": row.record_id,
        "name": row.name,
        "media_type": row.media_type,
        "size_bytes": row.size_bytes,
        "sha256": row.sha256,
        "added_by": str(row.added_by),
        "added_at": row.added_at,
        "retired_at": retirement.retired_at if retirement else None,
        "retired_because": retirement.reason if retirement else "",
    }


def attachments_view(own: KindPage, tags: list[str]) -> type[UnlitAPIView]:
    """The view of the files of one kind of record."""

    class Attachments(KindView):
        page = own
        parser_classes = [MultiPartParser]

        @extend_schema(
            operation_id=f"list_{own.kind}_attachments",
            responses={200: AttachmentShape(many=True)},
            summary=f"The files of one {own.singular}, those that count first",
            tags=tags,
        )
        def get(self, request: Request, pk: int) -> Response:
            record = self.found(request, pk)
            return Response([plain(row) for row in attachments.files_of(own.kind, record.pk)])

        @extend_schema(
            operation_id=f"attach_to_{own.kind}",
            request={"multipart/form-data": UploadShape},
            parameters=[IDEMPOTENCY_KEY],
            responses={201: AttachmentShape},
            summary=f"Attach a file to one {own.singular}",
            tags=tags,
        )
        @once
        def post(self, request: Request, pk: int) -> Response:
            user = person(request)
            record = self.editable(request, pk)
            upload = request.data.get("file")
            if set(request.data) != {"file"} or not isinstance(upload, UploadedFile):
                raise EntryRefused(
                    {"file": ["Send one file, as the part “file” of multipart/form-data, and no other part."]}
                )
            if (upload.size or 0) > settings.ATTACHMENT_MAX_BYTES:
                most = settings.ATTACHMENT_MAX_BYTES // 1_000_000
                return problem("too_large", f"This file is larger than {most} MB: save it smaller, or in parts.", 413)
            try:
                row = attachments.attach(own.kind, record.pk, user, name=upload.name or "", content=upload.read())
            except FileRefused as refused:
                raise EntryRefused({"file": [str(refused)]}) from refused
            response = Response(plain(row), status=201)
            response["Location"] = f"/api/v1/attachments/{row.pk}/"
            return response

    return Attachments


def found(request: Request, pk: int) -> Attachment:
    """A file of the register, or 404. Raises PermissionDenied."""
    access.require(person(request), "register.view")
    rows = Attachment.objects.filter(kind__in=attachments.MODELS).select_related("added_by", "retirement")
    row: Attachment = get_object_or_404(rows, pk=pk)
    return row


class AttachmentView(UnlitAPIView):
    """One file."""

    @extend_schema(
        operation_id="read_attachment", responses={200: AttachmentShape}, summary="What a file is", tags=TAGS
    )
    def get(self, request: Request, pk: int) -> Response:
        return Response(plain(found(request, pk)))


class AttachmentContentView(UnlitAPIView):
    """The bytes of one file."""

    content_negotiation_class = AnyMedia

    @extend_schema(
        operation_id="read_attachment_content",
        responses={(200, media_type): OpenApiTypes.BINARY for media_type in ENDINGS},
        summary="The bytes of a file, proven by its SHA-256",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> HttpResponseBase:
        row = found(request, pk)
        try:
            content = attachments.file_bytes(row)
        except FileDamaged as error:
            return problem("damaged", str(error), 500)
        return bytes_answer(content, row.media_type, row.sha256)


def bytes_answer(content: bytes, media_type: str, sha256: str) -> HttpResponse:
    """Stored bytes as they are, to be saved and never shown as a page of this site; the digest is the ETag."""
    response = HttpResponse(content, content_type=media_type)
    response["ETag"] = f'"{sha256}"'
    response["Content-Disposition"] = f'attachment; filename="{sha256[:16]}{ENDINGS.get(media_type, "")}"'
    return kept_apart(response)


class AttachmentRetireView(UnlitAPIView):
    """The end of one file."""

    @extend_schema(
        operation_id="retire_attachment",
        request=RetireShape,
        parameters=[IDEMPOTENCY_KEY],
        responses={200: AttachmentShape},
        summary="State that a file no longer counts; its bytes stay",
        tags=TAGS,
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        row = found(request, pk)
        access.require(person(request), "register.edit")
        author = author_of(request, body_of(request, reason=str).get("reason", ""))
        try:
            attachments.retire(row.pk, person(request), reason=author.reason)
        except FileRefused as refused:
            if hasattr(row, "retirement"):
                return problem("retired", str(refused), 409)
            raise EntryRefused({"reason": [str(refused)]}) from refused
        return Response(plain(found(request, pk)))
