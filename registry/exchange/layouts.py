"""Which columns the table of each kind of record has.

One row holds one record; of equipment one set of terminals, with the columns of the item repeated on each of its rows.
Lists below that stand in numbered columns: ``permitted 1 group``, ``permitted 1 Co`` … as many as are needed. Rows
belong to the same record when their key columns say the same, wherever they stand. A column that a file does not have
leaves what is stored as it is; a column that is there and empty means empty.

Shape only. Other packages add layouts of their own kinds with :func:`register`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property


@dataclass(frozen=True)
class Column:
    """One column: its heading, the name of the value in the nested text, and other headings that mean the same.

    `kind` is "text", "choice", "day", "yes or no" or "record" (the name of another record); `choices` holds the words
    of a choice by its code.
    """

    heading: str
    name: str
    also: tuple[str, ...] = ()
    kind: str = "text"
    choices: Mapping[str, str] = field(default_factory=dict)
    example: str = ""


@dataclass(frozen=True)
class Numbered:
    """A list that stands in numbered columns: the name of the list, the word before the number, and its columns.

    A column with an empty heading is the word and number alone. `shown` is how many the template has.
    """

    name: str
    word: str
    columns: tuple[Column, ...]
    shown: int = 1

    def heading(self, number: int, column: Column) -> str:
        return f"{self.word} {number} {column.heading}".strip()


@dataclass(frozen=True)
class Layout:
    """The table of one kind. `rows` names the list of which each row of the table holds one element, or is empty."""

    kind: str
    title: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    rows: str = ""
    row_columns: tuple[Column, ...] = ()
    row_key: str = ""
    numbered: tuple[Numbered, ...] = ()

    @cached_property
    def places(self) -> dict[str, Place]:
        """Every heading in plain letters, other headings included, with what it is; numbered ones without number."""
        found: dict[str, Place] = {}
        for level, columns in (("", self.columns), (self.rows, self.row_columns)):
            for column in columns:
                place = Place(column, level)
                for heading in (column.heading, column.name, *column.also):
                    found.setdefault(simple(heading), place)
        for group in self.numbered:
            for column in group.columns:
                found[simple(f"{group.word} {column.heading}")] = Place(column, self.rows, group)
        return found

    def headings(self, counts: Mapping[str, int] | None = None) -> list[str]:
        """The headings in their order, with so many numbered columns of each list, else as many as the template has."""
        found = [column.heading for column in (*self.columns, *self.row_columns)]
        for group in self.numbered:
            for number in range(1, (counts or {}).get(group.name, group.shown) + 1):
                found += [group.heading(number, column) for column in group.columns]
        return found

    def place_of(self, heading: str) -> Place | None:
        """What a heading of a file is; None for one that is not known."""
        plain = simple(heading)
        if plain in self.places and self.places[plain].group is None:
            return self.places[plain]
        match = re.search(r"(?<![0-9])([0-9]{1,3})(?![0-9])", plain)
        place = self.places.get(" ".join(plain.replace(match[1], " ", 1).split())) if match else None
        if match and place and place.group and 1 <= int(match[1]) <= 200:
            return Place(place.column, place.level, place.group, int(match[1]))
        return None

    def near(self, heading: str) -> str:
        """The known heading most like an unknown one; empty where none is."""
        known = {simple(name): name for name in self.headings()}
        found = difflib.get_close_matches(simple(heading), known, n=1, cutoff=0.6)
        return known[found[0]] if found else ""


@dataclass(frozen=True)
class Place:
    """What a column of a file is: the column, the list it belongs to, and its number among numbered columns."""

    column: Column
    level: str = ""
    group: Numbered | None = None
    number: int = 0


LAYOUTS: dict[str, Layout] = {}


def register(layout: Layout) -> None:
    """Make a kind known to import and export; called while an application starts."""
    LAYOUTS[layout.kind] = layout


def simple(heading: str) -> str:
    """A heading without what does not matter: capitals, brackets, underscores, spaces."""
    return " ".join(re.sub(r"[_\[\]()]+", " ", heading).casefold().split())
