"""Lines of the log: one an event, JSON for programs, each with the mark of its request; nothing forges one."""

from __future__ import annotations

import io
import json
import logging
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django_guid import clear_guid, set_guid

from deploy.operations.logs import Json, Lines, RequestMark, visible

FORGERY = 'x\r\n2026-01-01T00:00:00.000+00:00 ERROR django [-] forged \x1b[2J\u2028\u202e "}\n{"level": "ERROR"'
MARK = "0123456789abcdef0123456789abcdef"


@pytest.fixture(params=[Json, Lines], ids=["json", "text"])
def log(request: pytest.FixtureRequest) -> Iterator[tuple[logging.Logger, io.StringIO]]:
    """A logger with the handler that sites have, and what it wrote."""
    target = io.StringIO()
    handler = logging.StreamHandler(target)
    handler.setFormatter(request.param())
    handler.addFilter(RequestMark())
    logger = logging.getLogger(f"tests.{request.param.__name__}")
    logger.propagate = False
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield logger, target
    logger.removeHandler(handler)
    clear_guid()


@pytest.mark.parametrize("where", ["message", "argument", "exception", "extra"])
def test_nothing_that_is_sent_makes_a_line_of_its_own(log: Any, where: str) -> None:
    logger, target = log
    set_guid(MARK)
    if where == "message":
        logger.warning(FORGERY)
    elif where == "argument":
        logger.warning("log-in of %s failed", FORGERY)
    elif where == "extra":
        logger.warning("asked", extra={"path": FORGERY})
    else:
        try:
            raise ValueError(FORGERY)
        except ValueError:
            logger.exception("broken")
    text = target.getvalue()
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\u2028" not in text
    assert "\r" not in text
    lines = text.removesuffix("\n").split("\n")
    # A line of its own begins with a moment, or is an object: of either there is one.
    assert len([line for line in lines if not line.startswith("    | ")]) == 1
    assert MARK in lines[0]


def test_json_lines_are_objects_with_what_programs_ask_for() -> None:
    target = io.StringIO()
    handler = logging.StreamHandler(target)
    handler.setFormatter(Json())
    handler.addFilter(RequestMark())
    record = logging.LogRecord("one", logging.WARNING, "", 1, "said %s", ("Ω",), None)
    record.request = object()  # as Django hands it along; no program reads it
    handler.handle(record)
    line = target.getvalue()
    assert line.isascii()
    found = json.loads(line)
    assert found == {
        "level": "WARNING",
        "logger": "one",
        "message": "said Ω",
        "request_id": "-",
        "time": found["time"],
    }


@pytest.mark.django_db
@pytest.mark.parametrize(
    "sent, taken",
    [
        (MARK, True),
        (str(uuid.UUID(MARK)), True),
        ("", False),
        ("short", False),
        (FORGERY, False),
        ("0123456789abcdef0123456789abcde\u00e9", False),
        ("<script>alert(1)</script>", False),
        (MARK * 50, False),
    ],
)
def test_a_mark_of_a_request_is_taken_where_it_is_well_formed(sent: str, taken: bool) -> None:
    answer = Client().get("/login/", headers={"x-request-id": sent})
    mark = answer.headers["X-Request-ID"]
    assert (mark == sent) is taken
    assert uuid.UUID(mark)


@pytest.mark.django_db
def test_each_answer_has_a_line_without_what_was_sent(client_as: Any, caplog: pytest.LogCaptureFixture) -> None:
    client = client_as("reader")
    with caplog.at_level(logging.INFO, "unlit.requests"):
        client.post("/login/?next=/&token=hidden", {"login": "reader", "password": "Slow-copper-91-lantern"})
        client.get("/loops/999999/")
    told = [record for record in caplog.records if record.name == "unlit.requests"]
    assert [(record.method, record.path) for record in told] == [("POST", "/login/"), ("GET", "/loops/999999/")]
    assert told[1].status == 404
    assert told[0].took_ms >= 0
    assert "hidden" not in caplog.text
    assert "Slow-copper" not in caplog.text


def test_signs_that_move_the_cursor_become_visible() -> None:
    assert visible("a\r\nb\x1b[0m\u202ec Ω") == r"a\r\nb\x1b[0m\u202ec Ω"


def test_the_settings_of_a_site_use_them() -> None:
    from django.conf import settings

    handler = settings.LOGGING["handlers"]["console"]
    assert handler["filters"] == ["request"]
    assert handler["formatter"] in {"json", "text"}
    assert settings.LOGGING["root"]["handlers"] == ["console"]
    assert settings.LOGGING["loggers"]["django"]["handlers"] == []
