"""The API of what was found and what was signed: verifications and approvals, to be read. Nothing is signed here."""

from __future__ import annotations

from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from loops.api.serializers import VERDICTS, ResultShape
from loops.api.views import LoopView
from loops.models import Approval, BasisChange, Verification
from registry import access
from registry.api.listing import LARGEST, PAGING, PAGING_PARAMETERS, page_answer, whole_number
from registry.api.requests import UnlitAPIView, person
from registry.api.shapes import page_shape

TAGS = ["Verification"]
APPROVALS = ["Approvals and sheets"]
OF = [
    OpenApiParameter("site", OpenApiTypes.STR, description="Code of a site."),
    OpenApiParameter(
        "loop", {"type": "integer", "minimum": 1, "maximum": LARGEST}, description="Key of a loop: those of it alone."
    ),
]


class VerificationHeadShape(serializers.Serializer):
    """A verdict in short."""

    id = serializers.IntegerField()
    loop = serializers.IntegerField()
    revision = serializers.IntegerField(help_text="Number of the revision that was judged.")
    purpose = serializers.CharField(help_text="pinned: the verdict of the loop; register: with newer values beside it")
    engine = serializers.CharField(allow_blank=True, help_text="Version of the rules.")
    verdict = serializers.CharField(help_text=", ".join(VERDICTS))
    function_verdict = serializers.CharField(allow_blank=True)
    limiting = serializers.CharField(allow_blank=True)
    limiting_check = serializers.CharField(allow_blank=True)
    least_margin = serializers.CharField(allow_null=True)
    judged_on = serializers.DateField()
    created_at = serializers.DateTimeField()
    digest = serializers.CharField(help_text="SHA-256 of inputs and results.")


class VerificationShape(VerificationHeadShape):
    """A verdict with its case documents and results, one of each for each circuit."""

    inputs = serializers.ListField(child=serializers.DictField(), help_text="Case documents, as POST /verify/ takes.")
    results = ResultShape(many=True)


class BasisShape(serializers.Serializer):
    """Something that an approval rests on and that was changed since."""

    reason = serializers.CharField()
    at = serializers.DateTimeField()


class WithdrawnShape(serializers.Serializer):
    """The end of an approval."""

    reason = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField()


class ApprovalShape(serializers.Serializer):
    """A signature under one revision of a loop and its verdict."""

    id = serializers.IntegerField()
    loop = serializers.IntegerField()
    site = serializers.CharField()
    tag = serializers.CharField()
    letter = serializers.CharField(help_text="Letter of the issue.")
    state = serializers.ChoiceField(["in_force", "superseded", "withdrawn"])
    revision = serializers.IntegerField()
    revision_digest = serializers.CharField()
    verification = serializers.IntegerField()
    verification_digest = serializers.CharField()
    prepared_by = serializers.CharField()
    approved_by = serializers.CharField()
    approved_at = serializers.DateTimeField()
    meaning = serializers.CharField()
    signed_with = serializers.CharField(help_text="password or passkey")
    basis_changes = BasisShape(many=True, help_text="What it rests on and was changed since.")
    withdrawn = WithdrawnShape(allow_null=True)


class VerificationsView(LoopView):
    """The verdicts on one loop."""

    parameters = frozenset(PAGING)

    @extend_schema(
        operation_id="list_loop_verifications",
        parameters=PAGING_PARAMETERS,
        responses={200: page_shape(VerificationHeadShape, "VerificationPage")},
        summary="All verdicts on one loop, the first one first",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        loop = self.found(request, pk)

        def read(keys: list[int]) -> list[dict[str, Any]]:
            rows = Verification.objects.filter(pk__in=keys).select_related("revision")
            rows = rows.defer("inputs", "results", "revision__snapshot").order_by("pk")
            return [verification_head(row) for row in rows]

        return page_answer(request, loop.verifications.all(), read)


class VerificationView(UnlitAPIView):
    """One verdict."""

    @extend_schema(
        operation_id="read_verification",
        responses={200: VerificationShape},
        summary="One verdict with its inputs: the same inputs give the same results",
        tags=TAGS,
    )
    def get(self, request: Request, pk: int) -> Response:
        rows = Verification.objects.filter(loop__site_id__in=access.sites_of(person(request)))
        row = get_object_or_404(rows.select_related("revision").defer("revision__snapshot"), pk=pk)
        return Response(verification_head(row) | {"inputs": row.inputs, "results": row.results})


def verification_head(row: Verification) -> dict[str, Any]:
    """A verdict in short."""
    return {
        "id": row.pk,
        "loop": row.loop_id,
        "revision": row.revision.number,
        "purpose": row.purpose,
        "engine": row.engine,
        "verdict": row.verdict,
        "function_verdict": row.function_verdict,
        "limiting": row.limiting,
        "limiting_check": row.limiting_check,
        "least_margin": None if row.least_margin is None else format(row.least_margin, "f"),
        "judged_on": row.judged_on,
        "created_at": row.created_at,
        "digest": row.digest,
    }


class ApprovalsView(UnlitAPIView):
    """What was signed."""

    parameters = frozenset({"site", "loop", *PAGING})

    @extend_schema(
        operation_id="list_approvals",
        parameters=[*OF, *PAGING_PARAMETERS],
        responses={200: page_shape(ApprovalShape, "ApprovalPage")},
        summary="What was signed at the caller's sites, the first one first",
        tags=APPROVALS,
    )
    def get(self, request: Request) -> Response:
        def read(keys: list[int]) -> list[dict[str, Any]]:
            return [approval_data(row) for row in whole_approvals().filter(pk__in=keys).order_by("pk")]

        return page_answer(request, of_loops(request, visible_approvals(request), "loop"), read)


class ApprovalView(UnlitAPIView):
    """One signature."""

    @extend_schema(
        operation_id="read_approval",
        responses={200: ApprovalShape},
        summary="One signature: who, when, under which digests, and whether it is in force",
        tags=APPROVALS,
    )
    def get(self, request: Request, pk: int) -> Response:
        row = get_object_or_404(visible_approvals(request), pk=pk)
        return Response(approval_data(whole_approvals().get(pk=row.pk)))


def of_loops(request: Request, rows: QuerySet[Any], way: str) -> QuerySet[Any]:
    """Rows narrowed to one site or one loop, where that is asked for; `way` leads to the loop."""
    if (site := request.query_params.get("site")) is not None:
        rows = rows.filter(**{f"{way}__site__code": site[:20]})
    loop = whole_number(request, "loop", 1, LARGEST, 0)
    return rows.filter(**{way: loop}) if loop else rows


def visible_approvals(request: Request) -> QuerySet[Approval]:
    """The signatures under loops of the caller's sites."""
    return Approval.objects.filter(loop__site_id__in=access.sites_of(person(request)))


def whole_approvals() -> QuerySet[Approval]:
    """Signatures with all that is told of them, in a constant number of queries."""
    later = Approval.objects.filter(loop=OuterRef("loop"), pk__gt=OuterRef("pk"))
    return (
        Approval.objects.select_related("loop__site", "revision", "withdrawal")
        .defer("revision__snapshot", "evidence")
        .annotate(superseded=Exists(later))
        .prefetch_related(Prefetch("basis_changes", BasisChange.objects.order_by("pk")))
    )


def approval_data(row: Any) -> dict[str, Any]:
    """A signature as plain data."""
    withdrawal = getattr(row, "withdrawal", None)
    return {
        "id": row.pk,
        "loop": row.loop_id,
        "site": row.loop.site.code,
        "tag": row.loop.tag,
        "letter": row.letter,
        "state": "withdrawn" if withdrawal else "superseded" if row.superseded else "in_force",
        "revision": row.revision.number,
        "revision_digest": row.revision_digest,
        "verification": row.verification_id,
        "verification_digest": row.verification_digest,
        "prepared_by": row.prepared_name,
        "approved_by": row.printed_name,
        "approved_at": row.approved_at,
        "meaning": row.meaning,
        "signed_with": row.signed_with,
        "basis_changes": [{"reason": change.reason, "at": change.created_at} for change in row.basis_changes.all()],
        "withdrawn": withdrawal
        and {"reason": withdrawal.reason, "by": withdrawal.printed_name, "at": withdrawal.withdrawn_at},
    }
