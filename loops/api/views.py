"""The API of loops: judge a case, read loops, save them through the same path as the pages."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from loops import selectors
from loops.api.requests import (
    PreconditionFailed,
    UnlitAPIView,
    body_object,
    etag,
    matched_version,
)
from loops.api.serializers import (
    CaseShape,
    LoopPageShape,
    LoopShape,
    LoopTextShape,
    ProblemShape,
    ResultShape,
)
from loops.casefile import CaseError, judge_document
from loops.models import Loop
from loops.services.loops import save_loop
from loops.views.kind import LOOP
from loops.views.requests import person
from registry.api.errors import problem
from registry.models import Origin
from registry.services.records import Author, StaleRecord
from registry.views.listing import asked_of, filters_of, shown_records

PARAMETERS = [name for item in filters_of(LOOP) for name in item.names()] + ["q"]
PAGE_SIZE = 50
MAX_PAGE_SIZE = 200
REFUSALS = {400: ProblemShape, 401: ProblemShape, 403: ProblemShape}
NOT_FOUND = {404: ProblemShape}
BODY_REFUSALS = {413: ProblemShape, 415: ProblemShape}
IF_MATCH = OpenApiParameter(
    "If-Match", OpenApiTypes.STR, OpenApiParameter.HEADER, required=True, description='The version read, as "3".'
)


class VerifyView(UnlitAPIView):
    """Judge one circuit; nothing is stored."""

    @extend_schema(
        operation_id="verify_case",
        request=CaseShape,
        responses={200: ResultShape, **REFUSALS, **BODY_REFUSALS},
        summary="Judge one circuit given as plain data; nothing is stored",
    )
    def post(self, request: Request) -> Response:
        try:
            return Response(judge_document(body_object(request)))
        except CaseError as error:
            return problem(
                "invalid", "The case cannot be judged: some values cannot be read or cannot be true.", 400, error.errors
            )


class LoopListView(UnlitAPIView):
    """The loops of the caller's sites."""

    @extend_schema(
        operation_id="list_loops",
        parameters=[
            *(
                OpenApiParameter(name, OpenApiTypes.STR, description="As in the address of the list page.")
                for name in (*PARAMETERS, "sort")
            ),
            OpenApiParameter("page", OpenApiTypes.INT),
            OpenApiParameter("page_size", OpenApiTypes.INT, description=f"At most {MAX_PAGE_SIZE}."),
        ],
        responses={200: LoopPageShape, **REFUSALS},
        summary="List loops with their verdicts",
    )
    def get(self, request: Request) -> Response:
        query = {name: values for name, values in request.query_params.lists() if name != "page_size"}
        asked = asked_of(LOOP, query, person(request))
        if asked.is_faulty:
            faults = {name: [message] for name, message in asked.faults.items()}
            errors = faults | ({"query": asked.unknown} if asked.unknown else {})
            return problem("invalid", "Some filters cannot be read, so that nothing is listed.", 400, errors)
        found = selectors.with_heads(shown_records(LOOP, person(request), asked))
        paginator = Paginator(found, page_size(request))
        page = paginator.get_page(request.query_params.get("page"))
        return Response(
            {
                "count": paginator.count,
                "page": page.number,
                "pages": paginator.num_pages,
                "results": [loop_head(loop) for loop in page.object_list],
            }
        )

    @extend_schema(
        operation_id="create_loop",
        request=LoopTextShape,
        responses={201: LoopShape, **REFUSALS, **BODY_REFUSALS},
        summary="Save a new loop; it is judged at once",
    )
    def post(self, request: Request) -> Response:
        data, author = text_and_author(request)
        loop = save_loop(data, author)
        return loop_response(request, loop.pk, status=201)


class LoopView(UnlitAPIView):
    """One loop."""

    @extend_schema(
        operation_id="read_loop",
        responses={200: LoopShape, **REFUSALS, **NOT_FOUND},
        summary="Read one loop; its ETag is its version",
    )
    def get(self, request: Request, pk: int) -> Response:
        return loop_response(request, pk)

    @extend_schema(
        operation_id="change_loop",
        request=LoopTextShape,
        parameters=[IF_MATCH],
        responses={
            200: LoopShape,
            **REFUSALS,
            **NOT_FOUND,
            **BODY_REFUSALS,
            412: ProblemShape,
            428: ProblemShape,
        },
        summary="Save a loop anew from its whole text; it is judged at once",
    )
    def put(self, request: Request, pk: int) -> Response:
        loop = get_object_or_404(selectors.visible_loops(person(request)), pk=pk)
        version = matched_version(request)
        data, author = text_and_author(request)
        try:
            save_loop(data, author, loop_id=loop.pk, opened_version=version)
        except StaleRecord as error:
            raise PreconditionFailed from error
        return loop_response(request, pk)


class LoopCaseView(UnlitAPIView):
    """The stored case documents of a loop's newest verdict."""

    @extend_schema(
        operation_id="read_loop_case",
        parameters=[
            OpenApiParameter("circuit", OpenApiTypes.INT, description="Number of the circuit, from 1; left out: 1.")
        ],
        responses={200: CaseShape, **REFUSALS, **NOT_FOUND},
        summary="The case document of one circuit as it was judged",
    )
    def get(self, request: Request, pk: int) -> Response:
        loops = selectors.visible_loops(person(request)).select_related("verification")
        loop = get_object_or_404(loops, pk=pk)
        documents = loop.verification.inputs if loop.verification else []
        text = request.query_params.get("circuit", "1")
        number = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
        if not 1 <= number <= len(documents):
            raise Http404
        response = Response(documents[number - 1])
        response["X-Circuit-Count"] = str(len(documents))
        here = request.build_absolute_uri(request.path)
        links = [f'<{here}?circuit={number + 1}>; rel="next"'] if number < len(documents) else []
        links += [f'<{here}?circuit={number - 1}>; rel="prev"'] if number > 1 else []
        if links:
            response["Link"] = ", ".join(links)
        return response


def page_size(request: Request) -> int:
    """The page size asked for, within bounds."""
    text = request.query_params.get("page_size", "")
    size = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else PAGE_SIZE
    return min(max(size, 1), MAX_PAGE_SIZE)


def text_and_author(request: Request) -> tuple[dict[str, Any], Author]:
    """The nested text of a loop and who sends it, with the reason if one is given."""
    data = body_object(request)
    reason = data.pop("reason", "")
    return data, Author(person(request), Origin.API, str(reason)[:400])


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
        "verdict": verification.verdict if verification else None,
        "function_verdict": verification.function_verdict if verification else "",
        "limiting": verification.limiting if verification else "",
        "least_margin": None if margin is None else format(margin, "f"),
    }


def loop_response(request: Request, pk: int, status: int = 200) -> Response:
    """One loop in full, with its version as ETag."""
    loop = get_object_or_404(selectors.whole_loops(person(request)), pk=pk)
    results = loop.verification.results if loop.verification else []
    response = Response({**loop_head(loop), "record": selectors.record_names(loop), "results": results}, status=status)
    response["ETag"] = etag(loop.version)
    if status == 201:
        response["Location"] = request.build_absolute_uri(f"/api/v1/loops/{loop.pk}/")
    return response
