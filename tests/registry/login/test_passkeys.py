"""Passkeys as second factor and as the only thing one logs in with."""

from __future__ import annotations

from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.test import Client

from registry.models import Change, User
from tests.registry.login.authenticator import Passkey
from tests.registry.login.ways import add_passkey, log_in, plain, set_up_app, show_password

pytestmark = pytest.mark.django_db


def with_passkey(name: str, alone: bool = False, **kind: Any) -> tuple[Client, Passkey]:
    client, passkey = Client(), Passkey(**kind)
    log_in(client, name)
    add_passkey(client, passkey, alone)
    return client, passkey


def asked_at_second_step(client: Client) -> dict[str, Any]:
    return plain(client.get("/login/second/").context["js_data"]["request_options"])


def log_in_alone(client: Client, passkey: Passkey) -> Any:
    options = client.get("/login/passkey/", headers={"Accept": "application/json"}).json()["request_options"]
    return client.post("/login/passkey/", {"credential": passkey.get(options)})


def test_a_passkey_is_a_second_factor(people: Any) -> None:
    client, passkey = with_passkey("designer")
    assert "Blue key" in client.get("/account/").content.decode()
    assert Change.objects.filter(verb="factor", actor=people["designer"], detail={"what": "passkey added"}).exists()
    other = Client()
    assert log_in(other, "designer").headers["Location"] == "/login/second/"
    options = asked_at_second_step(other)
    wrong = Passkey()
    wrong.id = passkey.id
    assert other.post("/login/second/", {"credential": wrong.get(options)}).status_code == 200
    assert other.get("/loops/").status_code == 302
    answer = passkey.get(asked_at_second_step(other))
    assert other.post("/login/second/", {"credential": answer}).status_code == 302
    assert other.get("/loops/").status_code == 200
    third = Client()
    log_in(third, "designer")
    asked_at_second_step(third)
    assert third.post("/login/second/", {"credential": answer}).status_code == 200, "an answer serves once"


def test_a_passkey_of_a_device_that_verifies_logs_in_alone(people: Any) -> None:
    _, passkey = with_passkey("designer", alone=True)
    client = Client()
    assert log_in_alone(client, passkey).headers["Location"] == "/"
    assert client.get("/loops/").status_code == 200


def test_a_touch_alone_is_not_enough_to_log_in_with_nothing_else(people: Any) -> None:
    _, passkey = with_passkey("designer", alone=True)
    passkey.verifies = False
    client = Client()
    assert log_in_alone(client, passkey).headers["Location"] == "/login/"
    assert "does not fit" in client.get("/login/").content.decode()
    assert client.get("/loops/").status_code == 302


BROKEN = [
    "{}",
    "[]",
    "null",
    "x",
    "[" * 3000,
    "[" * 30_000,
    '{"id": 1, "response": []}',
    '{"response": {"userHandle": 5}}',
    '{"id": "AA", "rawId": "AA", "response": {"clientDataJSON": "AA", "attestationObject": "AA"}}',
    '{"id": "AA", "rawId": "AA", "response": {"clientDataJSON": "e30", "authenticatorData": "AA", "signature": "AA"}}',
]


@pytest.mark.parametrize("broken", BROKEN)
def test_an_answer_that_is_none_lets_nobody_in(broken: str, people: Any) -> None:
    client = Client()
    client.get("/login/passkey/", headers={"Accept": "application/json"})
    assert client.post("/login/passkey/", {"credential": broken}).status_code == 302
    with_passkey("designer")
    log_in(client, "designer")
    asked_at_second_step(client)
    assert client.post("/login/second/", {"credential": broken}).status_code == 200
    assert client.get("/loops/").status_code == 302


@pytest.mark.parametrize("broken", BROKEN)
def test_an_answer_that_is_none_makes_no_passkey(broken: str, people: Any) -> None:
    client = Client()
    log_in(client, "designer")
    show_password(client)
    client.get("/account/passkeys/add/")
    page = client.post("/account/passkeys/add/", {"name": "x", "credential": broken})
    assert page.status_code == 200
    assert not Authenticator.objects.exists()


def test_a_passkey_made_at_another_host_is_refused(people: Any) -> None:
    client, passkey = Client(), Passkey(host="elsewhere.example", origin="https://elsewhere.example")
    log_in(client, "designer")
    show_password(client)
    options = plain(client.get("/account/passkeys/add/").context["js_data"]["creation_options"])
    page = client.post("/account/passkeys/add/", {"name": "x", "credential": passkey.create(options)})
    assert page.status_code == 200
    assert "does not fit" in page.content.decode()
    assert not Authenticator.objects.exists()


def test_who_was_deactivated_is_out_with_a_passkey_too(people: Any) -> None:
    _, passkey = with_passkey("designer", alone=True)
    User.objects.filter(username="designer").update(is_active=False)
    client = Client()
    assert log_in_alone(client, passkey).headers["Location"] == "/login/inactive/"
    assert client.get("/loops/").status_code == 302


def test_a_passkey_is_renamed_and_removed_by_its_owner_alone(people: Any) -> None:
    client, _ = with_passkey("designer")
    row = Authenticator.objects.get(type="webauthn")
    other, _ = with_passkey("approver")
    for address in (f"/account/passkeys/{row.pk}/name/", f"/account/passkeys/{row.pk}/remove/"):
        assert other.get(address).status_code == 404
        assert other.post(address, {"name": "mine"}).status_code == 404
    assert client.post(f"/account/passkeys/{row.pk}/name/", {"name": "Red key"}).status_code == 302
    assert "Red key" in client.get("/account/").content.decode()
    assert client.post(f"/account/passkeys/{row.pk}/remove/").status_code == 302
    assert not Authenticator.objects.filter(user=people["designer"]).exists()


def test_with_an_app_and_a_passkey_either_will_do(people: Any) -> None:
    client, passkey = with_passkey("designer")
    set_up_app(client)
    other = Client()
    log_in(other, "designer")
    assert other.post("/login/second/", {"credential": passkey.get(asked_at_second_step(other))}).status_code == 302
