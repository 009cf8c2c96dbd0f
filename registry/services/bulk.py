"""Saving many records of one kind in one transaction: the gait of :mod:`registry.services.records`, fewer queries.

Text goes through the same entries, the same rules and the same snapshots; records, their rows and revisions are
written in bulk, and one by one where the database refuses some, so that each refusal is told as every door tells it. A
record in which nothing differs is left alone: no save, no version, no revision.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, models, transaction
from django.db.models import ProtectedError, prefetch_related_objects
from django.utils import timezone

from registry import access
from registry.choices import remembered_choices
from registry.entries import ENTRIES
from registry.models import Revision
from registry.models.base import Record
from registry.reading import read_entry
from registry.services.bulk_rows import (
    Rows,
    assign_changed,
    chunks,
    differs,
    overwrite,
    row_lookups,
    write_rows,
)
from registry.services.changes import recorded, tell
from registry.services.inserting import insert
from registry.services.records import (
    ACTIONS,
    REASON,
    REASON_WANTING,
    Author,
    EntryRefused,
    StaleRecord,
    assign,
    deed_of,
    latest_revision_ids,
    record_revision,
    revision_of,
    snapshot,
    unique_path,
    write,
)
from registry.services.rows import rows_at_hand
from registry.uses import issued


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


Piece = tuple[int, Record, dict[str, Any]]
"""A record of a batch: its place there, the record itself, its cleaned values."""


class BatchRefused(Exception):
    """Some texts of a batch cannot be saved, so none was; `outcome.errors` says which and why."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        super().__init__(f"{len(outcome.errors)} of the records are refused.")


def save_many(kind: str, batch: Sequence[Incoming], author: Author) -> Outcome:
    """Save a batch of records of one kind, all or none.

    Raises BatchRefused with the errors of every text, PermissionDenied; then nothing is saved. The stored records are
    to be locked by the caller in the same transaction, and their rows, where read ahead, to be read after that.
    """
    outcome = Outcome()
    with recorded():
        with remembered_choices():
            cleaned = [read_one(kind, item, index, outcome) for index, item in enumerate(batch)]
        allow(kind, batch, cleaned, author, outcome)
        model: type[Record] = ENTRIES[kind].model  # type: ignore[assignment]
        new: list[Piece] = []
        standing: list[Piece] = []
        for index, (item, values) in enumerate(zip(batch, cleaned, strict=True)):
            record = item.record or model()
            outcome.records.append(record)
            if index in outcome.errors:
                continue
            if item.record is None:
                new.append((index, record, values))
            else:
                standing.append((index, record, values))
        change_many(standing, author, outcome)
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
        if isinstance(value, list):
            rows = rows_at_hand(record, name)
            if len(rows) != len(value) or not all(map(unchanged, rows, value)):
                return False
        elif differs(record, name, value):
            return False
    return True


def change_many(standing: Sequence[Piece], author: Author, outcome: Outcome) -> None:
    """Change stored records: in bulk, or one by one those that get another name and where the database refuses some."""
    if not standing:
        return
    records = [record for _, record, _ in standing]
    model = type(records[0])
    prefetch_related_objects(records, *row_lookups(model))
    changing = [piece for piece in standing if not unchanged(piece[1], piece[2])]
    outcome.unchanged += len(standing) - len(changing)
    changing = list(reasoned(list(not_stale(model, changing, outcome)), author, outcome))
    names = unique_names(model)
    alone = [piece for piece in changing if any(differs(piece[1], n, piece[2][n]) for n in names if n in piece[2])]
    apart = {index for index, _, _ in alone}
    together = [piece for piece in changing if piece[0] not in apart]
    try:
        with recorded():
            changed = change_together(together, author)
        outcome.changed += changed
        outcome.unchanged += len(together) - changed
    except (IntegrityError, ProtectedError):
        alone = changing
        for _, record, _ in together:
            record.refresh_from_db()
    for index, record, cleaned in alone:
        change(index, record, cleaned, author, outcome)


def not_stale(model: type[Record], pieces: Sequence[Piece], outcome: Outcome) -> Iterator[Piece]:
    """The records that nobody else has saved since they were read; the others are refused."""
    versions: dict[int, int] = {}
    for part in chunks([record.pk for _, record, _ in pieces]):
        locked = model._default_manager.select_for_update().filter(pk__in=part)
        versions |= dict(locked.values_list("pk", "version"))
    for index, record, cleaned in pieces:
        if versions.get(record.pk) == record.version:
            yield index, record, cleaned
        else:
            outcome.errors[index] = {unique_path(record, ""): [str(StaleRecord(record, record.version))]}


def reasoned(pieces: Sequence[Piece], author: Author, outcome: Outcome) -> Iterator[Piece]:
    """Without a reason, the records on which nothing rests that was issued; the others are refused."""
    keys = [record.pk for _, record, _ in pieces]
    kept = issued(pieces[0][1].record_kind, keys) if pieces and not author.reason.strip() else set()
    for piece in pieces:
        if piece[1].pk in kept:
            outcome.errors[piece[0]] = {REASON: [REASON_WANTING]}
        else:
            yield piece


def unique_names(model: type[models.Model]) -> set[str]:
    """The columns by which no two records of a model may be alike."""
    rules = {name for rule in model._meta.total_unique_constraints for name in rule.fields}
    return rules | {item.name for item in model._meta.concrete_fields if item.unique and not item.primary_key}


def change_together(pieces: Sequence[Piece], author: Author) -> int:
    """Write changed records, their rows and their next revisions; returns how many revisions there are.

    Raises IntegrityError, ProtectedError where the database refuses one.
    """
    if not pieces:
        return 0
    now = timezone.now()
    columns = {"version", "changed_at"}
    for _, record, cleaned in pieces:
        columns |= assign_changed(record, cleaned)
        record.version += 1
        record.changed_at = now
    records = [record for _, record, _ in pieces]
    overwrite(records, columns)
    rows: Rows = {}
    write_rows([(record, cleaned, False) for _, record, cleaned in pieces], rows)
    last = newest_revisions(records)
    revisions: list[Revision] = []
    for record in records:
        before = last.get(record.pk)
        revision = revision_from(record, rows, (before.number if before else 0) + 1, author)
        if before is None or before.digest != revision.digest:
            revisions.append(revision)
            tell(deed_of(record, revision, author, before))
    insert(revisions)
    return len(revisions)


def newest_revisions(records: Sequence[Record]) -> dict[int, Revision]:
    """The newest revision of each of some records of one kind, by their keys."""
    found: dict[int, Revision] = {}
    for part in chunks([record.pk for record in records]):
        keys = latest_revision_ids(records[0].record_kind, part).values()
        found |= {revision.record_id: revision for revision in Revision.objects.filter(pk__in=list(keys))}
    return found


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


def revision_from(record: Record, rows: Rows, number: int, author: Author) -> Revision:
    """A revision of a record, not yet saved, from what has just been written."""

    def rows_of(parent: models.Model, name: str) -> Iterable[models.Model]:
        return rows[id(parent), name]

    return revision_of(record, snapshot(record, rows_of) | {"archived": record.is_archived}, number, author)


# -------------------------------------------------------------------------------------------------------------- adding


def add(new: Sequence[Piece], author: Author, outcome: Outcome, report_only: bool = False) -> None:
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
            insert(records)
            write_rows([(record, cleaned, True) for _, record, cleaned in new], rows)
            if not report_only:
                revisions = [revision_from(record, rows, 1, author) for record in records]
                insert(revisions)
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
