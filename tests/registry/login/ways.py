"""Steps of the way in that several tests take, as a person takes them in the browser."""

from __future__ import annotations

import json
from typing import Any

import pyotp
from django.core.serializers.json import DjangoJSONEncoder
from django.test import Client

PASSWORD = "Slow-copper-91-lantern"


def log_in(client: Client, name: str, password: str = PASSWORD, **extra: Any) -> Any:
    return client.post("/login/", {"login": name, "password": password}, **extra)


def show_password(client: Client, password: str = PASSWORD) -> Any:
    """The password once more, before a change of how one logs in."""
    return client.post("/account/again/", {"password": password, "next": "/account/"})


def set_up_app(client: Client) -> pyotp.TOTP:
    """Set up an authenticator app; pyotp plays the app from the secret that the page shows."""
    show_password(client)
    page = client.get("/account/app/")
    app = pyotp.TOTP(page.context["form"].secret)
    answer = client.post("/account/app/", {"code": app.now()})
    assert answer.status_code == 302, answer.content.decode()
    return app


def add_passkey(client: Client, passkey: Any, alone: bool = False) -> Any:
    """Add a passkey on the page for it, as its script does."""
    show_password(client)
    options = plain(client.get("/account/passkeys/add/").context["js_data"]["creation_options"])
    answer = client.post(
        "/account/passkeys/add/",
        {"name": "Blue key", "credential": passkey.create(options, alone)} | ({"passwordless": "on"} if alone else {}),
    )
    assert answer.status_code == 302, answer.content.decode()
    return answer


def plain(options: Any) -> dict[str, Any]:
    """Options as the page writes them for its script."""
    found: dict[str, Any] = json.loads(json.dumps(options, cls=DjangoJSONEncoder))
    return found
