"""The content of records as plain data: the nested text that entries read, related records by their names.

Read row by row of each table, without making records of them: a page of a list takes a constant number of queries and
little else. What is read here can be sent back as it is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from registry.entries import ENTRIES
from registry.fields import QuantityField
from registry.models import Revision
from registry.models.base import Child, Record
from registry.prepared import PreparedAmong
from registry.reading import EntryForm, RecordField
from registry.services.imports import KINDS
from registry.services.records import latest_revision_ids

HEAD = ("pk", "version", "archived_at", "created_at", "changed_at")


def entry_of(kind: str) -> type[EntryForm]:
    """The entry of a kind of record."""
    return ENTRIES.get(kind) or KINDS[kind].entry


@cache
def columns_of(entry: type[EntryForm]) -> tuple[tuple[str, str], ...]:
    """The values of one level of an entry, each with the column that holds its text."""
    found = []
    for name in entry.base_fields:
        field = entry.model._meta.get_field(name)
        if isinstance(field, QuantityField):
            found.append((name, field.text_name))
        else:
            found.append((name, getattr(field, "attname", name)))
    return tuple(found)


@cache
def relations_of(entry: type[EntryForm]) -> tuple[tuple[str, RecordField], ...]:
    """The values of one level that name another record by its key."""
    return tuple(
        (name, reader)
        for name, reader in entry.base_fields.items()
        if isinstance(reader, RecordField) and entry.model._meta.get_field(name).is_relation
    )


def plain(value: Any) -> Any:
    """A stored value as plain data."""
    if value is None:
        return ""
    return value.isoformat() if isinstance(value, dt.date) else value


def texts(entry: type[EntryForm], keys: Iterable[int]) -> dict[int, dict[str, Any]]:
    """The nested text of some records by their keys, in as many queries as the entry has levels and relations."""
    found = level(entry, keys, "pk")
    return {key: rows[0] for key, rows in found.items()}


def level(entry: type[EntryForm], owners: Iterable[int], owner: str) -> dict[int, list[dict[str, Any]]]:
    """The rows of one level with all below them, by what owns them."""
    columns = columns_of(entry)
    is_child = issubclass(entry.model, Child)
    names = names_in(entry, owner)
    rows = [dict(zip(names, row, strict=True)) for row in rows_read(entry, owner)(owners)]
    keys = [row["pk"] for row in rows]
    below = {
        name: level(child, keys, f"{child.model.parent_field}_id")  # type: ignore[attr-defined]
        for name, child in entry.children.items()
        if keys
    }
    called = names_of(entry, rows)
    found: dict[int, list[dict[str, Any]]] = {}
    for row in rows:
        text: dict[str, Any] = {"id": row["pk"]} if is_child else {}
        for name, column in columns:
            value = row[column]
            text[name] = called[name].get(value, "") if name in called else plain(value)
        for name, children in below.items():
            text[name] = children.get(row["pk"], [])
        found.setdefault(row[owner], []).append(text)
    return found


@cache
def names_in(entry: type[EntryForm], owner: str) -> tuple[str, ...]:
    """The columns that are read of the rows of one level."""
    return tuple(dict.fromkeys(("pk", owner, *(column for _, column in columns_of(entry)))))


@cache
def rows_read(entry: type[EntryForm], owner: str) -> PreparedAmong[tuple[Any, ...]]:
    """The read of the rows of one level by what owns them."""
    model: Any = entry.model
    order = ("position", "pk") if issubclass(model, Child) else ("pk",)
    names = names_in(entry, owner)
    within = "pk__in" if owner == "pk" else f"{model.parent_field}__pk__in"
    return PreparedAmong(
        lambda keys: model._default_manager.filter(**{within: keys}).order_by(*order).values_list(*names)
    )


@cache
def names_read(reader: RecordField) -> PreparedAmong[tuple[int, str]]:
    """The read of what the records that a field can name are called."""
    model = reader.queryset().model
    return PreparedAmong(
        lambda keys: (
            model._default_manager.filter(pk__in=keys)
            .order_by()
            .annotate(picked_name=reader.name_of)
            .values_list("pk", "picked_name")
        )
    )


def names_of(entry: type[EntryForm], rows: list[dict[str, Any]]) -> dict[str, dict[int, str]]:
    """What related records are called, by the value that names them and by key."""
    found = {}
    for name, reader in relations_of(entry):
        keys = {row[f"{name}_id"] for row in rows} - {None}
        found[name] = dict(names_read(reader)(keys))
    return found


def text_of(record: Record) -> dict[str, Any]:
    """The nested text of one record as it stands."""
    return texts(entry_of(record.record_kind), [record.pk]).get(record.pk, {})


def whole(kind: str, keys: list[int]) -> list[dict[str, Any]]:
    """Some records in full, in the order of their keys: what every record has, and its text as `record`."""
    entry = entry_of(kind)
    model: Any = entry.model
    heads = {row["pk"]: row for row in model._default_manager.filter(pk__in=keys).values(*HEAD)}
    contents = texts(entry, keys)
    revisions = newest(kind, keys)
    return [head(heads[key], revisions.get(key)) | {"record": contents[key]} for key in keys if key in heads]


def head(row: Mapping[str, Any], revision: tuple[int, str] | None) -> dict[str, Any]:
    """What every record has beside its text."""
    number, mark = revision or (0, "")
    return {
        "id": row["pk"],
        "version": row["version"],
        "revision": number,
        "digest": mark,
        "archived": row["archived_at"] is not None,
        "created_at": row["created_at"],
        "changed_at": row["changed_at"],
    }


def newest(kind: str, keys: list[int]) -> dict[int, tuple[int, str]]:
    """Number and digest of the newest revision of each of some records."""
    newest_keys = list(latest_revision_ids(kind, keys).values())
    rows = Revision.objects.filter(pk__in=newest_keys).values_list("record_id", "number", "digest")
    return {key: (number, mark) for key, number, mark in rows}
