"""The change feed: what was done at the caller's sites and in the shared register, in the order in which it was done.

Numbers of deeds count without gaps in the order of their commits, so that whoever goes on behind the last number that
they have seen misses nothing.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Max
from django.utils.dateparse import parse_datetime
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from registry import access
from registry.api.listing import LARGEST, PAGING_PARAMETERS, asked_by, described, keys_of, whole_number
from registry.api.requests import UnlitAPIView, person
from registry.models import Change, User
from registry.services.log import reason_of
from registry.services.records import EntryRefused
from registry.views.log import filters_of, found_changes

SINCE = OpenApiParameter(
    "since", OpenApiTypes.DATETIME, description="Not before this moment, with its time zone: 2026-11-25T08:00:00Z."
)


class ChangeShape(serializers.Serializer):
    """One deed. What was done to which record; the content is read at the address of the record or its revision."""

    number = serializers.IntegerField(help_text="Counts deeds without gaps.")
    at = serializers.DateTimeField()
    verb = serializers.CharField(help_text="add, change, archive, restore, submit, issue, withdraw, basis and others")
    kind = serializers.CharField(help_text="equipment, certificate, cable_type, area, site, scheme, loop and others")
    record_id = serializers.IntegerField(allow_null=True)
    label = serializers.CharField(  # type: ignore[assignment]
        allow_blank=True, help_text="How people called the record then."
    )
    site = serializers.CharField(allow_blank=True, help_text="Code of the site; empty for what all sites share.")
    actor = serializers.CharField(allow_blank=True, help_text="Printed name.")
    revision = serializers.IntegerField(allow_null=True, help_text="Number of the revision that it left behind.")
    origin = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)
    digest = serializers.CharField(allow_blank=True, help_text="SHA-256 of what it left behind.")


class FeedShape(serializers.Serializer):
    """A part of the feed."""

    next = serializers.IntegerField(help_text="Send this as “cursor” to go on, now or later.")
    more = serializers.BooleanField(help_text="Whether more is there already.")
    results = ChangeShape(many=True)


class ChangesView(UnlitAPIView):
    """The change feed."""

    parameters = None

    @extend_schema(
        operation_id="list_changes",
        parameters=[
            *(
                OpenApiParameter(name, OpenApiTypes.STR, description=described(item, name))
                for item in filters_of(User())
                for name in item.names()
            ),
            SINCE,
            *PAGING_PARAMETERS,
        ],
        responses={200: FeedShape},
        summary="What was done, in the order in which it was done",
        tags=["Changes"],
    )
    def get(self, request: Request) -> Response:
        user = person(request)
        access.require(user, "register.view")
        asked = asked_by(request, filters_of(user), "since", searched=False)
        found = found_changes(user, asked)
        if (since := moment(request)) is not None:
            found = found.filter(at__gte=since)
        numbers, after = keys_of(request, found, "number")
        rows = Change.objects.filter(number__in=numbers).select_related("site").order_by("number")
        last = numbers[-1] if numbers else whole_number(request, "cursor", 0, LARGEST, 0)
        if not numbers:
            refuse_beyond(last)
        return Response({"next": last, "more": after is not None, "results": [plain(row) for row in rows]})


def refuse_beyond(cursor: int) -> None:
    """Raise EntryRefused for a cursor behind the end of the log: nobody was given it by this log, and whoever waited
    there would miss all that is done until the log is as long again."""
    end = Change.objects.aggregate(Max("number"))["number__max"] or 0
    if cursor > end:
        told = (
            f"The change log ends at {end}: an older backup was put back. Read the records anew, then go on from {end}."
        )
        raise EntryRefused({"cursor": [told]})


def moment(request: Request) -> dt.datetime | None:
    """The moment from which on is asked. Raises EntryRefused for what is none."""
    values = request.query_params.getlist("since")
    if not values:
        return None
    try:
        found = parse_datetime(values[0]) if len(values) == 1 else None
    except ValueError:
        found = None
    if found is None or found.tzinfo is None or not 1900 <= found.year <= 2999:
        raise EntryRefused({"since": ["Give a moment with its time zone, for example 2026-11-25T08:00:00Z."]})
    return found


def plain(change: Change) -> dict[str, Any]:
    """One deed as plain data."""
    revision = change.detail.get("revision")
    return {
        "number": change.number,
        "at": change.at,
        "verb": change.verb,
        "kind": change.kind,
        "record_id": change.record_id,
        "label": change.label,
        "site": change.site.code if change.site else "",
        "actor": change.actor_name,
        "revision": revision if isinstance(revision, int) else None,
        "origin": str(change.detail.get("origin", "")),
        "reason": reason_of(change),
        "digest": change.digest,
    }
