"""Writing the change log: what a service tells is chained to the log as the last act of its transaction.

Only one transaction at a time can hold the end of a chain. `recorded()` therefore gathers what is told and writes it
just before the outermost block commits, so that judging a loop or making a sheet keeps nobody waiting. On PostgreSQL
an advisory lock guards the end of the chain, on SQLite its one writer does.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from django.db import connection, transaction
from django.db.models import Model
from django.utils import timezone

from registry.digests import FIRST_MARK, mark_of
from registry.models import Change, Deed, User
from registry.prepared import PreparedRead
from registry.services.inserting import insert

CHAIN_LOCK = 7_301_199_114
"""Number of the advisory lock on PostgreSQL: any number that nothing else in the database uses."""


Listener = Callable[[Sequence["Told"]], None]
LISTENERS: list[Listener] = []
"""Told of the deeds of a transaction just before these are written and it commits; what listeners tell in turn is
written too. They are to be quick: what takes time is a task."""


@dataclass(frozen=True)
class Told:
    """A deed that waits to be written."""

    verb: str
    kind: str
    record_id: int | None
    label: str
    actor: User | None = None
    site_id: int | None = None
    digest: str = ""
    detail: Mapping[str, Any] = field(default_factory=dict)
    at: dt.datetime = field(default_factory=timezone.now)


class Waiting(threading.local):
    """What this thread's transaction has told so far; None outside of `recorded`."""

    deeds: list[Told] | None = None


_waiting = Waiting()


@contextmanager
def recorded() -> Iterator[None]:
    """A transaction whose deeds are written to the change log at its end; what it rolls back is not written.

    May stand inside another: then the outermost one writes, and a block that fails forgets what it told.
    """
    outermost = _waiting.deeds is None
    deeds: list[Told] = [] if _waiting.deeds is None else _waiting.deeds
    _waiting.deeds = deeds
    before = len(deeds)
    try:
        with transaction.atomic():
            try:
                yield
            except BaseException:
                del deeds[before:]
                raise
            if connection.needs_rollback:
                del deeds[before:]
            elif outermost:
                announce(deeds)
                append(deeds)
    finally:
        if outermost:
            _waiting.deeds = None


def tell(deed: Told) -> None:
    """Have a deed written with the transaction that is under way, or at once where none gathers them."""
    if _waiting.deeds is not None:
        _waiting.deeds.append(deed)
        return
    with recorded():
        tell(deed)


def told_so_far() -> tuple[Told, ...]:
    """What the transaction under way has told; nothing outside of one."""
    return tuple(_waiting.deeds or ())


def announce(deeds: list[Told]) -> None:
    """Let every listener know what was done, and then what listeners did, until nobody does anything more."""
    known = 0
    while known < len(deeds):
        fresh, known = deeds[known:], len(deeds)
        for listener in LISTENERS:
            listener(fresh)


END: PreparedRead[tuple[int, str]] = PreparedRead(
    lambda: Change.objects.order_by("-number").values_list("number", "mark")[:1]
)


def append(deeds: list[Told]) -> list[Change]:
    """Chain some deeds to the end of the log, in their order. The caller's transaction is under way."""
    if not deeds:
        return []
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [CHAIN_LOCK])
    end, mark = END.first() or (0, FIRST_MARK)
    rows: list[Change] = []
    for number, deed in enumerate(deeds, start=end + 1):
        rows.append(chained(deed, number, mark))
        mark = rows[-1].mark
    insert(rows)
    return rows


def chained(deed: Told, number: int, previous_mark: str) -> Change:
    """The row of a deed at its place in the chain, not yet saved."""
    values: dict[str, Any] = {
        "number": number,
        "at": deed.at,
        "actor_id": deed.actor.pk if deed.actor else None,
        "actor_name": deed.actor.printed_name[:150] if deed.actor else "",
        "verb": deed.verb,
        "kind": deed.kind,
        "record_id": deed.record_id,
        "site_id": deed.site_id,
        "label": deed.label[:240],
        "detail": dict(deed.detail),
        "digest": deed.digest,
        "previous_mark": previous_mark,
    }
    return Change(mark=mark_of(values), **values)


def site_of(record: Model) -> int | None:
    """Key of the site that a record belongs to; None for what all sites share."""
    if getattr(record, "record_kind", "") == "site":
        return record.pk
    key: int | None = getattr(record, "site_id", None)
    return key


__all__ = ["Deed", "Told", "append", "recorded", "site_of", "tell"]
