"""What a person meets who saves over somebody else's save: both beside what was opened."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.differences import canonical, leaves, snapshot_text
from registry.entries import ENTRIES
from registry.models import Revision
from registry.models.base import Record
from registry.reading import EntryForm


def compare_three(
    record: Record,
    opened_revision: str,
    theirs: Mapping[str, Any],
    yours: Mapping[str, Any],
    entry_class: type[EntryForm] | None = None,
) -> list[dict[str, Any]]:
    """Rows for components/theirs_yours.html: what you or they changed since you opened the record.

    Without the revision that was opened, all that differs between the two.
    """
    entry_class = entry_class or ENTRIES[record.record_kind]
    opened = opened_text(record, opened_revision)
    original = leaves(entry_class, canonical(entry_class, theirs if opened is None else opened))
    other, mine = (leaves(entry_class, canonical(entry_class, text)) for text in (theirs, yours))
    rows = []
    for key in dict.fromkeys([*other, *mine, *original]):
        was, now, typed = (side.get(key, ("", "", "", False))[2] for side in (original, other, mine))
        place, label = next(side[key] for side in (mine, other, original) if key in side)[:2]
        if was == now == typed:
            continue
        rows.append(
            {
                "field": key,
                "label": f"{place}, {label}" if place else label,
                "original": was if opened is not None else "",
                "theirs": now,
                "yours": typed,
                "conflict": opened is not None and was not in (now, typed) and now != typed,
            }
        )
    return rows


def opened_text(record: Record, opened_revision: str) -> dict[str, Any] | None:
    """The nested text of the revision that a form was opened with; None where the form does not say."""
    if not (opened_revision.isascii() and opened_revision.isdigit() and len(opened_revision) < 10):
        return None
    opened = Revision.objects.filter(kind=record.record_kind, record_id=record.pk, number=int(opened_revision)).first()
    return snapshot_text(opened.snapshot) if opened else None
