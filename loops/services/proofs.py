"""Proving verifications and approvals; see registry.services.proofs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from loops.models import Approval, SignedWith, Verb, Verification
from loops.services.signing import evidence_holds
from registry.digests import digest
from registry.models import Change
from registry.services.proofs import PORTION, WHOLE


def prove_verifications() -> Iterator[str]:
    """Every verification has the inputs and results that its digest covers."""
    for row in Verification.objects.order_by("pk").select_related("loop").iterator(PORTION):
        whole = digest({"inputs": row.inputs, "results": row.results}) == row.digest
        yield WHOLE if whole else f"Verification {row.pk} of loop {row.loop} was altered: its digest does not fit."


def manner(detail: Mapping[str, Any]) -> tuple[str, str]:
    """How somebody signed, as the change log tells it; before passkeys it was always the password."""
    return detail.get("signed_with", SignedWith.PASSWORD.value), detail.get("evidence", "")


def manner_of(row: Approval) -> tuple[str, str]:
    """How somebody signed, as the approval tells it."""
    return row.signed_with, digest(row.evidence) if row.evidence else ""


def prove_approvals() -> Iterator[str]:
    """Every approval names the revision and the verification that were signed, and none was added or taken away."""
    lines = Change.objects.filter(verb=Verb.APPROVE, kind="loop").order_by("number")
    told = {
        detail["approval"]: (number, (content, detail["verification"], *manner(detail)))
        for number, content, detail in lines.values_list("number", "digest", "detail")
        if "approval" in detail
    }
    # What was signed before the log began has no line in it.
    since = Change.objects.exclude(detail__has_key="taken_over").order_by("number").values_list("at", flat=True).first()
    rows = Approval.objects.order_by("pk").select_related("loop", "revision", "verification")
    for row in rows.defer("revision__snapshot", "verification__inputs", "verification__results").iterator(PORTION):
        line = told.pop(row.pk, None)
        name = f"The approval of loop {row.loop}, revision {row.letter},"
        revision, verification = row.revision, row.verification
        if (revision.kind, revision.record_id) != ("loop", row.loop_id) or revision.digest != row.revision_digest:
            yield f"{name} does not name the digest of the revision that was signed."
        elif verification.revision_id != row.revision_id or verification.digest != row.verification_digest:
            yield f"{name} does not name the digest of the verification that was signed."
        elif not evidence_holds(row):
            yield f"{name} holds a passkey signature that does not fit what was signed."
        elif line and line[1] != (row.revision_digest, row.verification_digest, *manner_of(row)):
            yield f"{name} is not the one that line {line[0]} of the change log tells of."
        elif not line and since and row.approved_at >= since:
            yield f"{name} is not in the change log."
        else:
            yield WHOLE
    for key, line in told.items():
        yield f"Approval {key} is missing: line {line[0]} of the change log tells of it."
