"""A real browser before a real server."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Any

import pytest

from tests.conftest import PASSWORD

Pages = Callable[[], AbstractContextManager[Any]]


@pytest.fixture
def browser(live_server: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Pages]:
    """`with browser() as page`: a page of a browser of one person, with cookies of its own; what its console complains
    about fails the test.

    It closes before the server ends, which then has no connection of its own to the database left open.
    """
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        pytest.skip("no Chromium here")
    from django.db import connections
    from playwright.sync_api import sync_playwright

    # The browser's own loop runs in this thread; the database is used from it nevertheless, by one at a time.
    monkeypatch.setitem(os.environ, "DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    complaints: list[str] = []

    def heard(message: Any) -> None:
        # A browser also complains about a page that comes as a refusal and about a connection that a test broke.
        asked_for = ("status of 409", "status of 503", "net::ERR_FAILED")
        if message.type == "error" and not any(part in message.text for part in asked_for):
            complaints.append(message.text)

    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=program, args=["--no-sandbox"])

        @contextmanager
        def opened() -> Iterator[Any]:
            context = started.new_context()
            page = context.new_page()
            page.on("console", heard)
            yield page
            context.close()

        yield opened
        # While the browser's loop runs, this thread has a connection of its own to the database.
        connections.close_all()
        started.close()
    assert not complaints


def log_in(page: Any, address: str, name: str) -> None:
    """Log in as one of the people of the tests."""
    page.goto(f"{address}/login/")
    page.get_by_label("User name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in", exact=True).click()
