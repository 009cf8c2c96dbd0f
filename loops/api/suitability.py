"""The API of suitability: the same answers as the pages, as plain data."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from loops.services.refusals import WorkflowRefused
from loops.services.suitability.answers import answer
from loops.services.suitability.drafts import send_to_engineer
from loops.services.suitability.plain import answer_data, offers_data, position_data, ranked_data
from loops.services.suitability.proposals import propose_sources
from loops.services.suitability.ranking import candidates_for, ranked
from loops.services.suitability.substitution import SUBSTITUTION, loops_with
from loops.services.suitability.typed import read_typed
from loops.views.suits import holds, plant_of, position_of
from loops.views.suits_check import candidate_of
from loops.views.suits_sources import read_question
from registry import access
from registry.api.describing import IDEMPOTENCY_KEY, IF_MATCH
from registry.api.errors import problem
from registry.api.idempotency import once
from registry.api.requests import (
    UnlitAPIView,
    author_of,
    body_object,
    body_of,
    etag,
    matched_version,
    person,
)
from registry.models import Equipment
from registry.querysets import search_text
from registry.services import works
from registry.services.records import EntryRefused

WORD = "suits, does_not_suit or cannot_say"
TAGS = ["Suitability"]
QUESTION = ("area", "cable_type", "length_m", "load_ohm")


class PositionShape(serializers.Serializer):
    """An item of a loop."""

    member = serializers.IntegerField(help_text="Key of the item in addresses.")
    tag = serializers.CharField()
    roles = serializers.ListField(child=serializers.CharField())
    equipment = serializers.IntegerField()
    name = serializers.CharField()
    terminals = serializers.CharField()
    function = serializers.CharField(allow_blank=True)


class RankedShape(serializers.Serializer):
    """A candidate in a list."""

    word = serializers.CharField(help_text=WORD)
    equipment = serializers.IntegerField()
    name = serializers.CharField()
    terminals = serializers.CharField()
    way = serializers.CharField(help_text="Its sets of terminals in addresses.")
    least_margin = serializers.CharField(allow_null=True)
    function_headroom = serializers.CharField(allow_null=True)
    conditions_of_use = serializers.IntegerField()
    certificate_in_doubt = serializers.CharField(allow_blank=True)
    differences = serializers.ListField(child=serializers.CharField())
    would_suit = serializers.CharField(allow_blank=True, help_text="The one thing that would make it suit.")


class AnswerShape(serializers.Serializer):
    """One answer in full."""

    word = serializers.CharField(help_text=WORD)
    why = serializers.ListField(child=serializers.CharField(), help_text="The limiting reason first.")
    position = PositionShape()
    candidate = serializers.DictField()
    before = serializers.DictField()
    after = serializers.DictField()
    checks = serializers.ListField(child=serializers.DictField(), help_text="Every check before and after.")
    functions = serializers.ListField(child=serializers.DictField())
    differences = serializers.ListField(child=serializers.CharField())
    notes = serializers.ListField(child=serializers.CharField())
    conditions_of_use = serializers.ListField(child=serializers.DictField())
    confirmations = serializers.ListField(child=serializers.CharField())
    certificates = serializers.ListField(child=serializers.DictField())
    documents = serializers.ListField(child=serializers.CharField())


class ReasonShape(serializers.Serializer):
    """Why a draft is made."""

    reason = serializers.CharField()


class DraftShape(serializers.Serializer):
    """The loop that has the draft."""

    loop = serializers.IntegerField()
    version = serializers.IntegerField()
    verdict = serializers.CharField()


class TypedShape(serializers.Serializer):
    """An item as its nameplate says, with one set of terminals for each place; quantities are texts with a unit."""

    maker = serializers.CharField()
    type_name = serializers.CharField()
    function = serializers.CharField(required=False)
    marking = serializers.CharField(required=False)
    terminals = serializers.ListField(child=serializers.DictField(), help_text="name, level, gas_group, ui_v, …")
    paper = serializers.DictField(required=False, help_text="scheme, number, valid_to, specific_conditions")


class QuestionShape(serializers.Serializer):
    """What a source is wanted for. Without a length the cable is as long as possible."""

    devices = serializers.ListField(child=serializers.CharField(), help_text="Terminals by their name: Maker Type, 1-2")
    area = serializers.CharField(help_text="Site: name")
    cable_type = serializers.CharField(required=False)
    length_m = serializers.CharField(required=False, help_text="Text with unit, for example 300 m.")
    load_ohm = serializers.CharField(required=False, help_text="Text with unit, for example 250 ohm.")


class OffersShape(serializers.Serializer):
    """The sources of the register."""

    serving = serializers.ListField(child=serializers.DictField())
    function_not_judged = serializers.ListField(child=serializers.DictField())
    failing = serializers.DictField(help_text="By the word of the check that decides.")


class ObsoleteShape(serializers.Serializer):
    """The type that is obsolete."""

    equipment = serializers.IntegerField()


class MatrixShape(serializers.Serializer):
    """A matrix under way, or what came of it: a letter for each candidate (s suits, c cannot say, d does not)."""

    id = serializers.IntegerField()
    state = serializers.CharField(help_text="waiting, running, done, cancelled, failed")
    done = serializers.IntegerField()
    total = serializers.IntegerField()
    words = serializers.CharField(allow_blank=True)
    result = serializers.DictField()


class ItemsView(UnlitAPIView):
    """The items of a loop."""

    @extend_schema(
        operation_id="suitability_items",
        responses={200: PositionShape(many=True)},
        summary="The items of a loop that may be replaced",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        plant = plant_of(request, pk)
        return Response([position_data(position) for position in plant.positions(plant.loops[0])])


class CandidatesView(UnlitAPIView):
    """Candidates for an item."""

    parameters = frozenset({"q"})

    @extend_schema(
        operation_id="suitability_candidates",
        parameters=[OpenApiParameter("q", OpenApiTypes.STR, description="Words of maker, type or function.")],
        responses={200: RankedShape(many=True)},
        summary="What may stand in place of an item, the best first",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int, member_pk: int) -> Response:
        plant, position = position_of(request, pk, member_pk)
        text = search_text(request.query_params.get("q", ""))
        found = ranked(plant, position, candidates_for(plant, position))
        return Response([ranked_data(item) for item in found if holds(item, text)])


class AnswerView(UnlitAPIView):
    """One candidate in one place."""

    @extend_schema(
        operation_id="suitability_answer",
        responses={200: AnswerShape},
        summary="Whether a candidate suits, with every check before and after",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int, member_pk: int, way: str) -> Response:
        plant, position = position_of(request, pk, member_pk)
        response = Response(answer_data(answer(plant, position, candidate_of(plant, position, way))))
        response["ETag"] = etag(position.loop.version)
        return response

    @extend_schema(
        operation_id="suitability_send",
        request=ReasonShape,
        parameters=[IF_MATCH, IDEMPOTENCY_KEY],
        responses={201: DraftShape},
        summary="Make a draft with the candidate in place and tell the designers",
        tags=TAGS,
    )
    @once
    def post(self, request: Request, pk: int, member_pk: int, way: str) -> Response:
        plant, position = position_of(request, pk, member_pk)
        access.require(person(request), "loop.propose", position.loop.site)
        version = matched_version(request)
        author = author_of(request, body_of(request, reason=str).get("reason", ""))
        found = answer(plant, position, candidate_of(plant, position, way))
        try:
            loop = send_to_engineer(found, author, opened_version=version)
        except WorkflowRefused as refused:
            return problem("refused", str(refused), 409)
        verdict = loop.verification.verdict if loop.verification else ""
        return Response({"loop": loop.pk, "version": loop.version, "verdict": verdict}, status=201)


class TypedView(UnlitAPIView):
    """A nameplate in one place."""

    posts_only_read = True

    @extend_schema(
        operation_id="suitability_typed",
        request=TypedShape,
        responses={200: AnswerShape},
        summary="Whether an item that is in no register suits; nothing is stored",
        tags=TAGS,
    )
    def post(self, request: Request, pk: int, member_pk: int) -> Response:
        plant, position = position_of(request, pk, member_pk)
        candidate, errors = read_typed(position, body_object(request))
        if candidate is None:
            return problem("invalid", "Some values cannot be read or cannot be true.", 400, errors)
        return Response(answer_data(answer(plant, position, candidate)))


class SourcesView(UnlitAPIView):
    """Sources for devices, area and cable."""

    posts_only_read = True

    @extend_schema(
        operation_id="suitability_sources",
        request=QuestionShape,
        responses={200: OffersShape},
        summary="Sources that comply and work, with their longest cable, and why the others do not",
        tags=TAGS,
    )
    def post(self, request: Request) -> Response:
        if not access.may(person(request), "register.view"):
            raise PermissionDenied
        data = body_of(request, devices=list, **dict.fromkeys(QUESTION, str))
        devices = data.get("devices", [])
        if not all(isinstance(name, str) for name in devices):
            raise EntryRefused({"devices": ["Name each set of terminals by a text."]})
        question: dict[str, Any] = {name: data.get(name, "") for name in QUESTION} | {"devices": devices}
        found = read_question(question, person(request))
        if found.asked is None:
            return problem("invalid", "The question cannot be understood.", 400, found.errors)
        return Response(offers_data(propose_sources(found.asked)))


class SubstitutionsView(UnlitAPIView):
    """Begin a matrix."""

    @extend_schema(
        operation_id="suitability_substitute",
        request=ObsoleteShape,
        parameters=[IDEMPOTENCY_KEY],
        responses={202: MatrixShape},
        summary="Judge all loops that use a type with every candidate; done by the worker",
        tags=TAGS,
    )
    @once
    def post(self, request: Request) -> Response:
        user = person(request)
        access.require(user, "loop.view")
        key = body_object(request).get("equipment")
        if not isinstance(key, int) or isinstance(key, bool) or not 0 < key < 2**62:
            return problem("invalid", "Name the type by its key.", 400, {"equipment": ["Give the key of an item."]})
        item = get_object_or_404(Equipment, pk=key)
        if not loops_with(user, key).exists():
            raise Http404
        try:
            work = works.begin(user, SUBSTITUTION, f"In place of {item}", {"equipment": key})
        except works.WorkRefused as refused:
            return problem("refused", str(refused), 409)
        return matrix_response(request, work.pk, status=202)


class SubstitutionView(UnlitAPIView):
    """A matrix."""

    @extend_schema(
        operation_id="suitability_matrix",
        responses={200: MatrixShape},
        summary="How far a matrix is, or what came of it",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        return matrix_response(request, pk)


def matrix_response(request: Request, pk: int, status: int = 200) -> Response:
    """One matrix of the caller."""
    work = get_object_or_404(works.works_of(person(request)), pk=pk, kind=SUBSTITUTION)
    result = {name: value for name, value in work.result.items() if name != "lines"}
    data = {"id": work.pk, "state": work.state, "done": work.done, "total": work.total, "words": work.words}
    return Response(data | {"result": result}, status=status)
