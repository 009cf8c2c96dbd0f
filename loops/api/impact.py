"""The API of impact: what a change of a site, an area, a cable type or the ignition-curve tables would do to all loops.

Long work: asked for here, done by the worker, read here again. Nothing is saved but the answer.
"""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from loops.services.impact import IMPACT, QUESTIONS, TABLE, changed_tables, records_for
from loops.services.tables import KINDS as TABLES
from loops.services.tables import LARGEST_TABLE, TableError
from loops.views.impact import asked_record
from registry import access
from registry.api.describing import IDEMPOTENCY_KEY
from registry.api.errors import problem
from registry.api.idempotency import once
from registry.api.requests import UnlitAPIView, body_of, person
from registry.models import User
from registry.services import works
from registry.services.records import EntryRefused

TAGS = ["Impact"]
WHAT = (*QUESTIONS, TABLE)


class ImpactAskedShape(serializers.Serializer):
    """What would be another: a record with other values, or a table of a site."""

    kind = serializers.ChoiceField(WHAT)
    key = serializers.IntegerField(min_value=1, help_text="Key of the site, area or cable type.")
    values = serializers.DictField(
        child=serializers.CharField(allow_blank=True), required=False, help_text="The values that differ, as texts."
    )
    table = serializers.ChoiceField([*TABLES], required=False, help_text="For a table: which of the two.")
    name = serializers.CharField(required=False, max_length=120, help_text="For a table: what it is called.")
    content = serializers.CharField(required=False, help_text="For a table: its CSV; left out: the built-in one again.")


class ImpactRowShape(serializers.Serializer):
    """One loop that would be judged otherwise."""

    loop = serializers.IntegerField()
    site = serializers.CharField()
    tag = serializers.CharField()
    service = serializers.CharField(allow_blank=True)
    state = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()
    function_before = serializers.CharField(allow_blank=True)
    function_after = serializers.CharField(allow_blank=True)
    margin_before = serializers.CharField(allow_blank=True)
    margin_after = serializers.CharField(allow_blank=True)
    limiting = serializers.CharField(allow_blank=True)
    changes = serializers.BooleanField(help_text="Whether verdict or function would be another.")
    worse = serializers.BooleanField()


class ImpactShape(serializers.Serializer):
    """How far the answer is, or the loops now and then."""

    id = serializers.IntegerField()
    state = serializers.CharField(help_text="waiting, running, done, cancelled, failed")
    done = serializers.IntegerField()
    total = serializers.IntegerField()
    words = serializers.CharField(allow_blank=True)
    changes = serializers.ListField(child=serializers.CharField(), help_text="What was asked, in words.")
    judged = serializers.IntegerField()
    rows = ImpactRowShape(many=True)


class ImpactsView(UnlitAPIView):
    """Ask."""

    @extend_schema(
        operation_id="ask_impact",
        request=ImpactAskedShape,
        parameters=[IDEMPOTENCY_KEY],
        responses={202: ImpactShape},
        summary="Judge all loops that rest on something as if it were another; done by the worker",
        tags=TAGS,
    )
    @once
    def post(self, request: Request) -> Response:
        user = person(request)
        access.require(user, "loop.view")
        data = body_of(request, kind=str, key=int, values=dict, table=str, name=str, content=str)
        kind, key = data.get("kind"), data.get("key", 0)
        if kind not in WHAT:
            raise EntryRefused({"kind": [f"Write one of {', '.join(WHAT)}."]})
        if not 0 < key < 2**62:
            raise EntryRefused({"key": ["Give the key of a record."]})
        record = get_object_or_404(records_for(kind, user), pk=key)
        asked, title = asked_table(record, data) if kind == TABLE else asked_values(kind, record, data)
        try:
            work = works.begin(user, IMPACT, title, {"kind": kind, "key": key} | asked)
        except works.WorkRefused as refused:
            return problem("refused", str(refused), 409)
        return answer(user, work.pk, status=202)


class ImpactView(UnlitAPIView):
    """The answer."""

    @extend_schema(
        operation_id="read_impact",
        responses={200: ImpactShape},
        summary="How far an answer is, or the loops now and then",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        return answer(person(request), pk)


def asked_values(kind: str, record: Any, data: dict[str, Any]) -> tuple[dict[str, Any], str]:
    """What is asked of a record, read. Raises EntryRefused."""
    values = data.get("values", {})
    errors = {
        f"values.{str(name)[:60]}": [f"Give one of {', '.join(QUESTIONS[kind].names)}, as a text."]
        for name, value in values.items()
        if name not in QUESTIONS[kind].names or not isinstance(value, str)
    }
    foreign = {name: ["This belongs to a table."] for name in ("table", "name", "content") if name in data}
    if errors or foreign:
        raise EntryRefused(errors | foreign)
    try:
        return asked_record(kind, record, values)
    except EntryRefused as refused:
        raise EntryRefused({f"values.{path}": messages for path, messages in refused.errors.items()}) from refused


def asked_table(site: Any, data: dict[str, Any]) -> tuple[dict[str, Any], str]:
    """What is asked of the tables of a site, read. Raises EntryRefused."""
    table, name, content = (data.get(part, "") for part in ("table", "name", "content"))
    if "values" in data:
        raise EntryRefused({"values": ["A table has no values: give its content."]})
    if table not in TABLES:
        raise EntryRefused({"table": [f"Write one of {', '.join(TABLES)}."]})
    if len(name) > 120 or len(content.encode()) > LARGEST_TABLE:
        raise EntryRefused({"content": ["Shorten the name to 120 characters, the table to 1 MiB."]})
    try:
        changed_tables(site, table, name, content)
    except TableError as error:
        raise EntryRefused({"content": [str(error)]}) from error
    words = [f"Table {table}: {name or 'built in'}"]
    return {"table": table, "name": name, "content": content, "words": words}, f"Tables of {site.code} changed"


def answer(user: User, pk: int, status: int = 200) -> Response:
    """One answer of the caller."""
    work = get_object_or_404(works.works_of(user), pk=pk, kind=IMPACT)
    data = {"id": work.pk, "state": work.state, "done": work.done, "total": work.total, "words": work.words}
    found = {name: work.result.get(name, empty) for name, empty in (("changes", []), ("judged", 0), ("rows", []))}
    return Response(data | found, status=status)
