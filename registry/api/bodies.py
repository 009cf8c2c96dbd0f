"""What JSON must be before an entry reads it: texts are texts, ticks are true or false, rows are lists of objects.

Forms and tables give all values as text; a program that sends the number 5 where a text belongs has made a mistake that
is told, not guessed at. What the texts mean is decided by the entries alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from django import forms

from registry.reading import EntryForm, RecordField, join
from registry.services.records import EntryRefused

Fault = tuple[str, str]


def check_types(entry: type[EntryForm], data: Mapping[str, Any]) -> None:
    """Raise EntryRefused where a value is of another type than the description of the API says."""
    refuse(faults_in(entry, data, ""))


def refuse(faults: Iterable[Fault]) -> None:
    """Raise EntryRefused where there are faults."""
    errors: dict[str, list[str]] = {}
    for path, message in faults:
        errors.setdefault(path, []).append(message)
    if errors:
        raise EntryRefused(errors)


def faults_in(entry: type[EntryForm], data: Any, path: str, child: bool = False) -> Iterator[Fault]:
    """What is wrong with the types of one level and of those below it."""
    if not isinstance(data, Mapping):
        yield path or "record", "Give an object with named values here."
        return
    for name, value in data.items():
        where = join(path, name)
        if name in entry.children:
            if not isinstance(value, list):
                yield where, "Give a list here."
                continue
            for index, row in enumerate(value):
                yield from faults_in(entry.children[name], row, join(where, str(index)), child=True)
        elif name in entry.base_fields:
            if message := fault_of(entry.base_fields[name], value):
                yield where, message
        elif name == "id":
            if not child:
                yield where, "The key stands in the address, not in the record: leave it out."
            elif not is_key(value):
                yield where, "Give the key of the row as it was read, or leave it out for a new row."


def fault_of(reader: forms.Field, value: Any) -> str:
    """What is wrong with the type of one value; empty where nothing is."""
    if isinstance(reader, forms.BooleanField):
        return "" if isinstance(value, bool) else "Say true or false here."
    if isinstance(reader, forms.IntegerField):
        fits = isinstance(value, int) and not isinstance(value, bool)
        return "" if fits else "Give a whole number here, without quotation marks."
    if is_relation(reader):
        return "" if is_key(value) or isinstance(value, str) else "Name a record here, or give its key."
    if not isinstance(value, str):
        return "Give a text here, in quotation marks; an empty text where there is nothing to say."
    longest = getattr(reader, "max_length", None)
    if longest and len(value) > longest:
        return f"Shorten this to at most {longest} characters."
    if isinstance(reader, forms.ChoiceField) and value not in choices_of(reader):
        return f"Write one of {', '.join(filter(None, choices_of(reader)))}."
    return ""


def is_relation(reader: forms.Field) -> bool:
    """Whether a value may also be the key of a record."""
    return type(reader) is RecordField


def is_key(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value < 2**62


def choices_of(reader: forms.ChoiceField) -> list[str]:
    """The words of a choice; the empty one too where nothing need be chosen."""
    pairs: Any = reader.choices
    empty: Any = getattr(reader, "empty_value", None)
    found = [str(code) for code, _ in flat(pairs) if str(code)]
    return found if reader.required or empty else ["", *found]


def flat(pairs: Any) -> Iterator[tuple[Any, Any]]:
    for code, words in pairs:
        if isinstance(words, list | tuple):
            yield from words
        else:
            yield code, words
