"""JSON as the API takes it: UTF-8, no NaN, no name twice, not too deep."""

from __future__ import annotations

import json
from typing import IO, Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class StrictJSONParser(JSONParser):
    """Refuses what JSON readers take differently: NaN, Infinity, a name that stands twice, endless nesting."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        try:
            text = stream.read().decode("utf-8")
        except UnicodeDecodeError as error:
            raise ParseError("The body is not UTF-8 text: send JSON in UTF-8.") from error
        return load_strict(text)


def load_strict(text: str) -> Any:
    """JSON text to plain data; raises ParseError with the place of the fault."""

    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name, value in pairs:
            if name in found:
                raise ParseError(f"The name {name!r:.60} stands twice in one object: keep one.")
            found[name] = value
        return found

    def refuse(name: str) -> Any:
        raise ParseError(f"{name} is not a JSON number: leave the value out or write it as text with a unit.")

    try:
        return json.loads(text, object_pairs_hook=unique, parse_constant=refuse)
    except json.JSONDecodeError as error:
        raise ParseError(f"This is not JSON (line {error.lineno}, column {error.colno}: {error.msg}).") from error
    except RecursionError as error:
        raise ParseError("This JSON is nested too deeply.") from error
    except ValueError as error:
        raise ParseError("A number in this JSON is too long: write quantities as text with a unit.") from error
