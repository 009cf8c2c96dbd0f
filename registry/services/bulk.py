"""Saving many records of one kind in one transaction: the gait of :mod:`registry.services.records`, fewer queries.

Text goes through the same entries, the same rules and the same snapshots; new records, their rows and revisions are
written in bulk. A record in which nothing differs is left alone: no save, no version, no revision.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, models, transaction

from registry import access
from registry.entries import ENTRIES
from registry.fields import Reading
from registry.models import Revision
from registry.models.base import Child, Record
from registry.reading import read_entry, remembered_choices
from registry.services.changes import recorded, tell
from registry.services.records import (
    ACTIONS,
    Author,
    EntryRefused,
    assign,
    deed_of,
    record_revision,
    revision_of,
    snapshot,
    write,
)


@dataclass(frozen=True)
class Incoming:
    """The nested text of one record; `record` is the stored one that it changes, or None for a new one."""

    data: Mapping[str, Any]
    record: Record | None = None


@dataclass
class Outcome:
    """What became of a batch: errors by position in it and dotted path, and the records in its order."""

    errors: dict[int, dict[str, list[str]]] = field(default_factory=dict)
    records: list[Record] = field(default_factory=list)
    added: int = 0
    changed: int = 0
    unchanged: int = 0


class BatchRefused(Exception):
    """Some texts of a batch cannot be saved, so none was; `outcome.errors` says which and why."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        super().__init__(f"{len(outcome.errors)} of the records are refused.")


def save_many(kind: str, batch: Sequence[Incoming], author: Author) -> Outcome:
    """Save a batch of records of one kind, all or none.

    Raises BatchRefused with the errors of every text, PermissionDenied; then nothing is saved. The stored records are
    to be locked by the caller in the same transaction.
    """
    outcome = Outcome()
    with recorded():
        with remembered_choices():
            cleaned = [read_one(kind, item, index, outcome) for index, item in enumerate(batch)]
        allow(kind, batch, cleaned, author, outcome)
        model: type[Record] = ENTRIES[kind].model  # type: ignore[assignment]
        new: list[tuple[int, Record, dict[str, Any]]] = []
        for index, (item, values) in enumerate(zip(batch, cleaned, strict=True)):
            record = item.record or model()
            outcome.records.append(record)
            if index in outcome.errors:
                continue
            if item.record is None:
                new.append((index, record, values))
            elif unchanged(record, values):
                outcome.unchanged += 1
            else:
                change(index, record, values, author, outcome)
        if outcome.errors:
            # The new ones are tried too, so that every fault is told at once; all is rolled back.
            add(new, author, outcome, report_only=True)
            raise BatchRefused(outcome)
        add(new, author, outcome)
        if outcome.errors:
            raise BatchRefused(outcome)
    return outcome


def read_one(kind: str, item: Incoming, index: int, outcome: Outcome) -> dict[str, Any]:
    """The cleaned values of one text; its errors go to the outcome."""
    cleaned, errors = read_entry(ENTRIES[kind], item.data)
    if errors:
        outcome.errors[index] = errors
    return cleaned


def allow(
    kind: str, batch: Sequence[Incoming], cleaned: list[dict[str, Any]], author: Author, outcome: Outcome
) -> None:
    """Refuse what the author may not do: all of it, or the records of a site that is not theirs."""
    if kind not in ACTIONS:
        access.require(author.user, "register.edit")
        return
    for index, (item, values) in enumerate(zip(batch, cleaned, strict=True)):
        for site in (values.get("site"), getattr(item.record, "site", None)):
            try:
                if site is not None:
                    access.require(author.user, ACTIONS[kind], site)
            except PermissionDenied as error:
                outcome.errors.setdefault(index, {}).setdefault("site", [str(error)])


# ------------------------------------------------------------------------------------------------------------ changing


def unchanged(record: models.Model, cleaned: Mapping[str, Any]) -> bool:
    """Whether a stored record with its rows says the same as cleaned values, text for text."""
    for name, value in cleaned.items():
        if name == "id":
            continue
        if isinstance(value, list):
            rows = list(getattr(record, name).all())
            if len(rows) != len(value) or not all(map(unchanged, rows, value)):
                return False
        elif isinstance(value, Reading):
            if getattr(record, f"{name}_text") != value.text:
                return False
        elif isinstance(value, models.Model):
            if getattr(record, f"{name}_id") != value.pk:
                return False
        elif getattr(record, f"{name}_id", getattr(record, name)) != value:
            return False
    return True


def change(index: int, record: Record, cleaned: dict[str, Any], author: Author, outcome: Outcome) -> None:
    """Change one stored record as every other door does."""
    try:
        with recorded():
            # Rows that were read ahead must not stand in for those that are written now.
            getattr(record, "_prefetched_objects_cache", {}).clear()
            write(record, cleaned)
            revision = record_revision(record, author)
    except EntryRefused as error:
        outcome.errors[index] = error.errors
        return
    if revision is None:
        outcome.unchanged += 1
    else:
        outcome.changed += 1


# -------------------------------------------------------------------------------------------------------------- adding

Rows = dict[tuple[int, str], list[Child]]


def add(
    new: Sequence[tuple[int, Record, dict[str, Any]]], author: Author, outcome: Outcome, report_only: bool = False
) -> None:
    """Write new records with their rows and first revisions in bulk, one by one where the database refuses some."""
    if not new:
        return
    rows: Rows = {}
    try:
        with recorded():
            for _, record, cleaned in new:
                assign(record, cleaned)
                record.version = 1
            records = [record for _, record, _ in new]
            type(records[0])._default_manager.bulk_create(records)
            add_rows([(record, cleaned) for _, record, cleaned in new], rows)
            if not report_only:
                revisions = [first_revision(record, rows, author) for record in records]
                Revision.objects.bulk_create(revisions)
                for record, revision in zip(records, revisions, strict=True):
                    tell(deed_of(record, revision, author, None))
        outcome.added += len(new)
    except IntegrityError:
        for index, record, cleaned in new:
            record.pk = None
            add_alone(index, type(record)(), cleaned, outcome)


def add_alone(index: int, record: Record, cleaned: dict[str, Any], outcome: Outcome) -> None:
    """Try one new record, to learn what the database refuses; the batch is refused with it."""
    try:
        with transaction.atomic():
            write(record, cleaned)
    except EntryRefused as error:
        outcome.errors[index] = error.errors


def add_rows(parents: Sequence[tuple[models.Model, Mapping[str, Any]]], rows: Rows) -> None:
    """The rows of new parents, one level after the other; `rows` gets them by parent and name."""
    names = getattr(parents[0][0], "revision_children", ()) if parents else ()
    for name in names:
        level: list[tuple[models.Model, Mapping[str, Any]]] = []
        for parent, cleaned in parents:
            manager = getattr(parent, name)
            own: list[Child] = []
            for position, values in enumerate(cleaned.get(name, ())):
                child = manager.model(**{manager.field.name: parent})
                assign(child, values)
                child.position = position
                own.append(child)
                level.append((child, values))
            rows[id(parent), name] = own
        if level:
            type(level[0][0])._default_manager.bulk_create(child for child, _ in level)
            add_rows(level, rows)


def first_revision(record: Record, rows: Rows, author: Author) -> Revision:
    """The first revision of a new record, from what has just been written."""

    def rows_of(parent: models.Model, name: str) -> Iterable[models.Model]:
        return rows[id(parent), name]

    return revision_of(record, snapshot(record, rows_of) | {"archived": False}, 1, author)
