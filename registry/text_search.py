"""Searching text in long lists: an index of trigrams finds a part of a word among 100,000 records.

PostgreSQL has it as an index of the table. SQLite has it as a table of its own (FTS5), which triggers keep; it only
says where to look, so that a search finds the same with it and without.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.apps import apps
from django.db import Error, connection, migrations, models, transaction
from django.db.models import QuerySet, TextField, Value
from django.db.models.expressions import RawSQL
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

SHORTEST = 3
"""Letters of a text that trigrams can find."""

FEW = 5_000
"""So many rows with a text are looked up by the index."""

EVENTS = ("insert", "update", "delete")

REFUSED = (
    "The index for searching text in long lists is not there: this database refuses the extension pg_trgm ({}). All "
    "works without it, more slowly from some 10,000 records on. Let a superuser of the database run CREATE EXTENSION "
    "pg_trgm in it, then run manage.py index_text."
)
WITHOUT_FTS5 = (
    "The index for searching text in long lists is not there: this SQLite was built without FTS5 ({}). All works "
    "without it, more slowly from some 10,000 records on."
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
    """Make the index of trigrams over the text of some columns. Raises django.db.Error where the database cannot."""
    if connection.vendor == "postgresql":
        index_table(model, columns)
    elif connection.vendor == "sqlite":
        index_words(model, columns)


def index_table(model: type[models.Model], columns: Sequence[str]) -> None:
    """The index of PostgreSQL, over upper case text as `icontains` asks for it."""
    expression = Upper(words_of(columns)).resolve_expression(Query(model, alias_cols=False))
    sql, parameters = Query(model, alias_cols=False).get_compiler(connection=connection).compile(expression)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
        # Text of this program alone makes the statement: names of a table and its columns, and spaces.
        head = f"CREATE INDEX IF NOT EXISTS {index_name(model)} ON {model._meta.db_table} USING gin"
        cursor.execute(connection.ops.compose_sql(f"{head} ({sql} gin_trgm_ops)", parameters))  # type: ignore[attr-defined]


def index_words(model: type[models.Model], columns: Sequence[str]) -> None:
    """The table of SQLite and the triggers that keep it, made anew and filled. A migration that makes the table of the
    model anew takes its triggers away: let it be followed by this."""
    table, index, key = model._meta.db_table, index_name(model), model._meta.pk.column
    names = [str(getattr(model._meta.get_field(name), "column", name)) for name in columns]
    put = f"INSERT INTO {index} (rowid, words)"

    def text(row: str) -> str:
        return " || ' ' || ".join(f"coalesce({row}{name}, '')" for name in names)

    # Text of this program alone makes the statements: names of a table and its columns.
    drop = f"DELETE FROM {index}"  # noqa: S608 # nosec B608
    anew = f"{drop} WHERE rowid = new.{key}; {put} VALUES (new.{key}, {text('new.')});"  # nosec B608
    deeds = {
        "insert": f"INSERT ON {table} BEGIN {anew} END",
        "update": f"UPDATE OF {', '.join(names)} ON {table} BEGIN {anew} END",
        "delete": f"DELETE ON {table} BEGIN {drop} WHERE rowid = old.{key}; END",
    }
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"CREATE VIRTUAL TABLE IF NOT EXISTS {index} USING fts5(words, tokenize='trigram')")
        for event, deed in deeds.items():
            cursor.execute(f"DROP TRIGGER IF EXISTS {index}_{event}")
            cursor.execute(f"CREATE TRIGGER {index}_{event} AFTER {deed}")
        cursor.execute(drop)
        cursor.execute(f"{put} SELECT {key}, {text('')} FROM {table}")  # noqa: S608 # nosec B608


def tables_of_words() -> set[str]:
    """The tables that SQLite keeps words in: one for each model, and those that FTS5 makes beside it."""
    parts = ("", "_data", "_idx", "_content", "_docsize", "_config")
    return {f"{index_name(model)}{part}" for model in searched_models().values() for part in parts}


def refill() -> None:
    """Fill the tables of words anew, after rows came while no trigger was in force."""
    if connection.vendor == "sqlite":
        index_all(searched_models())


def is_kept(model: type[models.Model]) -> bool:
    """Whether SQLite has the table of words of a model, with all the triggers that keep it."""
    if connection.vendor != "sqlite":
        return False
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT COUNT(*) FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s AND name IN (%s, %s, %s)",
            [model._meta.db_table, *(f"{index_name(model)}_{event}" for event in EVENTS)],
        )
        return cursor.fetchone()[0] == len(EVENTS)


def phrase_of(word: str) -> str:
    """A text as FTS5 looks for it, whatever signs are in it."""
    return '"{}"'.format(word.replace('"', '""'))


def is_rare(index: str, word: str) -> bool:
    """Whether the table of words has few rows with a text. What many hold is found sooner in the order of a list."""
    with connection.cursor() as cursor:
        # Text of this program alone, and parameters.
        found = f"SELECT 1 FROM {index} WHERE {index} MATCH %s LIMIT %s"  # noqa: S608 # nosec B608
        cursor.execute(f"SELECT COUNT(*) FROM ({found})", [phrase_of(word), FEW + 1])  # noqa: S608 # nosec B608
        return cursor.fetchone()[0] <= FEW


def holding(rows: QuerySet[Any], columns: Sequence[str], words: Iterable[str]) -> QuerySet[Any]:
    """Rows that hold each of some words in one of the columns; quickly where those are what SEARCHED says."""
    rows = rows.alias(words=words_of(columns))
    index = index_name(rows.model)
    has_index = SEARCHED.get(str(rows.model._meta.model_name)) == tuple(columns) and is_kept(rows.model)
    for word in words:
        rows = rows.filter(words__icontains=word)
        if has_index and len(word) >= SHORTEST and is_rare(index, word):
            # Text of this program alone, and a parameter.
            found = RawSQL(f"SELECT rowid FROM {index} WHERE {index} MATCH %s", [phrase_of(word)])  # noqa: S608, S611 # nosec
            rows = rows.filter(pk__in=found)
    return rows


def index_all(found: dict[str, type[models.Model]]) -> str:
    """Make all such indexes for models by kind; a sentence where the database refuses them, empty where it does not."""
    try:
        with transaction.atomic():
            for kind, model in found.items():
                index_text(model, SEARCHED[kind])
    except Error as error:
        refused = REFUSED if connection.vendor == "postgresql" else WITHOUT_FTS5
        return refused.format(str(error).splitlines()[0])
    return ""


def drop_all(found: dict[str, type[models.Model]]) -> None:
    """Take the indexes away again."""
    with connection.cursor() as cursor:
        for model in found.values():
            index = index_name(model)
            if connection.vendor == "postgresql":
                cursor.execute(f"DROP INDEX IF EXISTS {index}")
                continue
            for event in EVENTS:
                cursor.execute(f"DROP TRIGGER IF EXISTS {index}_{event}")
            cursor.execute(f"DROP TABLE IF EXISTS {index}")


def searched_models() -> dict[str, type[models.Model]]:
    """The models of SEARCHED by name, as they are now."""
    return {name: model for model in apps.get_models() if (name := str(model._meta.model_name)) in SEARCHED}


def index_of_text(app: str, *kinds: str, vendor: str = "postgresql") -> migrations.RunPython:
    """The step of a migration that makes these indexes on one kind of database; one that refuses them is told of, and
    goes without."""

    def found(apps: Any) -> dict[str, type[models.Model]]:
        return {kind: apps.get_model(app, kind) for kind in kinds}

    def make(apps: Any, schema_editor: Any) -> None:
        if connection.vendor == vendor and (refusal := index_all(found(apps))):
            print(f"\n    {refusal}")

    def drop(apps: Any, schema_editor: Any) -> None:
        if connection.vendor == vendor:
            drop_all(found(apps))

    return migrations.RunPython(make, drop)
