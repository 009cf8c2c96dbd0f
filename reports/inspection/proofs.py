"""Proving signed inspections; see registry.services.proofs."""

from __future__ import annotations

from collections.abc import Iterator

from registry.digests import digest
from registry.models import Change, Deed
from registry.services.proofs import WHOLE
from reports.inspection.models import SignedInspection
from reports.inspection.signing import evidence_holds

PORTION = 200


def prove_inspections() -> Iterator[str]:
    """The content of every signed inspection is what was signed, and none is missing."""
    lines = Change.objects.filter(kind="inspection", verb=Deed.INSPECT).order_by("number")
    told = {key: (number, content) for key, number, content in lines.values_list("record_id", "number", "digest")}
    for row in SignedInspection.objects.order_by("pk").iterator(PORTION):
        line = told.pop(row.inspection_id, None)
        if digest(row.content) != row.digest:
            yield f"Inspection {row.inspection_id} was altered: its digest does not fit."
        elif line and line[1] != row.digest:
            yield f"Inspection {row.inspection_id} is not the one that line {line[0]} of the change log tells of."
        elif not evidence_holds(row):
            yield f"The passkey's signature under inspection {row.inspection_id} does not fit what it holds."
        else:
            yield WHOLE
    for key, line in told.items():
        yield f"Inspection {key} is missing: line {line[0]} of the change log tells of it."
