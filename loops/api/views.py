"""The API of loops: judge a case, read loops, save them through the same path as the pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from loops import selectors
from loops.api.serializers import CaseShape, LoopHeadShape, LoopShape, ResultShape
from loops.casefile import CaseError, judge_document
from loops.entries import LoopEntry
from loops.models import Loop
from loops.services.loops import archive_loop, save_loop
from loops.views.kind import LOOP
from registry.api.bodies import check_types
from registry.api.content import texts
from registry.api.describing import IDEMPOTENCY_KEY, IF_MATCH
from registry.api.errors import problem
from registry.api.idempotency import once
from registry.api.listing import list_answer, parameters_of, whole_number
from registry.api.records import archive_as_asked
from registry.api.requests import UnlitAPIView, body_object, etag, matched_version, person, text_and_author
from registry.api.revisions import revision_views
from registry.api.shapes import ArchivedShape, sent_shape, sorted_page_shape

TAGS = ["Loops"]
SENT = sent_shape(LoopEntry, "LoopSent")
MOST_CIRCUITS = 10_000


class VerifyView(UnlitAPIView):
    """Judge one circuit; nothing is stored."""

    posts_only_read = True

    @extend_schema(
        operation_id="verify_case",
        request=CaseShape,
        responses={200: ResultShape},
        summary="Judge one circuit given as plain data; nothing is stored",
        tags=["Verification"],
    )
    def post(self, request: Request) -> Response:
        try:
            return Response(judge_document(body_object(request)))
        except CaseError as error:
            return problem(
                "invalid", "The case cannot be judged: some values cannot be read or cannot be true.", 400, error.errors
            )


class LoopView(UnlitAPIView):
    """The base of what is about one loop."""

    page = LOOP

    def found(self, request: Request, pk: int) -> Loop:
        """The loop, or 404 where there is none that the caller may see."""
        loop = selectors.visible_loop(person(request), pk)
        if loop is None:
            raise Http404
        return loop

    def editable(self, request: Request, pk: int) -> Loop:
        """The loop, which the caller may edit."""
        loop = self.found(request, pk)
        LOOP.require_edit(person(request), loop)
        return loop


class LoopListView(UnlitAPIView):
    """The loops of the caller's sites."""

    parameters = None

    @extend_schema(
        operation_id="list_loops",
        parameters=parameters_of(LOOP),
        responses={200: sorted_page_shape(LoopHeadShape, "LoopPage")},
        summary="List loops with their verdicts",
        tags=TAGS,
    )
    def get(self, request: Request) -> Response:
        return list_answer(request, LOOP, heads)

    @extend_schema(
        operation_id="add_loop",
        request=SENT,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: LoopShape},
        summary="Save a new loop; it is judged at once",
        tags=TAGS,
    )
    @once
    def post(self, request: Request) -> Response:
        LOOP.require_edit(person(request))
        data, author = text_and_author(request)
        check_types(LoopEntry, data)
        return loop_response(request, save_loop(data, author).pk, status=201)


class LoopOneView(LoopView):
    """One loop."""

    @extend_schema(
        operation_id="read_loop",
        responses={200: LoopShape},
        summary="Read one loop; its ETag is its version",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        return loop_response(request, pk)

    @extend_schema(
        operation_id="change_loop",
        request=SENT,
        parameters=[IF_MATCH],
        responses={200: LoopShape},
        summary="Save a loop anew from its whole text; it is judged at once",
        tags=TAGS,
    )
    def put(self, request: Request, pk: int) -> Response:
        self.editable(request, pk)
        version = matched_version(request)
        data, author = text_and_author(request)
        check_types(LoopEntry, data)
        save_loop(data, author, loop_id=pk, opened_version=version)
        return loop_response(request, pk)


class LoopArchivedView(LoopView):
    """Whether a loop is archived."""

    @extend_schema(
        operation_id="archive_loop",
        request=ArchivedShape,
        parameters=[IF_MATCH],
        responses={200: LoopShape},
        summary="Archive a loop, or bring it back",
        tags=TAGS,
    )
    def put(self, request: Request, pk: int) -> Response:
        archive_as_asked(request, self.editable(request, pk), archive_loop)
        return loop_response(request, pk)


class LoopCaseView(LoopView):
    """The stored case documents of a loop's newest verdict."""

    parameters = frozenset({"circuit"})

    @extend_schema(
        operation_id="read_loop_case",
        parameters=[
            OpenApiParameter(
                "circuit",
                {"type": "integer", "minimum": 1, "maximum": MOST_CIRCUITS},
                description="Number of the circuit, from 1; left out: 1.",
            )
        ],
        responses={200: CaseShape},
        summary="The case document of one circuit as it was judged",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        loops = selectors.visible_loops(person(request)).select_related("verification")
        loop = get_object_or_404(loops, pk=pk)
        documents = loop.verification.inputs if loop.verification else []
        number = whole_number(request, "circuit", 1, MOST_CIRCUITS, 1)
        if number > len(documents):
            raise Http404
        response = Response(documents[number - 1])
        response["X-Circuit-Count"] = str(len(documents))
        here = request.build_absolute_uri(request.path)
        links = [f'<{here}?circuit={number + 1}>; rel="next"'] if number < len(documents) else []
        links += [f'<{here}?circuit={number - 1}>; rel="prev"'] if number > 1 else []
        if links:
            response["Link"] = ", ".join(links)
        return response


RevisionsView, RevisionView = revision_views(LoopView, LOOP, TAGS)


def heads(keys: Sequence[int]) -> list[dict[str, Any]]:
    """Some loops as lists give them, in the order of their keys."""
    found = selectors.with_heads(Loop.objects.all()).in_bulk(list(keys))
    return [loop_head(found[key]) for key in keys if key in found]


def loop_head(loop: Loop) -> dict[str, Any]:
    """A loop as lists give it."""
    verification = loop.verification
    margin = verification.least_margin if verification else None
    return {
        "id": loop.pk,
        "site": loop.site.code,
        "tag": loop.tag,
        "service": loop.service,
        "state": loop.state,
        "letter": loop.letter,
        "version": loop.version,
        "archived": loop.is_archived,
        "owner": str(loop.owner),
        "changed_at": loop.changed_at,
        "verification": verification.pk if verification else None,
        "verdict": verification.verdict if verification else None,
        "function_verdict": verification.function_verdict if verification else "",
        "limiting": verification.limiting if verification else "",
        "least_margin": None if margin is None else format(margin, "f"),
    }


def loop_response(request: Request, pk: int, status: int = 200) -> Response:
    """One loop in full, with its version as ETag."""
    loop = selectors.judged_loop(person(request), pk)
    if loop is None:
        raise Http404
    results = loop.verification.results if loop.verification else []
    record = texts(LoopEntry, [loop.pk])[loop.pk]
    response = Response({**loop_head(loop), "record": record, "results": results}, status=status)
    response["ETag"] = etag(loop.version)
    if status == 201:
        response["Location"] = f"/api/v1/loops/{loop.pk}/"
    return response
