"""Rows of many records, written level by level in a constant number of queries: what is gone, kept, moved and new."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import models
from django.db.models import CharField, Value, prefetch_related_objects
from django.db.models.functions import Cast, Concat

from registry.fields import Reading
from registry.models.base import Child
from registry.services.inserting import insert
from registry.services.records import assign, match_rows
from registry.services.rows import rows_at_hand

CHUNK = 500
"""So many keys go into one query: SQLite takes no more than 999 values."""

FEW_VALUES = 4
"""Where rows get no more than so many different contents, each content is one update."""

FEW_COLUMNS = 4
"""Up to so many columns are updated by case; more are faster written as whole rows that replace the stored ones."""


Rows = dict[tuple[int, str], list[Child]]
"""The rows of records just written, by the identity of their parent and the name of the list."""


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


def overwrite(rows: Sequence[models.Model], columns: Iterable[str]) -> None:
    """Store some columns of rows that stand in the database."""
    manager = type(rows[0])._default_manager
    names = sorted(columns)
    stored = [item.attname for item in type(rows[0])._meta.concrete_fields if item.name in names]
    alike: dict[tuple[Any, ...], list[int]] = {}
    for row in rows:
        alike.setdefault(tuple(getattr(row, name) for name in stored), []).append(row.pk)
    if len(alike) <= FEW_VALUES:
        for values, keys in alike.items():
            for part in chunks(keys):
                manager.filter(pk__in=part).update(**dict(zip(stored, values, strict=True)))
        return
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
        insert(self.fresh)


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
            standing = {} if is_new else {child.pk: child for child in rows_at_hand(parent, name)}
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
