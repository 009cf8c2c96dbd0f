"""Headers, cookies, hosts and sessions, as a browser and as a stranger meet them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db
HTTPS = {"secure": True}
PAGES = ("/", "/loops/", "/equipment/", "/certificates/", "/works/", "/import/", "/nowhere/")


@pytest.fixture
def production(settings: Any) -> None:
    """What deploy/env.py makes of UNLIT_MODE=production."""
    settings.SECURE_SSL_REDIRECT = True
    settings.SECURE_HSTS_SECONDS = 31_536_000
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
    settings.ALLOWED_HOSTS = ["unlit.example.org"]
    settings.CSRF_TRUSTED_ORIGINS = ["https://unlit.example.org"]


def at(host: str = "unlit.example.org") -> dict[str, Any]:
    return {"secure": True, "headers": {"host": host}}


@pytest.mark.parametrize("path", PAGES)
def test_every_page_forbids_what_it_does_not_need(path: str, client_as: Callable[..., Any]) -> None:
    headers = client_as("designer").get(path).headers
    policy = {part.split()[0]: part.split()[1:] for part in headers["Content-Security-Policy"].split(";") if part}
    assert policy["default-src"] == ["'self'"]
    assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == ["'none'"]
    assert policy["form-action"] == ["'self'"]
    assert not {"'unsafe-inline'", "'unsafe-eval'", "*", "http:", "https:"} & {
        x for part in policy.values() for x in part
    }
    assert "script-src" not in policy
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
    assert "Access-Control-Allow-Origin" not in headers
    assert "X-Powered-By" not in headers


def test_the_api_answers_other_origins_without_leave(client_as: Callable[..., Any]) -> None:
    answer = client_as("designer").get("/api/v1/loops/", headers={"origin": "https://other.example.org"})
    assert not [name for name in answer.headers if name.startswith("Access-Control-")]


def test_without_tls_one_is_sent_to_tls_and_told_to_stay(production: None) -> None:
    plain = Client().get("/login/?next=/", headers={"host": "unlit.example.org"})
    assert (plain.status_code, plain.headers["Location"]) == (301, "https://unlit.example.org/login/?next=/")
    assert not plain.cookies
    safe = Client().get("/login/", **at())
    assert "max-age=31536000" in safe.headers["Strict-Transport-Security"]


@pytest.mark.parametrize(
    "host", ["other.example.org", "unlit.example.org.other.org", "127.0.0.1", "", "a@b", "x" * 300]
)
def test_another_host_gets_nothing(production: None, host: str) -> None:
    answer = Client(raise_request_exception=False).get("/login/", **at(host))
    assert answer.status_code == 400
    assert host not in answer.content.decode() or not host


def test_a_forwarded_host_counts_for_nothing(production: None) -> None:
    sent = {"host": "unlit.example.org", "x-forwarded-host": "other.example.org", "forwarded": "host=other.example.org"}
    answer = Client().get("/loops/", secure=True, headers=sent)
    assert answer.status_code == 302
    assert "other.example.org" not in answer.headers["Location"]


def test_cookies_are_kept_from_scripts_other_sites_and_plain_http(production: None, people: Any) -> None:
    client = Client()
    client.get("/login/", **at())
    answer = client.post("/login/", {"login": "reader", "password": PASSWORD}, **at())
    assert answer.status_code == 302
    session, token = answer.cookies[settings.SESSION_COOKIE_NAME], client.cookies[settings.CSRF_COOKIE_NAME]
    assert session["secure"]
    assert session["httponly"]
    assert session["samesite"] == "Lax"
    assert not session["domain"]
    assert token["secure"]
    assert token["samesite"] == "Lax"


def test_a_log_in_begins_a_new_session(people: Any) -> None:
    """Whoever gave somebody a session before they logged in does not have it afterwards."""
    client = Client()
    session = client.session
    session["planted"] = "yes"
    session.save()
    before = session.session_key
    assert client.post("/login/", {"login": "reader", "password": PASSWORD}).status_code == 302
    assert client.session.session_key != before
    assert not Session.objects.filter(session_key=before).exists()


def test_a_log_out_ends_the_session_at_the_server(people: Any) -> None:
    client = Client()
    client.post("/login/", {"login": "reader", "password": PASSWORD})
    key = client.session.session_key
    thief = Client()
    thief.cookies[settings.SESSION_COOKIE_NAME] = key
    assert thief.get("/loops/").status_code == 200
    client.post("/logout/")
    assert thief.get("/loops/").status_code == 302
    assert not Session.objects.filter(session_key=key).exists()


def test_a_session_whose_time_is_over_is_none(people: Any) -> None:
    client = Client()
    client.force_login(people["designer"])
    assert client.get("/loops/").status_code == 200
    Session.objects.filter(session_key=client.session.session_key).update(expire_date=timezone.now())
    assert client.get("/loops/").status_code == 302


def test_a_session_that_was_made_up_is_none(people: Any) -> None:
    for key in ("x" * 32, "../../etc/passwd", "", "a" * 5_000):
        client = Client()
        client.cookies[settings.SESSION_COOKIE_NAME] = key
        assert client.get("/loops/").status_code == 302


def test_a_form_of_another_site_changes_nothing(people: Any, source: Any) -> None:
    from registry.models import Revision

    client = Client(enforce_csrf_checks=True)
    client.force_login(people["keeper"])
    before = Revision.objects.count()
    for headers in ({}, {"origin": "https://other.example.org"}):
        answer = client.post(reverse("equipment_archive", args=[source.pk]), {"reason": "no"}, headers=headers)
        assert answer.status_code == 403
    assert Revision.objects.count() == before


@pytest.mark.parametrize("method", ["trace", "options", "connect"])
def test_odd_methods_change_and_tell_nothing(method: str, client_as: Callable[..., Any]) -> None:
    client = client_as("designer")
    answer = client.generic(method.upper(), "/loops/", headers={"cookie-echo": "secret"})
    assert answer.status_code in {200, 405}
    assert "secret" not in answer.content.decode()


@pytest.mark.parametrize(
    "page", ["https://other.example.org/", "//other.example.org", "javascript:alert(1)", "/\\other"]
)
def test_the_log_in_leads_nowhere_else(page: str, people: Any) -> None:
    answer = Client().post("/login/", {"login": "reader", "password": PASSWORD, "next": page})
    assert answer.status_code == 302
    assert answer.headers["Location"] == "/"


def test_passwords_are_kept_as_digests_that_take_long() -> None:
    """Of the settings of a site: the tests have a quick one."""
    from django.contrib.auth.hashers import Argon2PasswordHasher

    from deploy import settings as site

    assert site.PASSWORD_HASHERS[0] == "django.contrib.auth.hashers.Argon2PasswordHasher"
    encoded = Argon2PasswordHasher().encode(PASSWORD, "0123456789abcdef")
    assert encoded.startswith("argon2$argon2id$")
    assert PASSWORD not in encoded


@pytest.mark.parametrize("password", ["password", "12345678", "qwertyuiop", "reader", "short"])
def test_a_password_that_is_known_or_short_is_refused(password: str, people: Any) -> None:
    from django.contrib.auth.password_validation import validate_password
    from django.core.exceptions import ValidationError

    with pytest.raises(ValidationError):
        validate_password(password, people["reader"])


@pytest.mark.parametrize("password", ["lantern copper slowly", "83150272946108", "ÄÖÜÄÖÜßßäöü"])
def test_a_password_of_plain_words_is_taken(password: str, people: Any) -> None:
    """Neither capitals nor digits nor signs are asked for."""
    from django.contrib.auth.password_validation import validate_password

    validate_password(password, people["reader"])


def test_a_page_of_a_person_is_kept_by_nobody_on_the_way(client_as: Callable[..., Any]) -> None:
    """Shared caches must not keep what one person saw, nor browsers show it again without asking (RFC 9111, 5.2.2)."""
    client = client_as("designer")
    for path in PAGES:
        kept = client.get(path).headers["Cache-Control"].split(", ")
        assert "private" in kept and "no-cache" in kept, path


def test_tables_and_answers_of_the_api_are_not_kept_by_browsers(client_as: Callable[..., Any]) -> None:
    client = client_as("designer")
    for path in ("/loops/seen.csv", "/loops/seen.xlsx", "/api/v1/loops/", "/api/v1/nowhere/", "/api/v1/changes/"):
        kept = client.get(path).headers["Cache-Control"].split(", ")
        assert "private" in kept and "no-store" in kept, path


def test_a_fault_tells_a_stranger_nothing(client_as: Callable[..., Any]) -> None:
    from unittest import mock

    client = client_as("designer")
    client.raise_request_exception = False
    with mock.patch("loops.views.home.render", side_effect=RuntimeError("password=hunter2 at /srv/unlit")):
        page = client.get("/").content.decode()
    assert "hunter2" not in page
    assert "Traceback" not in page
    assert not settings.DEBUG
