"""Steps of the way in that several tests take, as a person takes them in the browser."""

from __future__ import annotations

from typing import Any

import pyotp
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
