"""Requests to the API as programs send them."""

from __future__ import annotations

import json
from typing import Any

from django.test import Client

BASE = "/api/v1/"


def send(client: Any, address: str, body: Any, method: str = "post", **headers: str) -> Any:
    """A request with a JSON body."""
    text = body if isinstance(body, str | bytes) else json.dumps(body)
    return getattr(client, method)(address, text, content_type="application/json", headers=headers)


def check_refusal(response: Any, status: int, code: str = "") -> dict[str, Any]:
    """Every refusal has the same shape; this one has that status."""
    assert response.status_code == status, response.content[:500]
    assert response["Content-Type"] == "application/json"
    body = response.json()
    assert set(body) - {"conflict"} == {"code", "message", "errors"}
    assert isinstance(body["code"], str) and isinstance(body["message"], str) and body["message"]
    assert all(isinstance(found, list) for found in body["errors"].values())
    if code:
        assert body["code"] == code
    return body


def token_client(person: Any, scope: str = "write", site: Any = None, **typed: str) -> Client:
    """A program with a token of a person."""
    from registry.services.tokens import make_token

    asked = {"name": "nightly", "scope": scope, "days": "30", "site": site.code if site else ""} | typed
    return Client(headers={"Authorization": f"Bearer {make_token(person, asked)[1]}"})
