"""Many records of one kind at once, by their natural key, all or none."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.core.exceptions import PermissionDenied
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from registry import access
from registry.api.bodies import faults_in, refuse
from registry.api.describing import IDEMPOTENCY_KEY
from registry.api.idempotency import once
from registry.api.requests import UnlitAPIView, author_of, body_of, person
from registry.api.shapes import REASON, EntryShape, shape_of
from registry.models import Site
from registry.services.imports import KINDS, ImportKind
from registry.services.records import EntryRefused
from registry.services.upserting import Upserted, upsert
from registry.views.pages import KindPage

MOST = 1_000
MAX_BODY_BYTES = 10_000_000


class UpsertedOneShape(serializers.Serializer):
    """What became of one record of a list."""

    index = serializers.IntegerField(help_text="Its place in the list, from 0.")
    id = serializers.IntegerField(allow_null=True, help_text="Its key; null where a check would add it.")
    version = serializers.IntegerField()
    done = serializers.ChoiceField(["added", "changed", "unchanged"])


class UpsertedShape(serializers.Serializer):
    """What became of a list."""

    saved = serializers.BooleanField(help_text="False for a check.")
    added = serializers.IntegerField()
    changed = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    results = UpsertedOneShape(many=True)


@cache
def list_shape(kind: ImportKind, name: str) -> type[serializers.Serializer]:
    """A list of records as it is sent."""
    record: Any = shape_of(kind.entry, f"{name}Text")
    key = " and ".join(kind.layout.key)
    fields = {
        "__doc__": f"Records, each found by its {key}. A value that is not sent stays; a list that is sent is whole.",
        "__module__": __name__,
        "records": serializers.ListField(child=record(), min_length=1, max_length=MOST),
        "reason": serializers.CharField(required=False, allow_blank=True, max_length=400, help_text=REASON),
        "check": serializers.BooleanField(required=False, help_text="True: try it, tell all faults, save nothing."),
    }
    return type(f"{name}List", (EntryShape,), fields)


def bulk_view(own: KindPage, name: str, tags: list[str]) -> type[UnlitAPIView]:
    """The view that takes lists of one kind."""
    kind = KINDS[own.kind]

    class Bulk(UnlitAPIView):
        max_body_bytes = MAX_BODY_BYTES

        @extend_schema(
            operation_id=f"upsert_{own.path.replace('-', '_')}",
            request=list_shape(kind, name),
            parameters=[IDEMPOTENCY_KEY],
            responses={200: UpsertedShape},
            summary=f"Add or change many {own.plural} by {' and '.join(kind.layout.key)}, all or none",
            tags=tags,
        )
        @once
        def post(self, request: Request) -> Response:
            own.require_edit(person(request))
            data = body_of(request, records=list, reason=str, check=bool)
            author = author_of(request, data.get("reason", ""))
            texts = read_texts(kind, data.get("records"))
            require_any_site(request, own, kind, texts)
            return Response(plain(upsert(kind, texts, author, check=data.get("check", False))))

    return Bulk


def read_texts(kind: ImportKind, records: Any) -> list[dict[str, Any]]:
    """The texts of a list, each of the types that are described. Raises EntryRefused."""
    if not records or len(records) > MOST:
        raise EntryRefused({"records": [f"Give 1 to {MOST} records."]})
    refuse(fault for index, text in enumerate(records) for fault in faults_in(kind.entry, text, f"records.{index}"))
    return list(records)


def require_any_site(request: Request, own: KindPage, kind: ImportKind, texts: list[dict[str, Any]]) -> None:
    """Raise PermissionDenied where all records belong to sites at which the caller may save none."""
    if "site" not in kind.layout.key:
        return
    user = person(request)
    codes = {str(text.get("site", "")).strip() for text in texts}
    sites = list(Site.objects.filter(code__in=codes))
    if sites and not any(access.may(user, own.edit_action, site) for site in sites):
        raise PermissionDenied(access.SIDES[own.edit_action])


def plain(found: Upserted) -> dict[str, Any]:
    """What became of a list as plain data."""
    results = [
        {
            "index": index,
            "id": None if not found.saved and done == "added" else record.pk,
            "version": record.version,
            "done": done,
        }
        for index, (record, done) in enumerate(found.records)
    ]
    counts = {word: found.count(word) for word in ("added", "changed", "unchanged")}
    return {"saved": found.saved, **counts, "results": results}
