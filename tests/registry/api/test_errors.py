"""Every refusal has one shape, whatever refused."""

from __future__ import annotations

from typing import Any
from unittest import mock

import pytest
from django.test import Client

from tests.registry.api.asking import BASE, check_refusal, send

pytestmark = pytest.mark.django_db
EQUIPMENT = f"{BASE}equipment/"


def test_nothing_there(api: Any, db: None) -> None:
    for client in (api, Client()):
        check_refusal(client.get(f"{BASE}nowhere/"), 404, "not_found")
        check_refusal(client.post("/api/v2/loops/", {}), 404, "not_found")
    assert b"<html" in Client().get("/nowhere/").content


def test_methods_media_types_and_bodies(api: Any) -> None:
    check_refusal(api.delete(EQUIPMENT), 405, "method_not_allowed")
    check_refusal(api.patch(EQUIPMENT), 405)
    check_refusal(api.get(EQUIPMENT, headers={"Accept": "text/html"}), 406, "not_acceptable")
    check_refusal(api.get(f"{EQUIPMENT}?format=xml"), 404)
    check_refusal(api.post(EQUIPMENT, {"maker": "x"}), 415, "unsupported_media_type")
    check_refusal(send(api, EQUIPMENT, "{"), 400, "parse_error")
    check_refusal(send(api, EQUIPMENT, '{"maker": "a", "maker": "b"}'), 400, "parse_error")
    check_refusal(send(api, EQUIPMENT, "[]"), 400, "parse_error")
    check_refusal(send(api, EQUIPMENT, '{"maker": "' + "x" * 1_000_001 + '"}'), 413, "too_large")
    check_refusal(send(api, f"{EQUIPMENT}?x=1", {}), 400, "invalid")


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_what_is_sent_without_the_slash_is_not_led_on_as_a_look(method: str, api: Any) -> None:
    """RFC 9110, 15.4.2: whoever follows a 301 may send the POST on as a GET, and then gets a list that looks like
    success."""
    body = check_refusal(send(api, f"{EQUIPMENT[:-1]}", {}, method=method), 404, "not_found")
    assert f"{EQUIPMENT}" in body["message"]
    assert EQUIPMENT not in check_refusal(send(api, f"{BASE}nowhere", {}, method=method), 404)["message"]
    assert api.get(EQUIPMENT[:-1]).headers["Location"] == EQUIPMENT


def test_refusals_of_the_framework_name_a_cure(api: Any) -> None:
    def message(answer: Any) -> str:
        return str(answer.json()["message"])

    assert "GET or POST" in message(api.delete(EQUIPMENT))
    assert "Content-Type: application/json" in message(api.post(EQUIPMENT, {"maker": "x"}))
    assert "application/json" in message(api.get(EQUIPMENT, headers={"Accept": "text/html"}))
    assert "leave “format” out" in message(api.get(f"{EQUIPMENT}?format=xml"))
    assert "Authorization: Bearer" in message(Client().get(EQUIPMENT))
    assert "byte order mark" in message(send(api, EQUIPMENT, b"\xef\xbb\xbf{}"))
    assert "saved" not in message(api.get(f"{EQUIPMENT}?limit=0"))


def test_a_list_may_be_as_large_as_is_said(api: Any) -> None:
    """More than what Django takes of a form, up to the limit of lists; one byte more is refused as too large."""
    from registry.api.bulk import MAX_BODY_BYTES

    start, end = b'{"records": "', b'"}'
    room = MAX_BODY_BYTES - len(start) - len(end)
    bulk = f"{EQUIPMENT}bulk/"
    body = check_refusal(send(api, bulk, start + b"x" * room + end), 400, "invalid")
    assert body["errors"] == {"records": ["Give a list here."]}
    check_refusal(send(api, bulk, start + b"x" * (room + 1) + end), 413, "too_large")


def test_too_many_attempts(client_as: Any, people: Any) -> None:
    import base64

    header = {"Authorization": "Basic " + base64.b64encode(b"reader:wrong").decode()}
    answers = [Client(headers=header).get(EQUIPMENT) for _ in range(7)]
    check_refusal(answers[0], 401)
    check_refusal(answers[-1], 429, "throttled")


def test_what_nobody_foresaw(people: Any) -> None:
    from tests.registry.api.asking import token_client

    program = token_client(people["designer"])
    program.raise_request_exception = False
    with mock.patch("registry.api.records.whole", side_effect=RuntimeError("secret words")):
        answer = program.get(f"{BASE}schemes/")
    check_refusal(answer, 500, "server_error")
    assert b"secret words" not in answer.content
