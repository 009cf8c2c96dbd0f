"""The language of what is shown: the one that its reader chose, else the one that the browser asks for."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from registry.models import User

FIXED = "en"
"""What programs read, and what is stored, is in this language always."""
READ_BY_PROGRAMS = (".csv", ".json", ".xlsx")
"""Tables and files are the same for everybody: what one exports another imports."""


class LanguageMiddleware:
    """Stands behind the authentication, because the choice of a person is kept with the person."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with translation.override(language_of(request)):
            response = self.get_response(request)
            response.headers.setdefault("Content-Language", translation.get_language() or FIXED)
        patch_vary_headers(response, ("Accept-Language",))
        return response


def language_of(request: HttpRequest) -> str:
    """The language of the answer to a request."""
    if request.path.startswith("/api/") or request.path.endswith(READ_BY_PROGRAMS):
        return FIXED
    user = request.user
    return (isinstance(user, User) and user.language) or translation.get_language_from_request(request)


def in_language_of(person: User) -> AbstractContextManager[None]:
    """For what is written to a person without a request: the chosen language, else that of the instance."""
    return translation.override(person.language or settings.LANGUAGE_CODE)


def in_language_of_the_house() -> AbstractContextManager[None]:
    """For sheets and other papers that many people read: the language of the instance."""
    return translation.override(settings.LANGUAGE_CODE)


def in_fixed_language() -> AbstractContextManager[None]:
    """For what is stored or read by programs."""
    return translation.override(FIXED)
