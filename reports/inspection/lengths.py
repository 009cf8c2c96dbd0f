"""What an inspection says of lengths: what is on record stays, the unit of the site stands beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from registry.lengths import typed_length

LENGTH = "length_m"

Value = Mapping[str, Any]


def expected_in(expected: str, values: Iterable[Value], unit: str) -> str:
    """What should be found, with the site's unit beside the length that the line asks for."""
    for value in values:
        if value["name"] == LENGTH:
            expected = expected.replace(f", {value['expected']},", f", {typed_length(value['expected'], unit)},", 1)
    return expected


def values_in(values: Iterable[Value], unit: str) -> list[dict[str, Any]]:
    """The values of a line with the site's unit beside lengths."""
    return [dict(value) | {"expected": value_in(value["name"], value["expected"], unit)} for value in values]


def value_in(name: str, text: str, unit: str) -> str:
    """A value on record or as found, with the site's unit beside it where it is a length."""
    return typed_length(text, unit) if name == LENGTH else text
