"""Records that may be chosen, remembered while many entries are read: for imports, within one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any

ASKED_ONE_BY_ONE = 50
"""So many different names, or keys, are looked up one by one before all that may be chosen are read: a file of five
thousand items may rest on one certificate of a hundred thousand."""

Asked = Callable[[Any], list[Any]]
"""The records with one name, or one key, of the database."""
Everything = Callable[[], Iterable[Any]]


@dataclass
class Memory:
    """What may be chosen in one field, as far as it was asked for or, once `is_whole`, all of it.

    Each record wears its `picked_name`.
    """

    by_name: dict[str, list[Any]] = field(default_factory=dict)
    by_key: dict[int, list[Any]] = field(default_factory=dict)
    is_whole: bool = False

    def called(self, name: str, asked: Asked, everything: Everything) -> list[Any]:
        """The records with this name."""
        return self._found(self.by_name, name, asked, everything)

    def keyed(self, key: int, asked: Asked, everything: Everything) -> list[Any]:
        """The record with this key, in a list."""
        return self._found(self.by_key, key, asked, everything)

    def spelled_alike(self, name: str, everything: Everything) -> list[Any]:
        """The records whose name differs from a text by capital and small letters at most."""
        self._read(everything)
        wanted = name.casefold()
        return [row for known, rows in self.by_name.items() if known.casefold() == wanted for row in rows]

    def _found(self, known: dict[Any, list[Any]], what: Any, asked: Asked, everything: Everything) -> list[Any]:
        if not self.is_whole and what not in known:
            if len(known) < ASKED_ONE_BY_ONE:
                known[what] = asked(what)
            else:
                self._read(everything)
        return known.get(what, [])

    def _read(self, everything: Everything) -> None:
        if self.is_whole:
            return
        self.is_whole = True
        self.by_name.clear()
        self.by_key.clear()
        for record in everything():
            self.by_name.setdefault(record.picked_name, []).append(record)
            self.by_key[record.pk] = [record]


_memories: ContextVar[dict[int, Memory] | None] = ContextVar("memories", default=None)


@contextmanager
def remembered_choices() -> Iterator[None]:
    """Have each field remember what may be chosen in it; nothing else is to be saved meanwhile that could be chosen."""
    if _memories.get() is not None:
        yield
        return
    token = _memories.set({})
    try:
        yield
    finally:
        _memories.reset(token)


def memory_of(chooser: object) -> Memory | None:
    """What one field remembers; None outside of `remembered_choices`."""
    memories = _memories.get()
    return None if memories is None else memories.setdefault(id(chooser), Memory())
