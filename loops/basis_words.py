"""What was changed of a record that a proof rests on: stored in English, said in the language of who reads it.

The stored form is that of `loops.services.essentials.in_words`: "Terminals 3-4 Ci 5 nF → 6 nF; Ex marking … → …".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple

from django import forms
from django.utils.translation import gettext

from registry.differences import ROW_TITLES
from registry.entries import ENTRIES
from registry.language import in_fixed_language
from registry.parameters import label_of
from registry.reading import EntryForm
from registry.selectors import LOOPS_BY_KIND
from registry.stored import figures
from registry.words import lazily as _

ARROW = " → "
MORE = re.compile(r"(\d+) more")
WORDS: Mapping[str, str] = {
    "unknown": _("unknown"),
    "not stated": _("not stated"),
    "yes": _("yes"),
    "no": _("no"),
    "present": _("present"),
    "removed": _("removed"),
    "archived": _("archived"),
    "in use": _("in use"),
}
RECORD = "Record"


class Level(NamedTuple):
    """Rows of one kind within a record: the words before them, and the entry that has their fields."""

    titles: tuple[str, ...]
    entry: type[EntryForm]


def changes_said(text: str) -> str | None:
    """Stored changes in the language that holds; None where the text is something else.

    The names of rows and what a person typed stay; fields, choices, and the words for a value that is not there are
    said, and quantities have the decimal mark of the language.
    """
    end = "." if text.endswith(".") else ""
    found = [change_said(part) for part in parts(text.removesuffix(end))]
    told = [part for part in found if part is not None]
    return "; ".join(told) + end if len(told) == len(found) else None


def parts(text: str) -> Iterator[str]:
    """The changes of a list. A semicolon within a value ends none."""
    held = ""
    for piece in text.split("; "):
        if ARROW in held and (ARROW in piece or MORE.fullmatch(piece)):
            yield held
            held = piece
        else:
            held = f"{held}; {piece}" if held else piece
    yield held


def change_said(text: str) -> str | None:
    """One change; None where nothing that is known stands in it."""
    if more := MORE.fullmatch(text):
        return gettext("%(count)s more") % {"count": more[1]}
    for level, pattern in patterns() if ARROW in text else ():
        if found := pattern.fullmatch(text):
            named = found.groupdict("")
            rows = [f"{titles()[title]} {named[f'name{number}']}".strip() for number, title in enumerate(level.titles)]
            label = named.get("label", "")
            before, after = (value_said(level.entry, label, named[side]) for side in ("before", "after"))
            words = ((", " if label else " ").join(rows), label_said(level.entry, label), f"{before}{ARROW}{after}")
            return " ".join(filter(None, words))
    return None


def label_said(entry: type[EntryForm], label: str) -> str:
    """A field by its stored name."""
    if label in ("", RECORD):
        return label and gettext("Record")
    return label_of(entry.model, fields(entry)[label])


def value_said(entry: type[EntryForm], label: str, value: str) -> str:
    """A value: a choice or a word of the program as they are said, a quantity with its decimal mark, or a text."""
    name = fields(entry).get(label, "")
    if (stored := stored_choices(entry, name)) and value in stored:
        return offered(entry, name)[stored.index(value)]
    return str(WORDS.get(value) or figures(value))


# ------------------------------------------------------------------------------------------------------- what is known


def levels() -> Iterator[Level]:
    """The records that proofs rest on and their rows, the innermost first."""

    def within(entry: type[EntryForm], above: tuple[str, ...]) -> Iterator[Level]:
        for name, child in entry.children.items():
            yield from within(child, (*above, name))
        yield Level(above, entry)

    found = [level for kind in LOOPS_BY_KIND for level in within(ENTRIES[kind], ())]
    return iter(sorted(found, key=lambda level: -len(level.titles)))


def titles() -> Mapping[str, str]:
    """What stands before the name of a row, by the list that the row is in."""
    return {name: words[1] for name, words in ROW_TITLES.items()}


@cache
def patterns() -> tuple[tuple[Level, re.Pattern[str]], ...]:
    """How a change stands: rows with their names, then a field with both values, or what became of the whole row."""
    found = []
    with in_fixed_language():
        for level in levels():
            rows = ""
            for number, title in enumerate(level.titles):
                rows += rf"{',? ' if number else ''}{re.escape(str(titles()[title]))}(?: (?P<name{number}>.+?))?"
            labels = "|".join(map(re.escape, sorted([*fields(level.entry), RECORD], key=len, reverse=True)))
            if rows:
                whole = rf"{rows} (?P<before>unknown|present){ARROW}(?P<after>present|removed)"
                found.append((level, re.compile(whole, re.DOTALL)))
                rows += " "
            field = rf"{rows}(?P<label>{labels}) (?P<before>.*?){ARROW}(?P<after>.*)"
            found.append((level, re.compile(field, re.DOTALL)))
    return tuple(found)


@cache
def fields(entry: type[EntryForm]) -> Mapping[str, str]:
    """The fields of an entry by their stored names."""
    with in_fixed_language():
        return {label_of(entry.model, name): name for name in entry.base_fields}


@cache
def stored_choices(entry: type[EntryForm], name: str) -> tuple[str, ...]:
    """What a field offers, in stored words."""
    with in_fixed_language():
        return offered(entry, name)


def offered(entry: type[EntryForm], name: str) -> tuple[str, ...]:
    """What a field offers, in the language that holds; nothing where one types."""
    reader = entry.base_fields.get(name)
    pairs: Any = reader.choices if isinstance(reader, forms.ChoiceField) else ()
    return tuple(str(said) for _key, said in pairs)
