"""Issued sheets through the API: the bytes by their digest, exactly as they were stored."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest

from loops.services import approvals
from reports.models import Sheet
from reports.services import issue
from tests.registry.api.asking import BASE, check_refusal, token_client

pytestmark = pytest.mark.django_db


def test_a_sheet_is_read_by_its_digest(loop: Any, people: Any, password: str) -> None:
    approvals.submit(loop.pk, people["designer"])
    sheet = issue(loop.pk, people["approver"], password, None)
    api = token_client(people["reader"], "read")
    listed = api.get(f"{BASE}sheets/?loop={loop.pk}").json()["results"]
    assert [(row["number"], row["letter"], row["sha256"]) for row in listed] == [(sheet.number, "A", sheet.sha256)]
    assert api.get(f"{BASE}sheets/{sheet.pk}/").json() == listed[0]
    answer = api.get(f"{BASE}sheets/by-digest/{sheet.sha256}/", headers={"Accept": "application/pdf"})
    assert answer["Content-Type"] == "application/pdf" and answer.content.startswith(b"%PDF-")
    assert hashlib.sha256(answer.content).hexdigest() == sheet.sha256 and answer["ETag"] == f'"{sheet.sha256}"'
    for mark in ("0" * 64, "x", sheet.sha256.upper()):
        check_refusal(api.get(f"{BASE}sheets/by-digest/{mark}/"), 404)
    neighbour = token_client(people["neighbour"])
    check_refusal(neighbour.get(f"{BASE}sheets/by-digest/{sheet.sha256}/"), 404)
    check_refusal(neighbour.get(f"{BASE}sheets/{sheet.pk}/"), 404)
    assert neighbour.get(f"{BASE}sheets/").json()["results"] == []


def test_damaged_bytes_are_given_to_nobody(loop: Any, people: Any) -> None:
    from tests.loops.test_api_proofs import sign

    sign(loop, people, True)
    sheet = Sheet.objects.get()
    refused = token_client(people["reader"]).get(f"{BASE}sheets/by-digest/{sheet.sha256}/")
    check_refusal(refused, 500, "damaged")
