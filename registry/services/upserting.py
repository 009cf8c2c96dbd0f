"""Adding or changing many records by their natural key, all or none: what the import does for tables, for programs.

A record is found by the columns by which an import finds it (of equipment maker and type, of a loop site and tag). A
value that is not sent stays as it is; a list that is sent is the whole list.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from registry.choices import remembered_choices
from registry.models.base import Record
from registry.selectors import record_text
from registry.services.bulk import BatchRefused, Incoming
from registry.services.changes import recorded
from registry.services.imports import ImportKind, stored_records
from registry.services.records import Author, EntryRefused

TWICE = "This record stands in the list already, at {}: keep one of the two."
ARCHIVED = "This is archived: bring it back first, or use another name."
Errors = dict[str, list[str]]


@dataclass
class Upserted:
    """What became of a list: the records in its order, each with what was done, and whether all was saved."""

    records: list[tuple[Record, str]] = field(default_factory=list)
    saved: bool = True

    def count(self, word: str) -> int:
        """How many were "added", "changed" or "unchanged"."""
        return sum(done == word for _, done in self.records)


def upsert(kind: ImportKind, texts: Sequence[Mapping[str, Any]], author: Author, *, check: bool = False) -> Upserted:
    """Save a list of records of one kind, all or none; with `check` nothing is saved, but all is tried.

    Raises EntryRefused with every fault by "records.<index>.<path>", PermissionDenied; then nothing is saved.
    """
    errors: dict[int, Errors] = {}
    with recorded(), remembered_choices():
        keys = list(read_keys(kind, texts, errors))
        stored = stored_records(kind, keys)
        before = {record.pk: record.version for record in stored.values()}
        batch = [laid_over(stored.get(key), texts[index], index, errors) for index, key in enumerate(keys)]
        try:
            outcome = kind.save(batch, author)
        except BatchRefused as refused:
            outcome = refused.outcome
        for index, faults in outcome.errors.items():
            errors[index] = faults | errors.get(index, {})
        if errors:
            raise EntryRefused(by_path(errors))
        done = [(record, deed(record, before)) for record in outcome.records]
        if check:
            transaction.set_rollback(True)
    return Upserted(done, saved=not check)


def read_keys(
    kind: ImportKind, texts: Sequence[Mapping[str, Any]], errors: dict[int, Errors]
) -> Iterator[tuple[str, ...]]:
    """The natural key of each text, spaces as an entry has them; one that stands twice is a fault."""
    first: dict[tuple[str, ...], int] = {}
    for index, text in enumerate(texts):
        key = tuple(key_part(kind, text, name) for name in kind.layout.key)
        if all(key) and key in first:
            errors[index] = {kind.layout.key[-1]: [TWICE.format(f"records.{first[key]}")]}
        first.setdefault(key, index)
        yield key


def key_part(kind: ImportKind, text: Mapping[str, Any], name: str) -> str:
    """One column of a natural key; what it is where nothing is sent."""
    value = text.get(name, "")
    if not value:
        column: Any = kind.model._meta.get_field(name)
        value = column.get_default() if column.has_default() else ""
    return " ".join(str(value).split())


def laid_over(record: Record | None, text: Mapping[str, Any], index: int, errors: dict[int, Errors]) -> Incoming:
    """A text laid over the stored record that it names."""
    if record is None:
        return Incoming(text)
    if record.is_archived:
        errors.setdefault(index, {})[""] = [ARCHIVED]
    return Incoming(record_text(record) | dict(text), record)


def deed(record: Record, before: Mapping[int, int]) -> str:
    """What was done to a record."""
    if record.pk not in before:
        return "added"
    return "unchanged" if record.version == before[record.pk] else "changed"


def by_path(errors: Mapping[int, Errors]) -> Errors:
    """Faults of a list by their path in it."""
    return {
        ".".join(filter(None, ("records", str(index), path))): messages
        for index in sorted(errors)
        for path, messages in errors[index].items()
    }
