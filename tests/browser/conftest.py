"""A browser for the tests of this folder: Chromium, headless, which may go nowhere but to the server of the test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


class Browsing:
    """A browser at one server. `errors` gathers what it complains about and every request that went elsewhere."""

    def __init__(self, browser: Any, address: str) -> None:
        self.browser, self.address = browser, address
        self.errors: list[str] = []
        self.expected: tuple[str, ...] = ()

    def context(self, session: str = "", **options: Any) -> Any:
        """A browser context, logged in where the key of a session is given."""
        from django.conf import settings

        # Without motion: a colour on its way to another is no colour to judge.
        found = self.browser.new_context(base_url=self.address, reduced_motion="reduce", **options)
        if session:
            found.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": self.address}])
        return found

    def page(self, session: str = "", **options: Any) -> Any:
        """A new page in a context of its own."""
        return self.watch(self.context(session, **options).new_page())

    def watch(self, page: Any) -> Any:
        """Note what the page complains about, and whatever it asks of another host."""
        here = urlsplit(self.address).netloc
        page.on("console", lambda message: self.complain(page, message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self.complain(page, str(error)))
        page.on(
            "request",
            lambda request: (
                self.complain(page, f"asked {request.url}")
                if urlsplit(request.url).scheme in {"http", "https", "ws", "wss"}
                and urlsplit(request.url).netloc != here
                else None
            ),
        )
        return page

    def complain(self, page: Any, text: str) -> None:
        if not any(part in text for part in self.expected):
            self.errors.append(f"{urlsplit(page.url).path}: {text}")


def program() -> str:
    """The browser of this machine; without one the test is skipped."""
    found = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if found is None:
        pytest.skip("no Chromium here")
    return found


@pytest.fixture
def browsing(live_server: Any, people: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Browsing]:
    """A browser at the live server; what its console complains about fails the test.

    It closes before the server ends, which then has no connection of its own to the database left open.
    """
    executable = program()
    from django.db import connections
    from playwright.sync_api import sync_playwright

    # The browser's own loop runs in this thread; the database is used from it nevertheless, by one at a time.
    monkeypatch.setitem(os.environ, "DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=executable, args=ARGUMENTS)
        found = Browsing(browser, live_server.url)
        yield found
        # While the browser's loop runs, this thread has a connection of its own to the database.
        connections.close_all()
        browser.close()
    assert not found.errors, "\n".join(found.errors)


@pytest.fixture
def session_of(people: Any) -> Callable[[str], str]:
    """`session_of("designer")`: the key of a session in which that person is logged in; ask before the browser is."""
    from django.conf import settings
    from django.test import Client

    def session(role: str) -> str:
        client = Client()
        client.force_login(people[role])
        return client.cookies[settings.SESSION_COOKIE_NAME].value

    return session
