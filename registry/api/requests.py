"""What every request of the API has in common: who may call, how a body is read, how versions travel."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import IO, Any, ClassVar

from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import APIException, ParseError, PermissionDenied
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from registry.api.authentication import PasswordAuthentication, TokenAuthentication
from registry.api.parsers import TOO_DEEP, StrictJSONParser, load_strict
from registry.models import ApiToken, Origin, User
from registry.plain import hidden_in
from registry.services.records import Author, EntryRefused

MAX_BODY_BYTES = 1_000_000
MAX_DEPTH = 40
LONGEST_REASON = 400
ETAG = re.compile(r'"([0-9]{1,9})"')
TAG = re.compile(r'(?:W/)?"[!#-~]*"')
"""An entity tag as HTTP writes it (RFC 9110, 8.8.3)."""
LOOKS = frozenset({"GET", "HEAD", "OPTIONS"})


class BodyTooLarge(APIException):
    """The body is over the limit."""

    status_code = 413
    default_code = "too_large"
    default_detail = f"The body is larger than {MAX_BODY_BYTES // 1_000_000} MB: send less at a time."


class PreconditionMissing(APIException):
    """A change without the version that it rests on."""

    status_code = 428
    default_code = "precondition_required"
    default_detail = 'Send the version that you have read as If-Match, for example If-Match: "3".'


class PreconditionFailed(APIException):
    """A change that rests on what is no version of the record."""

    status_code = 412
    default_code = "stale"
    default_detail = "That is no version of this record: read it again, and send its ETag as If-Match."


class BodyParser(StrictJSONParser):
    """Strict JSON of a limited size, not nested deeper than any loop is, of whole characters."""

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        most = getattr((parser_context or {}).get("view"), "max_body_bytes", MAX_BODY_BYTES)
        content = stream.read(most + 1)
        if len(content) > most:
            raise BodyTooLarge(f"The body is larger than {most // 1_000_000} MB: send less at a time.")
        try:
            data = load_strict(content.decode("utf-8"))
        except UnicodeDecodeError as error:
            raise ParseError("The body is not UTF-8 text: send JSON in UTF-8.") from error
        check_depth(data)
        return data


def check_depth(data: Any, depth: int = 0) -> None:
    """Refuse nesting that no loop has, and half characters, which no answer could repeat."""
    if depth > MAX_DEPTH:
        raise ParseError(TOO_DEEP)
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
    for character in hidden_in(text):
        raise ParseError(f"The hidden or broken character U+{ord(character):04X} stands in a text: take it out.")


class WithinScope(IsAuthenticated):
    """Who calls is known, and a token that may only read sends nothing that writes."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not super().has_permission(request, view):
            return False
        token = request.auth
        reads = request.method in LOOKS or getattr(view, "posts_only_read", False)
        if isinstance(token, ApiToken) and token.scope == "read" and not reads:
            raise PermissionDenied("This token may only read: make one that may write.")
        return True


class UnlitAPIView(APIView):
    """The base of all views of the API: a token, HTTP Basic or a session with its CSRF token; JSON in, JSON out.

    `parameters` are what its address may ask for; what is no such parameter is refused, by the view itself where they
    are None. `posts_only_read` where a POST
    asks a question and stores nothing, so that a token that may only read may send it.
    """

    authentication_classes = [PasswordAuthentication, TokenAuthentication, SessionAuthentication]
    permission_classes = [WithinScope]
    parser_classes = [BodyParser]
    parameters: ClassVar[frozenset[str] | None] = frozenset()
    posts_only_read: ClassVar[bool] = False
    max_body_bytes: ClassVar[int] = MAX_BODY_BYTES

    def initial(self, request: Request, *arguments: Any, **keywords: Any) -> None:
        super().initial(request, *arguments, **keywords)
        looks = request.method in LOOKS
        if looks and self.parameters is None:
            return
        known = (self.parameters or frozenset()) if looks else frozenset()
        strange = sorted(set(request.query_params) - known - {"format"})
        if strange:
            raise EntryRefused({name[:60]: ["There is no such parameter here: leave it out."] for name in strange[:10]})


def person(request: Request) -> User:
    """Who calls."""
    user = request.user
    assert isinstance(user, User)
    return user


def body_object(request: Request) -> dict[str, Any]:
    """The body, which must be an object."""
    if not isinstance(request.data, Mapping):
        raise ParseError("Send one JSON object, not a list or a single value.")
    return dict(request.data)


def body_of(request: Request, **kinds: type) -> dict[str, Any]:
    """The body, an object with values of these kinds alone. Raises EntryRefused with what is wrong by name."""
    data = body_object(request)
    errors = {name: ["There is no value of this name here."] for name in data if name not in kinds}
    for name, kind in kinds.items():
        if name in data and (not isinstance(data[name], kind) or (isinstance(data[name], bool) and kind is not bool)):
            errors[name] = [f"Give {WORDS[kind]} here."]
    if errors:
        raise EntryRefused({name[:60]: texts for name, texts in errors.items()})
    return data


WORDS: dict[type, str] = {
    str: "a text",
    int: "a whole number",
    bool: "true or false",
    list: "a list",
    dict: "an object",
}


def text_and_author(request: Request) -> tuple[dict[str, Any], Author]:
    """The nested text of a record and who sends it, with the reason if one is given. Raises EntryRefused."""
    data = body_object(request)
    return data, author_of(request, data.pop("reason", ""))


def author_of(request: Request, reason: Any) -> Author:
    """Who sends something, and why. Raises EntryRefused."""
    if not isinstance(reason, str):
        raise EntryRefused({"reason": ["Give a text here."]})
    if len(reason) > LONGEST_REASON:
        raise EntryRefused({"reason": [f"Shorten the reason to at most {LONGEST_REASON} characters."]})
    return Author(person(request), Origin.API, reason.strip())


def etag(version: int) -> str:
    """The version of a record as an ETag."""
    return f'"{version}"'


def matched_version(request: Request) -> int:
    """The version that If-Match names. Raises PreconditionMissing without one, PreconditionFailed for the tag of
    something else (RFC 9110, 13.1.1: weak tags match nothing), EntryRefused for what is no tag.
    """
    header = request.headers.get("If-Match", "").strip()
    if header in ("", "*"):
        raise PreconditionMissing
    match = ETAG.fullmatch(header)
    if match is None and TAG.fullmatch(header):
        raise PreconditionFailed
    if match is None:
        raise EntryRefused({"If-Match": ['Write the version as the ETag of the record has it: If-Match: "3".']})
    return int(match[1])
