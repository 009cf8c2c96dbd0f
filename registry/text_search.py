"""Searching text in long lists: on PostgreSQL an index of trigrams finds a part of a word among 100,000 records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import Error, connection, migrations, models, transaction
from django.db.models import TextField, Value
from django.db.models.functions import Concat, Upper
from django.db.models.sql import Query

SEARCHED = {
    "equipment": ("maker", "type_name", "description", "function", "marking"),
    "certificate": ("number", "holder", "scheme", "standards"),
    "loop": ("tag", "service"),
    "member": ("tag",),
}
"""The columns that lists of many records are searched in, by the name of their model."""

NAME = "{}_words"
"""How the index of a table is called."""

REFUSED = (
    "The index for searching text in long lists is not there: this database refuses the extension pg_trgm ({}). All "
    "works without it, more slowly from some 10,000 records on. Let a superuser of the database run CREATE EXTENSION "
    "pg_trgm in it, then run manage.py index_text."
)


def words_of(columns: Sequence[str]) -> Concat:
    """The text of some columns as one, which an index can hold."""
    parts: list[Any] = [columns[0]]
    for column in columns[1:]:
        parts += [Value(" "), column]
    return Concat(*parts, output_field=TextField()) if len(parts) > 1 else Concat(*parts, Value(""))


def index_name(model: type[models.Model]) -> str:
    return NAME.format(model._meta.db_table)


def index_text(model: type[models.Model], columns: Sequence[str]) -> None:
    """Make the index of trigrams over the upper case text of some columns, as `icontains` asks for it.

    Does nothing on other databases. Raises django.db.Error where the extension is refused or missing.
    """
    if connection.vendor != "postgresql":
        return
    expression = Upper(words_of(columns)).resolve_expression(Query(model, alias_cols=False))
    sql, parameters = Query(model, alias_cols=False).get_compiler(connection=connection).compile(expression)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
        # Text of this program alone makes the statement: names of a table and its columns, and spaces.
        head = f"CREATE INDEX IF NOT EXISTS {index_name(model)} ON {model._meta.db_table} USING gin"
        cursor.execute(connection.ops.compose_sql(f"{head} ({sql} gin_trgm_ops)", parameters))  # type: ignore[attr-defined]


def index_all(found: dict[str, type[models.Model]]) -> str:
    """Make all such indexes for models by kind; a sentence where the database refuses them, empty where it does not."""
    try:
        with transaction.atomic():
            for kind, model in found.items():
                index_text(model, SEARCHED[kind])
    except Error as error:
        return REFUSED.format(str(error).splitlines()[0])
    return ""


def drop_all(found: dict[str, type[models.Model]]) -> None:
    """Take the indexes away again."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            for model in found.values():
                cursor.execute(f"DROP INDEX IF EXISTS {index_name(model)}")


def index_of_text(app: str, *kinds: str) -> migrations.RunPython:
    """The step of a migration that makes these indexes; a database that refuses them is told of, and goes without."""

    def found(apps: Any) -> dict[str, type[models.Model]]:
        return {kind: apps.get_model(app, kind) for kind in kinds}

    def make(apps: Any, schema_editor: Any) -> None:
        if refusal := index_all(found(apps)):
            print(f"\n    {refusal}")

    def drop(apps: Any, schema_editor: Any) -> None:
        drop_all(found(apps))

    return migrations.RunPython(make, drop)
