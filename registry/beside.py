"""Work on many parts that several processes of this program do beside each other, each by connections of its own."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import Any, TypeVar

from django.db import connections

P = TypeVar("P")
R = TypeVar("R")
_work: Callable[[Any], Any] | None = None


def done_beside(work: Callable[[P], R], parts: Sequence[P], processes: int) -> Generator[R, None, None]:
    """What `work` gives for each part: in their order by this process alone, or as they come to their end by so many
    others. What a part gives must be picklable then, and a generator that is closed leaves the parts not yet begun.

    The others begin as this process is, with the work in their memory; hence not for a process that has threads, nor
    within a transaction. Raises BrokenProcessPool when one of them is killed, and what the work raises.
    """
    if processes <= 1 or len(parts) <= 1:
        yield from map(work, parts)
        return
    leave_databases()
    workers = ProcessPoolExecutor(min(processes, len(parts)), multiprocessing.get_context("fork"), _begin, (work,))
    try:
        for done in as_completed([workers.submit(_do, part) for part in parts]):
            yield done.result()
    finally:
        workers.shutdown(cancel_futures=True)


def leave_databases() -> None:
    """Close every connection: two processes must not speak by the same one."""
    for connection in connections.all(initialized_only=True):
        if connection.in_atomic_block:
            raise RuntimeError("A transaction cannot be divided among processes.")
        connection.close()
        if hasattr(connection, "close_pool"):
            connection.close_pool()


def _begin(work: Callable[[Any], Any]) -> None:
    global _work
    _work = work


def _do(part: Any) -> Any:
    assert _work is not None
    return _work(part)
