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
