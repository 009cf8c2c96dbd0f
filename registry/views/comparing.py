"""What a person meets who saves over somebody else's save: both beside what was opened."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.differences import canonical, leaves
from registry.models import Revision
from registry.models.base import Record
from registry.reading import EntryForm


def compare_three(
    entry_class: type[EntryForm],
    opened: Mapping[str, Any] | None,
    theirs: Mapping[str, Any],
    yours: Mapping[str, Any],
) -> list[dict[str, Any]]:
    """Rows for components/theirs_yours.html: what you or they changed since you opened the record.

    Without what was opened, all that differs between the two.
    """
    original = leaves(entry_class, canonical(entry_class, theirs if opened is None else opened))
    other, mine = (leaves(entry_class, canonical(entry_class, text)) for text in (theirs, yours))
    rows = []
    for key in dict.fromkeys([*other, *mine, *original]):
        was, now, typed = (side.get(key, ("", "", "", False))[2] for side in (original, other, mine))
        place, label = next(side[key] for side in (mine, other, original) if key in side)[:2]
        if was == now == typed:
            continue
        row = beside(f"{place}, {label}" if place else label, was, now, typed) | {"field": key}
        rows.append(row if opened is not None else row | {"original": ""})
    return rows


def beside(label: str, original: str, theirs: str, yours: str) -> dict[str, Any]:
    """One row of components/theirs_yours.html; a conflict is what both changed, each differently."""
    conflict = original not in (theirs, yours) and theirs != yours
    return {"label": label, "original": original, "theirs": theirs, "yours": yours, "conflict": conflict}


def opened_revision(record: Record, number: str) -> Revision | None:
    """The revision that a form says it was opened with; None where it does not say."""
    if not (number.isascii() and number.isdigit() and len(number) < 10):
        return None
    return Revision.objects.filter(kind=record.record_kind, record_id=record.pk, number=int(number)).first()
