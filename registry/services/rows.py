"""The rows that belong to a record: those that were read ahead, and those of the database."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

from django.db import models

from registry.prepared import PreparedRead


def stored_rows(record: models.Model, name: str) -> Iterable[models.Model]:
    """The rows that belong to a record, with what their snapshot names, read from the database."""
    return own_rows(record, name, getattr(record, name).model.snapshot_related)


def own_rows(record: models.Model, name: str, related: Sequence[str] = ()) -> list[Any]:
    """The rows of one list of a record in their order, and what they lead to by `related`, read from the database."""
    manager = getattr(record, name)
    rows = rows_read(manager.model, manager.field.attname, tuple(related))(record.pk)
    for row in rows:
        manager.field.set_cached_value(row, record)
    return rows


@cache
def rows_read(model: type[models.Model], parent: str, related: tuple[str, ...]) -> PreparedRead[Any]:
    """The read of the rows of one parent."""

    def build(pk: Any) -> models.QuerySet[Any]:
        rows = model._default_manager.filter(**{parent: pk})
        return rows.select_related(*related) if related else rows

    return PreparedRead(build)


def rows_at_hand(record: models.Model, name: str) -> Sequence[Any]:
    """The rows of a record that were read ahead, as they are; else those of the database."""
    found: Sequence[Any] | None = getattr(record, "_prefetched_objects_cache", {}).get(name)
    return own_rows(record, name) if found is None else found
