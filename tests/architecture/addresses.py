"""Every address of the site, as the URL resolver knows it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from django.urls import URLPattern, URLResolver, get_resolver
from django.utils.regex_helper import normalize

SAMPLES = {"int": "1", "str": "x", "slug": "x", "path": "x", "uuid": "01234567-89ab-4def-8123-456789abcdef"}


@dataclass(frozen=True)
class Address:
    """A named address: "reports:live", "s/%(short_id)s/", and samples for its parameters."""

    name: str
    route: str
    samples: dict[str, str]


@cache
def addresses() -> tuple[Address, ...]:
    """Every address of the site."""
    return tuple(walk(get_resolver().url_patterns, "", "", {}))


def walk(
    patterns: list[URLPattern | URLResolver], space: str, prefix: str, samples: dict[str, str]
) -> Iterator[Address]:
    for entry in patterns:
        route, found = spell(entry)
        if isinstance(entry, URLResolver):
            inner = f"{space}{entry.namespace}:" if entry.namespace else space
            yield from walk(entry.url_patterns, inner, prefix + route, samples | found)
        else:
            yield Address(f"{space}{entry.name}", prefix + route, samples | found)


def spell(entry: URLPattern | URLResolver) -> tuple[str, dict[str, str]]:
    """The piece of an address that a pattern stands for, with samples for its parameters."""
    pattern = entry.pattern
    samples = {
        name: SAMPLES.get(type(converter).__name__.removesuffix("Converter").lower().replace("string", "str"), "1")
        for name, converter in pattern.converters.items()
    }
    text, names = normalize(pattern.regex.pattern.removesuffix(r"\Z"))[0]
    return text, {name: samples.get(name, "1") for name in names}
