"""What every page reads of a request."""

from __future__ import annotations

from typing import cast

from django.http import HttpRequest
from rest_framework.request import Request

from registry.models import User
from registry.plain import harmless

NO_VERSION = -1


def person(request: HttpRequest | Request) -> User:
    """Who asks; every page is behind the login."""
    return cast(User, request.user)


def opened_version(request: HttpRequest) -> int:
    """The version of the record that the page showed; one that never was where the form does not say."""
    text = request.POST.get("_version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else NO_VERSION


def typed(request: HttpRequest, name: str, longest: int) -> str:
    """A text of a form, not longer than it is kept, with a visible sign for each hidden character."""
    return harmless(str(request.POST.get(name, ""))).strip()[:longest]
