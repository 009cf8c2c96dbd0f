"""Reads plain data strictly: every key is known, every value has its type, every error is found at once.

:class:`Reader` walks one object of the document. Its methods take a key, note what is wrong under a dotted path and
give ``None`` (or "unknown") so that reading goes on; :meth:`Reader.finish` refuses the keys that nobody asked for.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Collection
from datetime import date
from decimal import Decimal
from difflib import get_close_matches
from enum import StrEnum
from functools import lru_cache
from typing import Any, TypeVar

from loops.engine.case import NOT_STATED, UNKNOWN, Parameter
from registry.quantities import NOT_STATED as NOT_STATED_TEXT
from registry.quantities import Kind, QuantityError
from registry.quantities import read as read_anew

LONGEST_LIST = 200
LONGEST_TEXT = 200
LONGEST_NOTE = 2000
SHOWN_TEXT = 40

# A plant says the same few thousand values again and again; reading one takes longer than judging with it.
read = lru_cache(maxsize=16_384)(read_anew)

E = TypeVar("E", bound=StrEnum)
T = TypeVar("T")


class CaseError(ValueError):
    """A document that cannot be read or cannot be true.

    ``errors``: dotted path (``"sources.0.Uo"``, ``""`` for the document itself) to messages, each with its cure.
    """

    def __init__(self, errors: dict[str, list[str]]) -> None:
        self.errors = errors
        super().__init__("; ".join(f"{path or 'document'}: {' '.join(texts)}" for path, texts in errors.items()))


class Errors:
    """Collects messages under dotted paths."""

    def __init__(self) -> None:
        self.found: dict[str, list[str]] = {}

    def add(self, path: str, message: str) -> None:
        """Note one message."""
        self.found.setdefault(path, []).append(message)


def shown(value: object) -> str:
    """A value as a message quotes it: short and printable."""
    text = value if isinstance(value, str) else type(value).__name__
    text = "".join(c if c.isprintable() else "?" for c in text[: SHOWN_TEXT + 1])
    return f"“{text[:SHOWN_TEXT]}…”" if len(text) > SHOWN_TEXT else f"“{text}”"


class Reader:
    """One object of the document and the path to it."""

    def __init__(self, data: dict[str, Any], path: str, errors: Errors) -> None:
        self.data, self.path, self.errors = data, path, errors
        self.asked: set[str] = set()

    def at(self, key: str) -> str:
        """Dotted path of a key of this object."""
        return f"{self.path}.{key}" if self.path else key

    def error(self, key: str, message: str) -> None:
        """Note a message under a key."""
        self.errors.add(self.at(key), message)

    def has(self, key: str) -> bool:
        """The key is written."""
        return key in self.data

    def quantity(self, key: str, kind: Kind) -> Parameter:
        """A certified value: a quantity, "not stated", or unknown when the key is missing."""
        self.asked.add(key)
        if key not in self.data:
            return UNKNOWN
        value = self.data[key]
        if value == NOT_STATED_TEXT:
            return NOT_STATED
        if not isinstance(value, str):
            self.error(key, f"Write the value as text with its unit, for example {kind.example}.")
            return UNKNOWN
        try:
            return read(value, kind)
        except QuantityError as error:
            self.error(key, str(error))
            return UNKNOWN

    def number(self, key: str, kind: Kind) -> Decimal | None:
        """A quantity that is ``None`` when its key is missing."""
        value = self.quantity(key, kind)
        if value is NOT_STATED:
            self.error(key, f"Write a value, for example {kind.example}, or leave the key out.")
        return value if isinstance(value, Decimal) else None

    def choice(self, key: str, options: type[E]) -> E | None:
        """One of a list of words."""
        word = self.word(key, [option.value for option in options])
        return None if word is None else options(word)

    def word(self, key: str, words: Collection[str]) -> str | None:
        """One of some words, exactly as written."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if isinstance(value, str) and value in words:
            return value
        listed = ", ".join(words)
        if isinstance(value, str):
            close = [word for word in words if word.casefold() == value.strip().casefold()]
            close = close or get_close_matches(value[:LONGEST_TEXT], words, 1)
            hint = f" Did you mean “{close[0]}”?" if close else ""
            self.error(key, f"{shown(value)} is not one of: {listed}.{hint}")
        else:
            self.error(key, f"Write one of these words as text: {listed}.")
        return None

    def flag(self, key: str) -> bool | None:
        """True, false, or ``None`` when the key is missing."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if isinstance(value, bool):
            return value
        self.error(key, "Write true or false, without quotation marks.")
        return None

    def text(self, key: str, longest: int = LONGEST_TEXT) -> str | None:
        """Free text without control characters; ``None`` when the key is missing."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if not isinstance(value, str):
            self.error(key, "Write text in quotation marks.")
            return None
        if len(value) > longest:
            self.error(key, f"Shorten this to at most {longest} characters.")
            return None
        for character in value:
            if unicodedata.category(character) in ("Cc", "Cs") and character not in "\n\t":
                self.error(key, f"Remove the hidden character U+{ord(character):04X}.")
                return None
        return value

    def day(self, key: str) -> date | None:
        """A date written as year-month-day."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if isinstance(value, str) and len(value) == len("2026-11-25"):
            try:
                return date.fromisoformat(value)
            except ValueError:
                pass
        self.error(key, "Write the date as year-month-day, for example 2026-11-25.")
        return None

    def one(self, key: str, build: Callable[[Reader], T]) -> T | None:
        """A nested object; ``None`` when the key is missing."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if not isinstance(value, dict):
            self.error(key, "Write an object in braces { }, or leave the key out.")
            return None
        return self._build(value, self.at(key), build)

    def many(self, key: str, build: Callable[[Reader], T]) -> tuple[T, ...] | None:
        """A list of objects; ``None`` when the key is missing."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        if not isinstance(value, list):
            self.error(key, "Write a list in brackets [ ], or leave the key out.")
            return None
        if len(value) > LONGEST_LIST:
            self.error(key, f"Shorten this list to at most {LONGEST_LIST} entries.")
            return None
        found = []
        for index, entry in enumerate(value):
            path = f"{self.at(key)}.{index}"
            if isinstance(entry, dict):
                found.append(self._build(entry, path, build))
            else:
                self.errors.add(path, "Write an object in braces { }.")
        return tuple(found)

    def words(self, key: str) -> tuple[str, ...] | None:
        """A list of short texts; ``None`` when the key is missing."""
        self.asked.add(key)
        if key not in self.data:
            return None
        value = self.data[key]
        fits = isinstance(value, list) and len(value) <= LONGEST_LIST
        if fits and all(isinstance(entry, str) and 0 < len(entry) <= LONGEST_TEXT for entry in value):
            return tuple(value)
        self.error(key, 'Write a list of texts, for example ["ATEX", "IECEx"].')
        return None

    def finish(self) -> None:
        """Refuse every key that was not asked for, with the nearest right one."""
        for key in self.data:
            if key in self.asked:
                continue
            if not isinstance(key, str):
                self.errors.add(self.path, "Every key must be text.")
                continue
            close = [known for known in self.asked if known.casefold() == key.casefold()]
            close = close or get_close_matches(key[:LONGEST_TEXT], sorted(self.asked), 1, 0.6)
            hint = f" Did you mean “{close[0]}”?" if close else " Remove it."
            self.errors.add(self.at(key[:LONGEST_TEXT]), f"The key {shown(key)} is not known here.{hint}")

    def _build(self, data: dict[str, Any], path: str, build: Callable[[Reader], T]) -> T:
        reader = Reader(data, path, self.errors)
        built = build(reader)
        reader.finish()
        return built
