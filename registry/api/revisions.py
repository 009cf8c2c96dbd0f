"""What a record used to say: its revisions, the same for every kind."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.listing import PAGING, PAGING_PARAMETERS, keys_of
from registry.api.shapes import RevisionHeadShape, RevisionShape, page_shape
from registry.models import Revision
from registry.views.pages import KindPage


def head_of(revision: Revision) -> dict[str, Any]:
    """One save of a record."""
    return {
        "number": revision.number,
        "digest": revision.digest,
        "label": revision.label,
        "author": str(revision.author),
        "origin": revision.origin,
        "reason": revision.reason,
        "created_at": revision.created_at,
    }


def revision_views(base: Any, own: KindPage, tags: list[str]) -> tuple[Any, Any]:
    """The views of the revisions of one kind; `base` finds a record that the caller may see."""

    class Revisions(base):
        page = own
        parameters = frozenset(PAGING)

        @extend_schema(
            operation_id=f"list_{own.kind}_revisions",
            parameters=PAGING_PARAMETERS,
            responses={200: page_shape(RevisionHeadShape, "RevisionPage")},
            summary=f"All saves of one {own.singular}, the first one first",
            tags=tags,
        )
        def get(self, request: Request, pk: int) -> Response:
            record = self.found(request, pk)
            found = Revision.objects.filter(kind=own.kind, record_id=record.pk)
            numbers, after = keys_of(request, found, "number")
            rows = found.filter(number__in=numbers).select_related("author").defer("snapshot").order_by("number")
            return Response({"next": after, "results": [head_of(row) for row in rows]})

    class OneRevision(base):
        page = own

        @extend_schema(
            operation_id=f"read_{own.kind}_revision",
            responses={200: RevisionShape},
            summary=f"One save of one {own.singular} with its whole content",
            tags=tags,
        )
        def get(self, request: Request, pk: int, number: int) -> Response:
            record = self.found(request, pk)
            rows = Revision.objects.filter(kind=own.kind, record_id=record.pk).select_related("author")
            found: Revision = get_object_or_404(rows, number=number)
            return Response(head_of(found) | {"snapshot": found.snapshot})

    return Revisions, OneRevision
