"""One shape for every refusal of the API: {"code", "message", "errors": {path: [messages]}}.

A change that rests on an older version is told with `conflict` beside that: the version that stands, its text
(`theirs`), what was sent (`yours`), and the paths at which the two differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.common import CommonMiddleware
from django.urls import is_valid_path
from django.views.defaults import page_not_found
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from registry.api.content import text_of
from registry.api.requests import LOOKS
from registry.services.records import EntryRefused, StaleRecord

INVALID = "Nothing was saved: some values cannot be read or cannot be true."
NOT_READ = "Nothing was looked up: some values of the address cannot be read."
NOT_FOUND = "There is nothing at this address that you may see."
MOST_PATHS = 200
BASE = "/api/"


def problem(
    code: str, message: str, status: int, errors: Mapping[str, list[str]] | None = None, **more: Any
) -> Response:
    """A refusal as a response."""
    return Response({"code": code, "message": message, "errors": dict(errors or {})} | more, status=status)


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an exception in the one shape; None leaves an unforeseen one to Django."""
    if isinstance(error, EntryRefused):
        return problem("invalid", NOT_READ if context["request"].method in LOOKS else INVALID, 400, error.errors)
    if isinstance(error, StaleRecord):
        return stale(error, context["request"].data)
    if isinstance(error, Http404):
        return problem("not_found", no_format(context) or NOT_FOUND, 404)
    if isinstance(error, PermissionDenied):
        return problem("forbidden", str(error) or "You may not do this.", 403)
    if isinstance(error, RequestDataTooBig):
        return problem("too_large", "The request is larger than this address takes: send less at a time.", 413)
    if isinstance(error, SuspiciousOperation):
        return problem("parse_error", "The request cannot be read: it has too many parts or odd names.", 400)
    response = exception_handler(error, context)
    if response is None or not isinstance(error, exceptions.APIException):
        return response
    code = error.default_code if isinstance(error.default_code, str) else "error"
    detail = error.detail if isinstance(error.detail, str) else "The request cannot be read."
    response.data = {"code": code, "message": cure_of(error, context) or str(detail), "errors": {}}
    return response


def cure_of(error: exceptions.APIException, context: Mapping[str, Any]) -> str:
    """What helps, where the framework says only what is wrong; empty where the refusal says it itself."""
    view = context["view"]
    if isinstance(error, exceptions.NotAuthenticated):
        return "It is not known who asks: send a token, Authorization: Bearer unlit_…, made on the page of your tokens."
    if isinstance(error, exceptions.MethodNotAllowed):
        return f"{context['request'].method[:20]} does nothing here: send {' or '.join(view.allowed_methods)}."
    if isinstance(error, exceptions.UnsupportedMediaType):
        types = dict.fromkeys(parser.media_type for parser in view.parser_classes)
        return f"This body is of a type that is not read here: send Content-Type: {' or '.join(types)}."
    if isinstance(error, exceptions.NotAcceptable):
        types = dict.fromkeys(renderer.media_type for renderer in view.renderer_classes)
        return f"The answer is {' or '.join(types)}: ask for that in Accept, or leave Accept out."
    return ""


def no_format(context: Mapping[str, Any]) -> str:
    """What helps where a form of the answer is asked for that there is not; empty where none is."""
    known = [renderer.format for renderer in context["view"].renderer_classes]
    asked = context["request"].query_params.get("format")
    return "" if asked in (None, *known) else f"The answer is {' or '.join(known)}: leave “format” out of the address."


def stale(error: StaleRecord, sent: Any) -> Response:
    """A change that rests on an older version: what was sent beside what stands."""
    theirs = text_of(error.record)
    yours = {name: value for name, value in sent.items() if name != "reason"} if isinstance(sent, Mapping) else {}
    paths = [path for path, _ in zip(differing(theirs, yours), range(MOST_PATHS), strict=False)] if yours else []
    conflict = {"version": error.record.version, "theirs": theirs, "yours": yours, "differing": paths}
    response = problem(
        "stale",
        f"{error} Read “theirs”, lay your change over it and send it with the version that stands.",
        412,
        conflict=conflict,
    )
    response["ETag"] = f'"{error.record.version}"'
    return response


def differing(theirs: Any, yours: Any, path: str = "") -> Iterator[str]:
    """The paths at which what was sent says something else; what was not sent is no difference but for rows."""
    if isinstance(theirs, Mapping) and isinstance(yours, Mapping):
        for name in yours:
            if name != "id":
                yield from differing(theirs.get(name, ""), yours[name], f"{path}.{name}" if path else str(name))
    elif isinstance(theirs, list) and isinstance(yours, list):
        for index in range(max(len(theirs), len(yours))):
            both = index < min(len(theirs), len(yours))
            if both:
                yield from differing(theirs[index], yours[index], f"{path}.{index}")
            else:
                yield f"{path}.{index}"
    elif theirs != yours:
        yield path


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's answer where no address fits: the page, or the same in the shape of the API."""
    if not request.path.startswith(BASE):
        return page_not_found(request, exception)
    message = NOT_FOUND
    if not request.path_info.endswith("/") and is_valid_path(f"{request.path_info}/"):
        message = f"The address ends with a slash: send this to {request.path[:200]}/"
    return JsonResponse({"code": "not_found", "message": message, "errors": {}}, status=404)


class SlashMiddleware(CommonMiddleware):
    """Django's, which leads to the address with a slash at its end: but not what a program sends to the API.

    Whoever follows a redirect repeats it as a GET, without the body, and would take the list that it gets for success.
    """

    def should_redirect_with_slash(self, request: HttpRequest) -> bool:
        sends = request.method not in LOOKS and request.path_info.startswith(BASE)
        return not sends and super().should_redirect_with_slash(request)
