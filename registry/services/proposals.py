"""What a save would do, without saving: the change is made, looked at and rolled back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.db import transaction

from registry import access
from registry.models.base import Record
from registry.selectors import LOOPS_BY_KIND
from registry.services.changes import recorded
from registry.services.records import Author, latest_revision, save_text, snapshot
from registry.uses import MOST_JUDGED, Effects, foresee


def propose(
    kind: str, data: Mapping[str, Any], author: Author, *, record_id: int, opened_version: int | None = None
) -> tuple[Record, dict[str, Any], bool]:
    """The record as a save would leave it, its snapshot, and whether it would differ from the last revision.

    Raises what save_text raises. Nothing is saved.
    """
    with recorded():
        before = latest_revision_digest(kind, record_id)
        # Nobody is asked why before anything is saved.
        author = author if author.reason else replace(author, reason="preview")
        record = save_text(kind, data, author, record_id=record_id, opened_version=opened_version)
        after = latest_revision(record)
        content = snapshot(record)
        transaction.set_rollback(True)
    return record, content, after is not None and after.digest != before


def latest_revision_digest(kind: str, record_id: int) -> str:
    from registry.models import Revision

    found = Revision.objects.filter(kind=kind, record_id=record_id).order_by("-number").values_list("digest", flat=True)
    return found.first() or ""


def effects_of(
    kind: str,
    data: Mapping[str, Any],
    author: Author,
    *,
    record_id: int,
    opened_version: int | None = None,
    most: int = MOST_JUDGED,
) -> Effects:
    """What a save would do to those who use the record: nothing where it would change nothing, or judges nothing.

    Raises what save_text raises. Nothing is saved.
    """
    record, content, differs = propose(kind, data, author, record_id=record_id, opened_version=opened_version)
    if not differs or kind not in LOOPS_BY_KIND:
        return Effects(0, 0, (), 0)
    return foresee({(kind, record_id): (record, content)}, access.sites_of(author.user), most)
