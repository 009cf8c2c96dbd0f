"""JSON as the API takes it: UTF-8, no NaN, no name twice, not too deep."""

from __future__ import annotations

import json
from typing import IO, Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

TOO_DEEP = "This JSON is nested too deeply: no record here needs that, so send it as it is described."


class StrictJSONParser(BaseParser):
    """Refuses what JSON readers take differently: NaN, Infinity, a name that stands twice, endless nesting.

    It is no JSONParser of the framework: to those the body is given only up to DATA_UPLOAD_MAX_MEMORY_SIZE, which is
    for forms and less than a list of many records needs.
    """

    media_type = "application/json"

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

    if text.startswith("\ufeff"):
        raise ParseError("A byte order mark stands before this JSON: send it without.")
    try:
        return json.loads(text, object_pairs_hook=unique, parse_constant=refuse)
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}: {error.msg}"
        raise ParseError(f"This is not JSON ({place}): mend it there, and send it again.") from error
    except RecursionError as error:
        raise ParseError(TOO_DEEP) from error
    except ValueError as error:
        raise ParseError("A number in this JSON is too long: write quantities as text with a unit.") from error
