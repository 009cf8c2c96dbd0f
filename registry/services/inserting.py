"""New rows of one model into the database, many at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import connection, models

MOST_PARAMETERS = 30_000
"""So many values go into one statement where the database sets no lower bound."""
COPIED = 20
"""From so many rows on a COPY, which takes another question for the keys, is quicker than a statement."""


def insert(rows: Sequence[models.Model], texts: Mapping[str, Sequence[str]] | None = None) -> None:
    """Store new rows of one model in their order and give them their keys.

    Does what `bulk_create` does, column by column instead of value by value: rows of the register have some seventy
    columns, most of them empty, and preparing each value on its own takes half the time of an import. PostgreSQL gets
    them by COPY, without a statement that holds every value as a literal.

    `texts` has the JSON of columns that were written out already, for their digest say: a text for each row.
    """
    if not rows:
        return
    meta = type(rows[0])._meta
    columns = [field for field in meta.concrete_fields if not field.primary_key]
    known = texts or {}
    values = list(
        zip(*(known[field.name] if field.name in known else prepared(field, rows) for field in columns), strict=True)
    )
    quote = connection.ops.quote_name
    names = [quote(field.column) for field in columns]
    table, pk = quote(meta.db_table), quote(meta.pk.column)
    if connection.vendor == "postgresql" and len(rows) >= COPIED:
        keys = copied(meta.db_table, meta.pk.column, f"COPY {table} ({', '.join([pk, *names])}) FROM STDIN", values)
    else:
        keys = inserted(f"INSERT INTO {table} ({', '.join(names)})", pk, values)
    for row, key in zip(rows, keys, strict=True):
        row.pk = key
        row._state.adding, row._state.db = False, connection.alias


def copied(table: str, pk: str, statement: str, values: Sequence[tuple[Any, ...]]) -> list[int]:
    """Rows by COPY, with keys that the table's own sequence gives first."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
            [connection.ops.quote_name(table), pk, len(values)],
        )
        keys = [key for (key,) in cursor.fetchall()]
        with connection.wrap_database_errors, cursor.copy(statement) as copy:
            for key, row in zip(keys, values, strict=True):
                copy.write_row((key, *row))
    return keys


def inserted(head: str, pk: str, values: Sequence[tuple[Any, ...]]) -> list[int]:
    """Rows by statements of as many values as the database takes at once."""
    one = f"({', '.join(['%s'] * len(values[0]))})"
    at_once = max(1, (connection.features.max_query_params or MOST_PARAMETERS) // len(values[0]))
    keys: list[int] = []
    with connection.cursor() as cursor:
        for start in range(0, len(values), at_once):
            part = values[start : start + at_once]
            # Text of this program alone makes the statement: names of columns and places for values.
            statement = f"{head} VALUES {', '.join([one] * len(part))} RETURNING {pk}"
            cursor.execute(statement, [value for row in part for value in row])
            keys += [key for (key,) in cursor.fetchall()]
    return keys


def prepared(field: models.Field[Any, Any], rows: Sequence[models.Model]) -> list[Any]:
    """One column of new rows as the database takes it; each different value is prepared once."""
    if isinstance(field, models.JSONField):
        return [field.get_db_prep_save(field.pre_save(row, add=True), connection) for row in rows]
    known: dict[Any, Any] = {}
    found = []
    for row in rows:
        value = field.pre_save(row, add=True)
        try:
            found.append(known[value])
        except KeyError:
            known[value] = field.get_db_prep_save(value, connection)
            found.append(known[value])
    return found
