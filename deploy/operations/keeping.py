"""How long answers are kept on the way: not at all, unless they say otherwise themselves."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

PAGE = "private, no-cache"
OTHER = "private, no-store"


class KeepNothing:
    """Answers to a person are kept by nobody on the way, and asked for anew before they are shown again.

    Of pages a browser may hold what it needs to go back to them: a form that was left by mistake still has what was
    typed. Tables, files and answers of the API it does not put on its disk.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        answer = self.get_response(request)
        page = answer.headers.get("Content-Type", "").startswith("text/html")
        answer.headers.setdefault("Cache-Control", PAGE if page else OTHER)
        return answer
