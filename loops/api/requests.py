"""What every request of the API has in common: who may call, how a body is read, how versions travel."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import IO, Any

from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import APIException, ParseError
from rest_framework.request import Request
from rest_framework.views import APIView

from registry.api.authentication import PasswordAuthentication
from registry.api.parsers import StrictJSONParser, load_strict
from registry.reading import HIDDEN

MAX_BODY_BYTES = 1_000_000
MAX_DEPTH = 40
ETAG = re.compile(r'"([0-9]{1,9})"')
LAYOUT = frozenset("\t\n\r")


class BodyTooLarge(APIException):
    """The body is over the limit."""

    status_code = 413
    default_code = "too_large"
    default_detail = f"The body is larger than {MAX_BODY_BYTES // 1_000_000} MB: send one loop at a time."


class PreconditionMissing(APIException):
    """A change without the version that it rests on."""

    status_code = 428
    default_code = "precondition_required"
    default_detail = 'Send the version that you have read as If-Match, for example If-Match: "3".'


class PreconditionFailed(APIException):
    """A change that rests on an older version."""

    status_code = 412
    default_code = "stale"
    default_detail = "The loop was changed since the version that you name: read it again, then repeat the change."


class BodyParser(StrictJSONParser):
    """Strict JSON of at most MAX_BODY_BYTES, not nested deeper than any loop is, of whole characters."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        content = stream.read(MAX_BODY_BYTES + 1)
        if len(content) > MAX_BODY_BYTES:
            raise BodyTooLarge
        try:
            data = load_strict(content.decode("utf-8"))
        except UnicodeDecodeError as error:
            raise ParseError("The body is not UTF-8 text: send JSON in UTF-8.") from error
        check_depth(data)
        return data


def check_depth(data: Any, depth: int = 0) -> None:
    """Refuse nesting that no loop has, and half characters, which no answer could repeat."""
    if depth > MAX_DEPTH:
        raise ParseError("This JSON is nested too deeply.")
    if isinstance(data, dict):
        for name, value in data.items():
            check_text(name)
            check_depth(value, depth + 1)
    elif isinstance(data, list):
        for value in data:
            check_depth(value, depth + 1)
    elif isinstance(data, str):
        check_text(data)


def check_text(text: str) -> None:
    for character in text:
        if (character in HIDDEN and character not in LAYOUT) or "\ud800" <= character <= "\udfff":
            raise ParseError(f"The hidden or broken character U+{ord(character):04X} stands in a text: take it out.")


class UnlitAPIView(APIView):
    """The base of all views of the API: HTTP Basic or a session with its CSRF token; JSON in, JSON out."""

    authentication_classes = [PasswordAuthentication, SessionAuthentication]
    parser_classes = [BodyParser]


def body_object(request: Request) -> dict[str, Any]:
    """The body, which must be an object."""
    if not isinstance(request.data, Mapping):
        raise ParseError("Send one JSON object, not a list or a single value.")
    return dict(request.data)


def etag(version: int) -> str:
    """The version of a record as an ETag."""
    return f'"{version}"'


def matched_version(request: Request) -> int:
    """The version that If-Match names. Raises PreconditionMissing without one, PreconditionFailed for another form."""
    header = request.headers.get("If-Match", "").strip()
    if header in ("", "*"):
        raise PreconditionMissing
    match = ETAG.fullmatch(header)
    if match is None:
        raise PreconditionFailed
    return int(match[1])
