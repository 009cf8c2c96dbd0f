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
from django.db.models import CharField, ProtectedError, Value, prefetch_related_objects
from django.db.models.functions import Cast, Concat
from django.utils import timezone

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
    StaleRecord,
    assign,
    deed_of,
    latest_revision_ids,
    match_rows,
    record_revision,
    revision_of,
    snapshot,
    unique_path,
    write,
)

CHUNK = 500
"""So many keys go into one query: SQLite takes no more than 999 values."""

FEW_COLUMNS = 4
"""Up to so many columns are updated by case; more are faster written as whole rows that replace the stored ones."""


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

Rows = dict[tuple[int, str], list[Child]]
"""The rows of records just written, by the identity of their parent and the name of the list."""


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
            rows = list(getattr(record, name).all())
            if len(rows) != len(value) or not all(map(unchanged, rows, value)):
                return False
        elif differs(record, name, value):
            return False
    return True


def differs(record: models.Model, name: str, value: Any) -> bool:
    """Whether a stored record says something else than one cleaned value."""
    if name == "id":
        return False
    if isinstance(value, Reading):
        return bool(getattr(record, f"{name}_text") != value.text)
    if isinstance(value, models.Model):
        return bool(getattr(record, f"{name}_id") != value.pk)
    return bool(getattr(record, f"{name}_id", getattr(record, name)) != value)


def assign_changed(record: models.Model, cleaned: Mapping[str, Any]) -> set[str]:
    """Write what differs into a record; returns the names of its columns that are to be stored."""
    found = {n: v for n, v in cleaned.items() if not isinstance(v, list) and differs(record, n, v)}
    # Relations are set in any case: their names are at hand then.
    assign(record, found | {name: value for name, value in cleaned.items() if isinstance(value, models.Model)})
    return set(found) | {f"{name}_text" for name, value in found.items() if isinstance(value, Reading)}


def change_many(standing: Sequence[Piece], author: Author, outcome: Outcome) -> None:
    """Change stored records: in bulk, or one by one those that get another name and where the database refuses some."""
    if not standing:
        return
    records = [record for _, record, _ in standing]
    model = type(records[0])
    prefetch_related_objects(records, *row_lookups(model))
    changing = [piece for piece in standing if not unchanged(piece[1], piece[2])]
    outcome.unchanged += len(standing) - len(changing)
    changing = list(not_stale(model, changing, outcome))
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
    last = latest_revisions(records)
    revisions: list[Revision] = []
    for record in records:
        before = last.get(record.pk)
        revision = revision_from(record, rows, (before.number if before else 0) + 1, author)
        if before is None or before.digest != revision.digest:
            revisions.append(revision)
            tell(deed_of(record, revision, author, before))
    Revision.objects.bulk_create(revisions)
    return len(revisions)


def latest_revisions(records: Sequence[Record]) -> dict[int, Revision]:
    """The newest revision of each of some records of one kind, by their keys."""
    found: dict[int, Revision] = {}
    for part in chunks([record.pk for record in records]):
        keys = latest_revision_ids(records[0].record_kind, part).values()
        found |= {revision.record_id: revision for revision in Revision.objects.filter(pk__in=list(keys))}
    return found


def overwrite(rows: Sequence[models.Model], columns: Iterable[str]) -> None:
    """Store some columns of rows that stand in the database."""
    manager = type(rows[0])._default_manager
    names = sorted(columns)
    if len(names) <= FEW_COLUMNS:
        manager.bulk_update(rows, names)
        return
    created = [getattr(row, "created_at", None) for row in rows]
    manager.bulk_create(rows, update_conflicts=True, unique_fields=["pk"], update_fields=names)
    for row, moment in zip(rows, created, strict=True):
        if moment is not None:
            row.created_at = moment  # type: ignore[attr-defined]


def chunks(keys: Sequence[int]) -> Iterator[list[int]]:
    for start in range(0, len(keys), CHUNK):
        yield list(keys[start : start + CHUNK])


def row_lookups(model: type[models.Model], before: str = "") -> list[str]:
    """The lists that belong to a record, as prefetch lookups."""
    found: list[str] = []
    for name in getattr(model, "revision_children", ()):
        child = model._meta.get_field(name).related_model
        found += [f"{before}{name}", *row_lookups(child, f"{before}{name}__")]  # type: ignore[arg-type]
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


# ---------------------------------------------------------------------------------------------------------------- rows


@dataclass
class Level:
    """The rows of one list of many parents, sorted by what becomes of them."""

    gone: list[int] = field(default_factory=list)
    renamed: dict[str, list[int]] = field(default_factory=dict)
    changed: list[models.Model] = field(default_factory=list)
    columns: set[str] = field(default_factory=set)
    fresh: list[models.Model] = field(default_factory=list)

    def keep(self, child: Child, values: Mapping[str, Any], position: int) -> None:
        """A standing row that goes on with these values."""
        for column in ("name", "tag"):
            if column in values and differs(child, column, values[column]):
                self.renamed.setdefault(column, []).append(child.pk)
        columns = assign_changed(child, values)
        if child.position != position:
            child.position = position
            columns.add("position")
        if columns:
            self.changed.append(child)
            self.columns |= columns

    def store(self, model: type[models.Model]) -> None:
        """Write it. Rows that exchange their names get a passing one first, so that none collides."""
        manager = model._default_manager
        for part in chunks(self.gone):
            manager.filter(pk__in=part).delete()
        for column, keys in self.renamed.items():
            passing = Concat(Value("\u2026"), Cast("pk", CharField()))
            for part in chunks(keys):
                manager.filter(pk__in=part).update(**{column: passing})
        if self.changed:
            overwrite(self.changed, self.columns)
        if self.fresh:
            manager.bulk_create(self.fresh)


def write_rows(parents: Sequence[tuple[models.Model, Mapping[str, Any], bool]], rows: Rows) -> None:
    """The rows of parents (each with its values, and whether it is new), one level after the other.

    `rows` gets them by parent and name. Rows of parents that stand are read ahead.
    """
    for name in getattr(parents[0][0], "revision_children", ()) if parents else ():
        level = Level()
        below: list[tuple[models.Model, Mapping[str, Any], bool]] = []
        manager = getattr(parents[0][0], name)
        model: type[Child] = manager.model
        for parent, cleaned, is_new in parents:
            values = cleaned.get(name, [])
            standing = {} if is_new else {child.pk: child for child in getattr(parent, name).all()}
            kept = match_rows(values, standing) if standing else {}
            level.gone += set(standing) - set(kept.values())
            own: list[Child] = []
            for position, row in enumerate(values):
                if position in kept:
                    child = standing[kept[position]]
                    level.keep(child, row, position)
                else:
                    child = model(**{manager.field.name: parent})
                    assign(child, row)
                    child.position = position
                    level.fresh.append(child)
                own.append(child)
                below.append((child, row, position not in kept))
            rows[id(parent), name] = own
            getattr(parent, "_prefetched_objects_cache", {}).pop(name, None)
        level.store(model)
        if below and model.snapshot_related:
            prefetch_related_objects([child for child, _, _ in below], *model.snapshot_related)
        write_rows(below, rows)


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
            type(records[0])._default_manager.bulk_create(records)
            write_rows([(record, cleaned, True) for _, record, cleaned in new], rows)
            if not report_only:
                revisions = [revision_from(record, rows, 1, author) for record in records]
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
