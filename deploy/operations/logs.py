"""Lines of the log: one for each event whatever it holds, with the mark of the request that it belongs to.

What a visitor sends may stand in a line (an address, a user name) and so must not be able to end it and begin another:
JSON escapes it, and the text format writes signs that move the cursor as their codes.
"""

from __future__ import annotations

import datetime as dt
import logging
import re
import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.functional import LazyObject
from django_guid import get_guid
from pythonjsonlogger.json import JsonFormatter

MOVES = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Signs that end a line, move the cursor or turn the direction of reading."""
LONGEST_PATH = 500

requests = logging.getLogger("unlit.requests")


def visible(text: str) -> str:
    """A text with every sign that could move the cursor written as its code."""
    return MOVES.sub(lambda found: ascii(found[0])[1:-1], text)


class RequestMark(logging.Filter):
    """Gives each line the mark of the request that it belongs to; `-` where it belongs to none."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = get_guid() or "-"
        return True


class Lines(logging.Formatter):
    """Lines for people: what was traced stands below, indented, and so is never taken for a line of its own."""

    def __init__(self, *_: Any, **__: Any) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s [%(request_id)s] %(message)s")

    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:
        return moment(record)

    def formatMessage(self, record: logging.LogRecord) -> str:
        return visible(super().formatMessage(record))

    def formatException(self, ei: Any) -> str:
        return indented(super().formatException(ei))

    def formatStack(self, stack_info: str) -> str:
        return indented(super().formatStack(stack_info))


class Json(JsonFormatter):
    """Lines for programs, by python-json-logger: each a JSON object in ASCII."""

    def __init__(self, *_: Any, **__: Any) -> None:
        super().__init__(
            "%(levelname)s %(name)s %(message)s %(request_id)s",
            rename_fields={"levelname": "level", "name": "logger"},
            # Django hands the whole request along with some lines.
            reserved_attrs=[*logging.LogRecord("", 0, "", 0, "", None, None).__dict__, "request", "message", "asctime"],
            json_ensure_ascii=True,
        )

    def add_fields(self, log_data: dict[str, Any], record: logging.LogRecord, message_dict: dict[str, Any]) -> None:
        log_data["time"] = moment(record)
        super().add_fields(log_data, record, message_dict)


def moment(record: logging.LogRecord) -> str:
    return dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds")


def indented(text: str) -> str:
    return "\n".join(f"    | {visible(line)}" for line in text.split("\n"))


class RequestLines:
    """One line for each answer: who asked for what, what they got, and how long that took. Never what was sent.

    Static files have none: the proxy counts those.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        start = time.perf_counter()
        answer = self.get_response(request)
        if request.path.startswith(f"/{settings.STATIC_URL.strip('/')}/"):
            return answer
        requests.info(
            "%s %s %s",
            request.method,
            request.path[:LONGEST_PATH],
            answer.status_code,
            extra={
                "method": request.method,
                "path": request.path[:LONGEST_PATH],
                "status": answer.status_code,
                "took_ms": round((time.perf_counter() - start) * 1000, 1),
                "user": getattr(user_of(request), "pk", None),
            },
        )
        return answer


def user_of(request: HttpRequest) -> object:
    """Who asked, as far as the answer needed to know: a line of the log asks no database, which may be away."""
    user = request.__dict__.get("user")
    return getattr(request, "_cached_user", None) if isinstance(user, LazyObject) else user
