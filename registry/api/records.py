"""The API of the register: for each kind of record the list, one record, its archive and its revisions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from registry import access
from registry.api.bodies import check_types
from registry.api.content import whole
from registry.api.describing import IDEMPOTENCY_KEY, IF_MATCH
from registry.api.idempotency import once
from registry.api.listing import list_answer, parameters_of
from registry.api.requests import (
    UnlitAPIView,
    author_of,
    body_of,
    etag,
    matched_version,
    person,
    text_and_author,
)
from registry.api.revisions import revision_views
from registry.api.shapes import ArchivedShape, record_shape, sent_shape, sorted_page_shape
from registry.models.base import Record
from registry.services.records import EntryRefused, StaleRecord, save_text, set_archived
from registry.views.pages import KindPage

NAMES = {
    "equipment": "Equipment",
    "certificate": "Certificate",
    "scheme": "Scheme",
    "cable_type": "CableType",
    "site": "Site",
    "area": "HazardousArea",
    "loop": "Loop",
}
ARCHIVED = "This is archived: bring it back first, then change it."


class KindView(UnlitAPIView):
    """The base of what is made for each kind of record."""

    page: ClassVar[KindPage]

    def found(self, request: Request, pk: int) -> Any:
        """The record, or 404 where there is none that the caller may see. Raises PermissionDenied for who may see no
        such records."""
        user = person(request)
        if self.page.seen is None:
            access.require(user, self.page.view_action)
        return get_object_or_404(self.page.visible(user), pk=pk)

    def editable(self, request: Request, pk: int) -> Any:
        """The record, which the caller may edit."""
        record = self.found(request, pk)
        self.page.require_edit(person(request), record)
        return record


def one(page: KindPage, pk: int, status: int = 200) -> Response:
    """One record in full, with its version as ETag."""
    found = whole(page.kind, [pk])
    if not found:
        raise Http404
    response = Response(found[0], status=status)
    response["ETag"] = etag(found[0]["version"])
    if status == 201:
        response["Location"] = f"/api/v1/{page.path}/{pk}/"
    return response


def views_of(page: KindPage) -> dict[str, type[UnlitAPIView]]:
    """The views of one kind, described with the shapes of its entry."""
    name = NAMES[page.kind]
    own = page
    full, sent = record_shape(page.entry, name), sent_shape(page.entry, f"{name}Sent")
    tags = [page.title]

    class RecordList(KindView):
        page = own
        parameters = None

        @extend_schema(
            operation_id=f"list_{own.path.replace('-', '_')}",
            parameters=parameters_of(own),
            responses={200: sorted_page_shape(full, f"{name}Page")},
            summary=f"List {own.plural}",
            tags=tags,
        )
        def get(self, request: Request) -> Response:
            return list_answer(request, own, lambda keys: whole(own.kind, keys))

        @extend_schema(
            operation_id=f"add_{own.kind}",
            request=sent,
            parameters=[IDEMPOTENCY_KEY],
            responses={201: full},
            summary=f"Add {own.noun}",
            tags=tags,
        )
        @once
        def post(self, request: Request) -> Response:
            own.require_edit(person(request))
            data, author = text_and_author(request)
            check_types(own.entry, data)
            return one(own, save_text(own.kind, data, author).pk, status=201)

    class RecordOne(KindView):
        page = own

        @extend_schema(
            operation_id=f"read_{own.kind}",
            responses={200: full},
            summary=f"Read one {own.singular}; its ETag is its version",
            tags=tags,
        )
        def get(self, request: Request, pk: int) -> Response:
            return one(own, self.found(request, pk).pk)

        @extend_schema(
            operation_id=f"change_{own.kind}",
            request=sent,
            parameters=[IF_MATCH],
            responses={200: full},
            summary=f"Save one {own.singular} anew from its whole text",
            tags=tags,
        )
        def put(self, request: Request, pk: int) -> Response:
            record: Record = self.editable(request, pk)
            version = matched_version(request)
            data, author = text_and_author(request)
            check_types(own.entry, data)
            if record.is_archived and record.version == version:
                raise EntryRefused({"": [ARCHIVED]})
            save_text(own.kind, data, author, record_id=pk, opened_version=version)
            return one(own, pk)

    class RecordArchived(KindView):
        page = own

        @extend_schema(
            operation_id=f"archive_{own.kind}",
            request=ArchivedShape,
            parameters=[IF_MATCH],
            responses={200: full},
            summary=f"Archive one {own.singular}, or bring it back",
            tags=tags,
        )
        def put(self, request: Request, pk: int) -> Response:
            archive_as_asked(request, self.editable(request, pk), set_archived)
            return one(own, pk)

    revisions, revision = revision_views(KindView, own, tags)
    return {
        "list": RecordList,
        "one": RecordOne,
        "archived": RecordArchived,
        "revisions": revisions,
        "revision": revision,
    }


def archive_as_asked(request: Request, record: Record, archive: Callable[..., Any]) -> None:
    """Archive a record, or bring it back, by the function that does it for its kind.

    Raises EntryRefused, StaleRecord, and what `archive` raises.
    """
    version = matched_version(request)
    data = body_of(request, archived=bool, reason=str)
    if "archived" not in data:
        raise EntryRefused({"archived": ["Say true or false here."]})
    author = author_of(request, data.get("reason", ""))
    if record.version != version:
        raise StaleRecord(record, version)
    if record.is_archived != data["archived"]:
        archive(record, data["archived"], author, opened_version=version)
