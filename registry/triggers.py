"""Database triggers that keep signed and recorded rows as they were, on SQLite and PostgreSQL alike."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

FROZEN_MESSAGE = "this row is a record and is never changed or deleted"


def freeze(connection: Any, table: str) -> Iterable[str]:
    """Statements that refuse UPDATE and DELETE on a table."""
    if connection.vendor == "postgresql":
        yield (
            "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '%: {FROZEN_MESSAGE}', TG_TABLE_NAME "
            "USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )
        yield (
            f"CREATE TRIGGER {table}_frozen BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        return
    for event in ("UPDATE", "DELETE"):
        yield (
            f"CREATE TRIGGER {table}_frozen_{event.lower()} BEFORE {event} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table}: {FROZEN_MESSAGE}'); END"
        )


def thaw(connection: Any, table: str) -> Iterable[str]:
    """Statements that take the triggers of `freeze` away again."""
    if connection.vendor == "postgresql":
        yield f"DROP TRIGGER IF EXISTS {table}_frozen ON {table}"
        return
    for event in ("update", "delete"):
        yield f"DROP TRIGGER IF EXISTS {table}_frozen_{event}"


def refuse_insert(connection: Any, table: str, name: str, condition: str, message: str) -> Iterable[str]:
    """Statements that refuse an INSERT into `table` while the SQL `condition` over NEW holds."""
    if connection.vendor == "postgresql":
        yield (
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {condition} THEN "
            f"RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END IF; RETURN NEW; END $$"
        )
        yield f"CREATE TRIGGER {name} BEFORE INSERT ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()"
        return
    yield (
        f"CREATE TRIGGER {name} BEFORE INSERT ON {table} WHEN {condition} BEGIN SELECT RAISE(ABORT, '{message}'); END"
    )


def allow_insert(connection: Any, table: str, name: str) -> Iterable[str]:
    """Statements that take the trigger of `refuse_insert` away again."""
    if connection.vendor == "postgresql":
        yield f"DROP TRIGGER IF EXISTS {name} ON {table}"
        yield f"DROP FUNCTION IF EXISTS {name}()"
        return
    yield f"DROP TRIGGER IF EXISTS {name}"


def freezing(*tables: str) -> tuple[Any, Any]:
    """The two functions for a RunPython operation: freeze the tables, and thaw them again."""

    def forward(apps: Any, schema_editor: Any) -> None:
        for table in tables:
            for statement in freeze(schema_editor.connection, table):
                schema_editor.execute(statement, params=None)

    def backward(apps: Any, schema_editor: Any) -> None:
        for table in tables:
            for statement in thaw(schema_editor.connection, table):
                schema_editor.execute(statement, params=None)

    return forward, backward
