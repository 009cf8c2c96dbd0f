"""The connection: whoever begins to write stands in the queue first, and leaves it when the transaction ends."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from django.db import OperationalError
from django.db.backends.sqlite3 import base

from deploy.sqlite3.queue import NotServed, WritersQueue

WRITES = re.compile(r"\s*(?:INSERT|UPDATE|DELETE|REPLACE)\b", re.IGNORECASE)
DEFAULT_PATIENCE_S = 5.0


class StillLocked(OperationalError):
    """Somebody else has been writing for longer than one waits."""


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's own, with a queue before each transaction and before each statement that writes outside of one."""

    def __init__(self, settings_dict: dict[str, Any], alias: str = "default") -> None:
        super().__init__(settings_dict, alias)
        patience = float(settings_dict.get("OPTIONS", {}).get("timeout", DEFAULT_PATIENCE_S))
        self._queue = WritersQueue(str(settings_dict["NAME"]), patience)
        self.execute_wrappers.append(self._queued)

    def _enter(self) -> None:
        if self.is_in_memory_db():
            return
        # A test may name another database once the connection is there.
        self._queue.database = str(self.settings_dict["NAME"])
        try:
            self._queue.enter()
        except NotServed:
            raise StillLocked("database is locked: another writer does not end") from None

    def _queued(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        if self.in_atomic_block or self._queue.served or not WRITES.match(sql):
            return execute(sql, params, many, context)
        self._enter()
        try:
            return execute(sql, params, many, context)
        finally:
            self._queue.leave()

    def _start_transaction_under_autocommit(self) -> None:
        # From here on Django counts this as a transaction, and ends it by commit, rollback or close.
        self._enter()
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except BaseException:
            self._queue.leave()
            raise

    def _commit(self) -> None:
        # One that fails is followed by a rollback: until then the database is still locked.
        super()._commit()  # type: ignore[misc]
        self._queue.leave()

    def _rollback(self) -> None:
        try:
            super()._rollback()  # type: ignore[misc]
        finally:
            self._queue.leave()

    def _close(self) -> None:
        try:
            super()._close()  # type: ignore[misc]
        finally:
            self._queue.close()
