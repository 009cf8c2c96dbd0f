"""Secrets of second factors are stored sealed; a change of the key locks nobody out, and a secret that cannot be read
lets nobody in."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import hmac
import importlib
import io
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from cryptography.fernet import Fernet
from django.apps import apps
from django.core.management import call_command
from django.test import Client

from registry.sealing import PURPOSE, Unreadable, is_fresh, seal, unseal
from registry.services.due import run_due
from tests.registry.login.authenticator import Passkey
from tests.registry.login.ways import add_passkey, log_in, set_up_app

NEW_KEY = "another-key-of-this-site-with-enough-characters-0123456789"
migration = importlib.import_module("registry.migrations.0023_sealed_factors")


def by_hand(secret_key: str) -> Fernet:
    """RFC 5869, sections 2.2 and 2.3, one block of SHA-256, no salt (a block of zeros)."""
    pseudorandom = hmac.new(bytes(32), secret_key.encode(), hashlib.sha256).digest()
    return Fernet(base64.urlsafe_b64encode(hmac.new(pseudorandom, PURPOSE + b"\x01", hashlib.sha256).digest()))


def change_key(settings: Any, *, keep: bool) -> None:
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY] if keep else []
    settings.SECRET_KEY = NEW_KEY


def test_a_seal_is_fernet_under_a_key_of_hkdf(settings: Any) -> None:
    assert by_hand(settings.SECRET_KEY).decrypt(seal("JBSWY3DP").encode()) == b"JBSWY3DP"
    assert unseal(by_hand(settings.SECRET_KEY).encrypt(b"JBSWY3DP").decode()) == "JBSWY3DP"


def test_two_seals_of_one_text_differ() -> None:
    assert seal("JBSWY3DP") != seal("JBSWY3DP")


@pytest.mark.parametrize("stored", ["", "JBSWY3DPEHPK3PXP", "gAAAAA", "Ü", "0" * 200])
def test_what_was_never_sealed_is_no_secret(stored: str) -> None:
    with pytest.raises(Unreadable):
        unseal(stored)


def test_neither_is_what_was_altered_or_is_empty() -> None:
    sealed = seal("JBSWY3DP")
    for place in range(len(sealed.rstrip("="))):
        other = "A" if sealed[place] != "A" else "B"
        altered = sealed[:place] + other + sealed[place + 1 :]
        if base64.urlsafe_b64decode(altered) != base64.urlsafe_b64decode(sealed):
            with pytest.raises(Unreadable):
                unseal(altered)
    with pytest.raises(Unreadable):
        unseal(seal(""))


@pytest.mark.django_db
class TestOfPeople:
    def test_neither_secret_nor_codes_are_in_the_database(self, people: Any) -> None:
        client = Client()
        log_in(client, "designer")
        app = set_up_app(client)
        codes = client.get("/account/codes/").context["unused_codes"]
        stored = str(list(Authenticator.objects.values_list("data", flat=True)))
        assert len(codes) == 10
        assert not [text for text in (app.secret, *codes) if text in stored]
        (factor,) = Authenticator.objects.filter(type=Authenticator.Type.TOTP)
        assert unseal(factor.data["secret"]) == app.secret

    def test_a_changed_key_locks_nobody_out_while_the_former_is_given(self, people: Any, settings: Any) -> None:
        first = Client()
        log_in(first, "designer")
        app = set_up_app(first)
        change_key(settings, keep=True)
        client = Client()
        log_in(client, "designer")
        assert client.post("/login/second/", {"code": app.now()}).status_code == 302
        assert client.get("/loops/").status_code == 200

    def test_after_run_due_the_former_key_is_not_needed(self, people: Any, settings: Any) -> None:
        first = Client()
        log_in(first, "designer")
        app = set_up_app(first)
        change_key(settings, keep=True)
        assert "Second factors: 2 sealed under the present key." in run_due(dt.date(2026, 1, 5))
        assert "Second factors: 0 sealed under the present key." in run_due(dt.date(2026, 1, 5))
        settings.SECRET_KEY_FALLBACKS = []
        client = Client()
        log_in(client, "designer")
        assert client.post("/login/second/", {"code": app.now()}).status_code == 302

    def test_without_the_former_key_no_code_fits_until_the_factors_are_reset(self, people: Any, settings: Any) -> None:
        first = Client()
        log_in(first, "designer")
        app = set_up_app(first)
        (code, *_) = first.get("/account/codes/").context["unused_codes"]
        change_key(settings, keep=False)
        for typed in (app.now(), code, "000000", ""):
            client = Client()
            log_in(client, "designer")
            answer = client.post("/login/second/", {"code": typed})
            assert answer.status_code == (409 if typed else 200)
            assert client.get("/loops/").status_code == 302
        assert "reset_mfa" in client.post("/login/second/", {"code": app.now()}).content.decode()
        told = [line for line in run_due(dt.date(2026, 1, 5)) if line.startswith("Second factors")]
        assert "2 cannot be read" in told[0] and "SECRET_KEY_FALLBACKS" in told[0]
        call_command("reset_mfa", "designer", stdout=io.StringIO())
        client = Client()
        log_in(client, "designer")
        assert client.get("/loops/").status_code == 200

    def test_a_passkey_goes_on_and_the_account_page_tells_of_the_codes(self, people: Any, settings: Any) -> None:
        client = Client()
        log_in(client, "designer")
        add_passkey(client, Passkey())
        Authenticator.objects.filter(type=Authenticator.Type.RECOVERY_CODES).update(
            data={"seed": Fernet(Fernet.generate_key()).encrypt(b"00").decode(), "used_mask": 0}
        )
        page = client.get("/account/")
        assert page.status_code == 200
        assert "cannot be read any more" in page.content.decode()
        assert client.get("/account/codes/").status_code == 409

    def test_rows_in_clear_are_sealed_by_the_migration_and_back(self, people: Any) -> None:
        rows = {
            "totp": {"secret": "JBSWY3DPEHPK3PXP"},
            "recovery_codes": {"seed": "00ff", "used_mask": 5, "migrated_codes": ["11112222"]},
            "webauthn": {"name": "Blue key"},
        }
        for kind, data in rows.items():
            Authenticator.objects.create(user=people["designer"], type=kind, data=data)
        migration.seal_all(apps, None)
        stored = dict(Authenticator.objects.values_list("type", "data"))
        assert is_fresh(stored["totp"]["secret"]) and unseal(stored["totp"]["secret"]) == "JBSWY3DPEHPK3PXP"
        assert unseal(stored["recovery_codes"]["seed"]) == "00ff"
        assert [unseal(code) for code in stored["recovery_codes"]["migrated_codes"]] == ["11112222"]
        assert stored["recovery_codes"]["used_mask"] == 5 and stored["webauthn"] == rows["webauthn"]
        migration.unseal_all(apps, None)
        assert dict(Authenticator.objects.values_list("type", "data")) == rows
