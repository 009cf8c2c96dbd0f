"""Reads whose question is always of one shape: put together once, then asked again and again with other values.

To put the SQL of a query together takes Django longer than a database takes to answer it by an index. A page that reads
a record with all that belongs to it asks twenty such questions, of which nothing changes but a key. A
:class:`PreparedRead` keeps their SQL, and PostgreSQL keeps its plan of them. What is read is what the query set would
have read: models with their relations, annotations and deferred columns, or tuples of values.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Generic, TypeVar

from django.db import DEFAULT_DB_ALIAS, connections, models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.query import (  # type: ignore[attr-defined]
    ModelIterable,
    ValuesListIterable,
    get_related_populators,
)

R = TypeVar("R")
KEY: models.Field[Any, Any] = models.BigIntegerField()
"""The type of a value that is a key."""
LARGEST = 2**63 - 1
"""No column of an integer holds more."""
AT_ONCE = 256
"""So many keys go into one question."""


class Given(models.Expression):
    """The place of a value in a question that is put together before the value is known."""

    def __init__(self, place: int, output_field: models.Field[Any, Any]) -> None:
        super().__init__(output_field=output_field)
        self.place = place

    def as_sql(self, compiler: Any, connection: BaseDatabaseWrapper) -> tuple[str, list[Any]]:
        return "%s", [self]


class Question:
    """One query as a kind of database is asked it: its SQL, and how a row of the answer becomes a model or a tuple."""

    def __init__(self, queryset: models.QuerySet[Any], connection: BaseDatabaseWrapper) -> None:
        compiler = queryset.query.get_compiler(connection=connection)
        self.sql, parameters = compiler.as_sql()
        self.parameters = tuple(parameters)
        selected = compiler.select[: compiler.col_count]
        self.converters = compiler.get_converters([column[0] for column in selected])
        self.is_plain = issubclass(queryset._iterable_class, ValuesListIterable)
        if self.is_plain:
            return
        if queryset._iterable_class is not ModelIterable or queryset._prefetch_related_lookups:  # type: ignore[attr-defined]
            raise TypeError("Only models, without what is read in further queries, and lists of values are prepared.")
        own = compiler.klass_info["select_fields"]
        self.model = compiler.klass_info["model"]
        self.own = slice(own[0], own[-1] + 1)
        self.names = [column[0].target.attname for column in compiler.select[self.own]]
        self.annotations = list(compiler.annotation_col_map.items())
        self.related = get_related_populators(compiler.klass_info, compiler.select, connection.alias)

    def ask(self, connection: BaseDatabaseWrapper, values: Sequence[Any]) -> Iterator[Any]:
        """The rows for these values, in the order of the query."""
        parameters = [
            item.output_field.get_db_prep_value(values[item.place], connection) if isinstance(item, Given) else item
            for item in self.parameters
        ]
        with cursor_of(connection) as cursor:
            cursor.execute(self.sql, parameters)
            rows = cursor.fetchall()
        for row in rows:
            yield self.read(self.converted(row, connection), connection.alias)

    def converted(self, row: Sequence[Any], connection: BaseDatabaseWrapper) -> Sequence[Any]:
        """The values of a row as Python has them."""
        if not self.converters:
            return row
        found = list(row)
        for place, (converters, expression) in self.converters.items():
            for convert in converters:
                found[place] = convert(found[place], expression, connection)
        return found

    def read(self, row: Sequence[Any], alias: str) -> Any:
        """One row as a model with what it leads to, or as a tuple."""
        if self.is_plain:
            return tuple(row)
        record = self.model.from_db(alias, self.names, row[self.own])
        for relation in self.related:
            relation.populate(row, record)
        for name, place in self.annotations:
            setattr(record, name, row[place])
        return record


def cursor_of(connection: BaseDatabaseWrapper) -> Any:
    """A cursor whose statements PostgreSQL may keep with their plan; any cursor where the settings have none kept, and
    where statements are logged, because the SQL of a kept one is not told."""
    cursor = connection.cursor()
    kept = (
        connection.vendor == "postgresql" and connection.settings_dict["OPTIONS"].get("prepare_threshold") is not None
    )
    if kept and not connection.queries_logged:
        from django.db.backends.postgresql.base import ServerBindingCursor  # type: ignore[attr-defined]

        cursor.cursor.close()
        cursor.cursor = ServerBindingCursor(connection.connection)
    return cursor


class PreparedRead(Generic[R]):
    """A read of one shape. `build` makes its query set of places for the values, `fields` are their types in order; a
    value without one is a key.

    >>> from registry.models import Site
    >>> PreparedRead(lambda code: Site.objects.filter(code=code), models.CharField())  # doctest: +ELLIPSIS
    <registry.prepared.PreparedRead object at ...>
    """

    def __init__(self, build: Callable[..., models.QuerySet[Any]], *fields: models.Field[Any, Any]) -> None:
        self.build = build
        places = inspect.signature(build).parameters.values()
        named = sum(place.kind != inspect.Parameter.VAR_POSITIONAL for place in places)
        self.fields = fields + (KEY,) * (named - len(fields))
        # By the kind of database. Threads may share one: nothing of it belongs to the connection that asked it first.
        self.questions: dict[str, Question] = {}

    def __call__(self, *values: Any) -> list[R]:
        """The rows for these values; none for a number that no column holds."""
        if any(isinstance(value, int) and not -LARGEST <= value <= LARGEST for value in values):
            return []
        connection = connections[DEFAULT_DB_ALIAS]
        question = self.questions.get(connection.vendor)
        if question is None:
            places = [Given(place, field) for place, field in enumerate(self.fields)]
            question = self.questions[connection.vendor] = Question(self.build(*places), connection)
        return list(question.ask(connection, values))

    def first(self, *values: Any) -> R | None:
        """The first row for these values."""
        rows = self(*values)
        return rows[0] if rows else None


class PreparedAmong(Generic[R]):
    """A read of the rows that have one of some keys. `build` makes its query set of a list of places for them.

    For 3 keys it asks the question for 4, the last one twice: there is a question for each power of two. In what order
    the rows of more than `AT_ONCE` keys come is left open.
    """

    def __init__(self, build: Callable[[list[Given]], models.QuerySet[Any]]) -> None:
        self.build = build
        self.reads: dict[int, PreparedRead[R]] = {}

    def __call__(self, keys: Iterable[Any]) -> list[R]:
        """The rows for these keys."""
        wanted = list(dict.fromkeys(keys))
        found: list[R] = []
        for start in range(0, len(wanted), AT_ONCE):
            part = wanted[start : start + AT_ONCE]
            size = 1 << (len(part) - 1).bit_length()
            found += self.of_size(size)(*part, *[part[-1]] * (size - len(part)))
        return found

    def of_size(self, size: int) -> PreparedRead[R]:
        """The read of so many keys."""
        if size not in self.reads:
            read: PreparedRead[R] = PreparedRead(lambda: self.build([Given(n, KEY) for n in range(size)]))
            self.reads[size] = read
        return self.reads[size]


def attach(records: Iterable[models.Model], name: str, rows: Mapping[int, list[Any]]) -> None:
    """Give records the rows of one of their lists, by their keys, as `prefetch_related` would."""
    for record in records:
        queryset = getattr(record, name).get_queryset()
        queryset._result_cache, queryset._prefetch_done = rows.get(record.pk, []), True
        record.__dict__.setdefault("_prefetched_objects_cache", {})[name] = queryset


def grouped(rows: Iterable[Any], name: str) -> dict[int, list[Any]]:
    """Rows by the key that they have in one column."""
    found: dict[int, list[Any]] = {}
    for row in rows:
        found.setdefault(getattr(row, name), []).append(row)
    return found
