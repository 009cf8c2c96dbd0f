"""The API of studies: a loop with a few things changed, judged beside the loop as it stands."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from loops.api.serializers import ResultShape
from loops.api.views import LoopView
from loops.models import Loop, Study
from loops.selectors import record_names, whole_loops
from loops.services import studies as service
from loops.services.refusals import WorkflowRefused
from registry import access
from registry.api.describing import IDEMPOTENCY_KEY
from registry.api.errors import problem
from registry.api.idempotency import once
from registry.api.requests import body_of, person
from registry.services.records import EntryRefused

TAGS = ["Studies"]
COLUMN = "A column of changes: the text that stands for each key of GET …/studies/fields/."


class FieldShape(serializers.Serializer):
    """One thing that a study may change."""

    key = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    now = serializers.CharField(allow_blank=True)


class ColumnsShape(serializers.Serializer):
    """Up to three columns of changes."""

    columns = serializers.ListField(
        child=serializers.DictField(child=serializers.CharField(max_length=service.LONGEST, allow_blank=True)),
        min_length=1,
        max_length=service.COLUMNS,
        help_text=COLUMN,
    )


class KeepShape(ColumnsShape):
    """Columns that are to be kept under a name."""

    name = serializers.CharField(max_length=120)


class ChangedShape(serializers.Serializer):
    """One change in words."""

    field = serializers.CharField()
    old = serializers.CharField(allow_blank=True)
    new = serializers.CharField(allow_blank=True)
    gone = serializers.BooleanField(help_text="Whether what it changes is no longer in the loop.")


class ColumnShape(serializers.Serializer):
    """One column, judged; without a verdict where something in it cannot be read."""

    changes = ChangedShape(many=True)
    verdict = serializers.CharField(allow_null=True)
    function_verdict = serializers.CharField(allow_blank=True)
    limiting = serializers.CharField(allow_blank=True)
    least_margin = serializers.CharField(allow_null=True)
    results = ResultShape(many=True)
    faults = serializers.DictField(child=serializers.ListField(child=serializers.CharField()))


class JudgedShape(serializers.Serializer):
    """The loop as it stands, and each column beside it."""

    columns = ColumnShape(many=True)


class StudyHeadShape(serializers.Serializer):
    """A study that is kept."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    author = serializers.CharField()
    changed_at = serializers.DateTimeField()
    columns = serializers.ListField(child=serializers.DictField(child=serializers.CharField()))


class StudyShape(StudyHeadShape):
    """A study that is kept, judged as it stands now."""

    judged = JudgedShape()


class OfLoop(LoopView):
    """The base of what is about one loop with all its rows."""

    def whole(self, request: Request, pk: int) -> Loop:
        found: Loop = get_object_or_404(whole_loops(person(request)), pk=pk)
        return found


class StudyFieldsView(OfLoop):
    """What may be changed."""

    @extend_schema(
        operation_id="list_study_fields",
        responses={200: FieldShape(many=True)},
        summary="What a study of one loop may change, and how it stands",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        loop = self.whole(request, pk)
        fields = service.fields_of(loop, record_names(loop))
        return Response([{"key": one.key, "label": str(one.label), "now": one.now} for one in fields])


class StudyJudgeView(OfLoop):
    """A question."""

    posts_only_read = True

    @extend_schema(
        operation_id="judge_study",
        request=ColumnsShape,
        responses={200: JudgedShape},
        summary="Judge one loop with changes beside the loop as it stands; nothing is stored",
        tags=TAGS,
    )
    def post(self, request: Request, pk: int) -> Response:
        loop = self.whole(request, pk)
        columns = read_columns(loop, body_of(request, columns=list))
        return Response(judged(loop, columns))


class StudiesView(OfLoop):
    """The studies of one loop."""

    @extend_schema(
        operation_id="list_studies",
        responses={200: StudyHeadShape(many=True)},
        summary="The studies of one loop that are kept, at most 200",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        loop = self.found(request, pk)
        return Response([head(study) for study in loop.studies.select_related("author").order_by("pk")])

    @extend_schema(
        operation_id="keep_study",
        request=KeepShape,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: StudyShape},
        summary="Keep a study of one loop under a name",
        tags=TAGS,
    )
    @once
    def post(self, request: Request, pk: int) -> Response:
        loop = self.whole(request, pk)
        access.require(person(request), "loop.remark", loop.site)
        data = body_of(request, name=str, columns=list)
        name = data.get("name", "")
        if not 0 < len(name) <= 120:
            raise EntryRefused({"name": ["Give a name of at most 120 characters."]})
        columns = read_columns(loop, data)
        study = service.keep(loop, person(request), name, columns)
        response = Response(head(study) | {"judged": judged(loop, study.columns)}, status=201)
        response["Location"] = f"/api/v1/loops/{loop.pk}/studies/{study.pk}/"
        return response


class StudyView(OfLoop):
    """One study."""

    @extend_schema(
        operation_id="read_study",
        responses={200: StudyShape},
        summary="One study, judged anew with the register as it stands",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int, study_pk: int) -> Response:
        loop = self.whole(request, pk)
        study = get_object_or_404(loop.studies.select_related("author"), pk=study_pk)
        return Response(head(study) | {"judged": judged(loop, study.columns)})

    @extend_schema(
        operation_id="delete_study",
        request=None,
        responses={204: None},
        summary="Delete a study of one's own",
        tags=TAGS,
    )
    def delete(self, request: Request, pk: int, study_pk: int) -> Response:
        study = get_object_or_404(self.found(request, pk).studies.all(), pk=study_pk)
        try:
            service.delete(study, person(request))
        except WorkflowRefused as refused:
            return problem("forbidden", str(refused), 403)
        return Response(status=204)


def read_columns(loop: Loop, data: dict[str, Any]) -> list[dict[str, str]]:
    """The columns of a request. Raises EntryRefused for what names nothing of the loop, or is no text."""
    columns = data.get("columns")
    if not isinstance(columns, list) or not 1 <= len(columns) <= service.COLUMNS:
        raise EntryRefused({"columns": [f"Give 1 to {service.COLUMNS} columns."]})
    known = {one.key for one in service.fields_of(loop, record_names(loop))}
    errors: dict[str, list[str]] = {}
    for index, column in enumerate(columns):
        if not isinstance(column, dict):
            errors[f"columns.{index}"] = ["Give an object of texts by their key here."]
            continue
        for key, value in column.items():
            if key not in known:
                errors[f"columns.{index}.{key[:60]}"] = ["A study of this loop can change no such thing."]
            elif not isinstance(value, str) or len(value) > service.LONGEST:
                errors[f"columns.{index}.{key}"] = [f"Give a text of at most {service.LONGEST} characters."]
    if errors:
        raise EntryRefused(errors)
    return [{key: value for key, value in column.items() if value} for column in columns]


def judged(loop: Loop, columns: list[dict[str, str]]) -> dict[str, Any]:
    """The loop as it stands, and each column beside it."""
    return {"columns": [plain(column) for column in service.judge_all(loop, columns)]}


def plain(column: service.Column) -> dict[str, Any]:
    """One column as plain data."""
    head_of = column.head or {}
    margin = head_of.get("least_margin")
    return {
        "changes": [
            {"field": str(one.field), "old": str(one.old), "new": str(one.new), "gone": one.gone}
            for one in column.changes
        ],
        "verdict": str(head_of["verdict"].value) if column.head else None,
        "function_verdict": head_of.get("function_verdict", ""),
        "limiting": head_of.get("limiting", ""),
        "least_margin": None if margin is None else format(margin, "f"),
        "results": list(column.results),
        "faults": {path: [str(text) for text in texts] for path, texts in column.errors.items()},
    }


def head(study: Study) -> dict[str, Any]:
    """A study as lists give it."""
    return {
        "id": study.pk,
        "name": study.name,
        "author": str(study.author),
        "changed_at": study.changed_at,
        "columns": study.columns,
    }
