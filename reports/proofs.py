"""Proving issued sheets; see registry.services.proofs."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from registry.models import Change, Deed
from registry.services.proofs import WHOLE
from reports.models import Sheet

PORTION = 50
"""Sheets are large: few at a time."""


def prove_sheets() -> Iterator[str]:
    """The bytes of every sheet are those that were issued, and none is missing."""
    lines = Change.objects.filter(kind="sheet", verb=Deed.ISSUE).order_by("number")
    told = {key: (number, content) for key, number, content in lines.values_list("record_id", "number", "digest")}
    for row in Sheet.objects.order_by("pk").iterator(PORTION):
        line = told.pop(row.pk, None)
        if hashlib.sha256(bytes(row.bytes)).hexdigest() != row.sha256:
            yield f"The bytes of sheet {row.number} were altered: their digest does not fit."
        elif line and line[1] != row.sha256:
            yield f"Sheet {row.number} is not the one that line {line[0]} of the change log tells of."
        else:
            yield WHOLE
    for key, line in told.items():
        yield f"Sheet {key} is missing: line {line[0]} of the change log tells of it."
