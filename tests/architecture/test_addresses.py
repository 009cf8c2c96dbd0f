"""Nobody gets anything without logging in, and looking changes nothing: every address of the site is walked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils.regex_helper import normalize

# What anybody may open, by route, and why.
OPEN = {
    "login/": "the way in",
    "login/inactive/": "says that an account is deactivated, to whoever knew its password",
    "login/passkey/": "the way in with a passkey",
    "login/second/": "the second step of the way in; without a first one it leads to the log-in",
    "logout/": "ends a session; without one it leads to the log-in",
    "s/%(short_id)s/": "the state of an issued sheet, where its site allows that (tests/reports/test_live.py)",
}
SAMPLES = {"int": "1", "str": "x", "slug": "x", "path": "x", "uuid": "01234567-89ab-4def-8123-456789abcdef"}


@cache
def addresses() -> tuple[tuple[str, dict[str, str]], ...]:
    """Every address of the site as a template with its parameters: ("loops/%(pk)s/", {"pk": "1"})."""
    return tuple(walk(get_resolver().url_patterns, "", {}))


def walk(
    patterns: list[URLPattern | URLResolver], prefix: str, parameters: dict[str, str]
) -> Iterator[tuple[str, dict[str, str]]]:
    for entry in patterns:
        route, found = spell(entry)
        if isinstance(entry, URLResolver):
            yield from walk(entry.url_patterns, prefix + route, parameters | found)
        else:
            yield prefix + route, parameters | found


def spell(entry: URLPattern | URLResolver) -> tuple[str, dict[str, str]]:
    """The piece of an address that a pattern stands for, with samples for its parameters."""
    pattern = entry.pattern
    samples = {
        name: SAMPLES.get(type(converter).__name__.removesuffix("Converter").lower().replace("string", "str"), "1")
        for name, converter in pattern.converters.items()
    }
    text, names = normalize(pattern.regex.pattern.removesuffix(r"\Z"))[0]
    return text, {name: samples.get(name, "1") for name in names}


def test_the_walk_finds_the_addresses() -> None:
    routes = [route for route, _ in addresses()]
    assert {"", "login/", "loops/", "loops/%(pk)s/", "api/v1/schema/"} <= set(routes)
    assert len(routes) > 20


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete"])
def test_nobody_gets_in_without_logging_in(method: str) -> None:
    client = Client(raise_request_exception=False)
    found = {}
    for route, parameters in addresses():
        if route in OPEN:
            continue
        answer = getattr(client, method)("/" + route % parameters)
        if answer.status_code in (401, 403):
            continue
        if answer.status_code == 302 and answer.headers["Location"].startswith("/login/?next="):
            continue
        found[route] = answer.status_code
    assert not found


def test_what_is_open_exists() -> None:
    assert set(OPEN) <= {route for route, _ in addresses()}


@pytest.mark.parametrize("role", ["administrator", "designer", "approver", "superuser"])
def test_looking_at_an_address_changes_nothing(role: str, loop: Any, client_as: Callable[[str], Any]) -> None:
    """A GET of each address, with the keys of records that are there, writes to no table but that of the sessions."""
    client = client_as(role)
    client.raise_request_exception = False
    from registry.models import Certificate

    keys = {
        "pk": loop.pk,
        "kind": "equipment",
        "number": 1,
        "certificate": Certificate.objects.values_list("pk", flat=True)[0],
    }
    sessions = settings.SESSION_ENGINE and "django_session"
    reached = 0
    found = {}
    for route, parameters in addresses():
        values = {name: keys.get(name, sample) for name, sample in parameters.items()}
        with CaptureQueriesContext(connection) as queries:
            answer = client.get("/" + route % values)
        reached += answer.status_code == 200
        written = [
            query["sql"]
            for query in queries.captured_queries
            if query["sql"].lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE", "REPLACE"))
            and sessions not in query["sql"]
        ]
        if written or answer.status_code >= 500:
            found[route] = (answer.status_code, written[:1])
    assert not found
    assert reached > 5
