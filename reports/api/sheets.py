"""The API of issued sheets: which there are, and the bytes of one by their digest."""

from __future__ import annotations

import re
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpResponseBase
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from loops.api.proofs import APPROVALS, OF, of_loops
from registry import access
from registry.api.attachments import AnyMedia, bytes_answer
from registry.api.errors import problem
from registry.api.listing import PAGING, PAGING_PARAMETERS, page_answer
from registry.api.requests import UnlitAPIView, person
from registry.api.shapes import page_shape
from reports.models import Sheet
from reports.services import SheetDamaged, sheet_bytes

PDF = "application/pdf"
DIGEST = re.compile(r"[0-9a-f]{64}")


class SheetShape(serializers.Serializer):
    """A loop sheet as it was issued."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    sha256 = serializers.CharField(help_text="SHA-256 of its bytes.")
    loop = serializers.IntegerField()
    site = serializers.CharField()
    tag = serializers.CharField()
    letter = serializers.CharField()
    approval = serializers.IntegerField(help_text="Key of the signature under it.")
    created_at = serializers.DateTimeField()


class SheetsView(UnlitAPIView):
    """Issued sheets."""

    parameters = frozenset({"site", "loop", *PAGING})

    @extend_schema(
        operation_id="list_sheets",
        parameters=[*OF, *PAGING_PARAMETERS],
        responses={200: page_shape(SheetShape, "SheetPage")},
        summary="Issued sheets of the caller's sites, the first one first",
        tags=APPROVALS,
    )
    def get(self, request: Request) -> Response:
        def read(keys: list[int]) -> list[dict[str, Any]]:
            return [plain(row) for row in visible_sheets(request).filter(pk__in=keys).order_by("pk")]

        return page_answer(request, of_loops(request, visible_sheets(request), "approval__loop"), read)


class SheetView(UnlitAPIView):
    """One issued sheet."""

    @extend_schema(
        operation_id="read_sheet", responses={200: SheetShape}, summary="What an issued sheet is", tags=APPROVALS
    )
    def get(self, request: Request, pk: int) -> Response:
        return Response(plain(get_object_or_404(visible_sheets(request), pk=pk)))


class SheetBytesView(UnlitAPIView):
    """The bytes of one issued sheet."""

    content_negotiation_class = AnyMedia

    @extend_schema(
        operation_id="read_sheet_bytes",
        parameters=[
            OpenApiParameter(
                "sha256", {"type": "string", "pattern": "^[0-9a-f]{64}$"}, OpenApiParameter.PATH, description="Digest."
            )
        ],
        responses={(200, PDF): OpenApiTypes.BINARY},
        summary="The bytes of an issued sheet by their SHA-256, exactly as they were stored",
        tags=APPROVALS,
    )
    def get(self, request: Request, sha256: str) -> HttpResponseBase:
        if not DIGEST.fullmatch(sha256):
            raise Http404
        sheet = visible_sheets(request).defer(None).filter(sha256=sha256).first()
        if sheet is None:
            raise Http404
        try:
            data = sheet_bytes(sheet)
        except SheetDamaged as error:
            return problem("damaged", str(error), 500)
        return bytes_answer(data, PDF, sheet.sha256)


def visible_sheets(request: Request) -> QuerySet[Sheet]:
    """The sheets of the caller's sites, without their bytes."""
    sites = access.sites_of(person(request))
    rows = Sheet.objects.filter(approval__loop__site_id__in=sites)
    return rows.select_related("approval__loop__site").defer("bytes")


def plain(sheet: Sheet) -> dict[str, Any]:
    """A sheet as plain data."""
    approval = sheet.approval
    return {
        "id": sheet.pk,
        "number": sheet.number,
        "sha256": sheet.sha256,
        "loop": approval.loop_id,
        "site": approval.loop.site.code,
        "tag": approval.loop.tag,
        "letter": approval.letter,
        "approval": approval.pk,
        "created_at": sheet.created_at,
    }
