"""A forgotten password is replaced by mail: by whoever reads the mail, once, and nobody learns who has an account."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.utils import timezone

from registry.login import adapters
from registry.models import Change, Revision, User
from tests.registry.login.ways import PASSWORD, log_in, set_up_app

pytestmark = pytest.mark.django_db
NEW = "Nine-violet-kettles-4"


@pytest.fixture(autouse=True)
def mailing(settings: Any, people: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.PASSWORD_RESET_BY_MAIL = True
    settings.SITE_URL = "https://unlit.example.org"
    monkeypatch.setattr(adapters, "in_background", lambda act: act())
    User.objects.filter(username="designer").update(email="designer@example.org")


def ask(address: str = "designer@example.org", client: Client | None = None, **extra: Any) -> Any:
    return (client or Client()).post("/login/reset/", {"email": address}, **extra)


def link() -> str:
    """The path that the last mail names."""
    (found,) = re.findall(r"https://unlit\.example\.org(/login/reset/\S+)", str(mail.outbox[-1].body))
    return str(found)


def set_password(client: Client, path: str, first: str = NEW, second: str = NEW) -> Any:
    """Follow a link and set a password, as the page does."""
    page = client.get(path, follow=True)
    if page.context.get("token_fail"):
        return page
    return client.post(page.context["action_url"], {"password1": first, "password2": second})


def test_the_whole_way(people: Any) -> None:
    elsewhere = Client()
    log_in(elsewhere, "designer")
    client = Client()
    assert "Forgot your password?" in client.get("/login/").content.decode()
    assert client.get("/login/reset/").status_code == 200
    assert ask(client=client).headers["Location"] == "/login/reset/sent/"
    assert client.get("/login/reset/sent/").status_code == 200
    (sent,) = mail.outbox
    assert sent.to == ["designer@example.org"] and sent.subject == "Unlit: a new password"
    assert "account designer." in str(sent.body)
    first = client.get(link())
    assert first.status_code == 302 and first.headers["Location"].endswith("-set-password/"), "no key in the address"
    answer = set_password(client, link())
    assert answer.headers["Location"] == "/login/reset/done/"
    assert "Your new password is set" in client.get("/login/reset/done/", follow=True).content.decode()
    assert client.get("/loops/").status_code == 302, "it logs nobody in"
    assert elsewhere.get("/loops/").status_code == 302, "sessions that were open have ended"
    assert log_in(Client(), "designer", PASSWORD).status_code == 200
    assert log_in(Client(), "designer", NEW).status_code == 302


def test_the_log_tells_of_it(people: Any) -> None:
    ask()
    set_password(Client(), link())
    revision = Revision.objects.filter(kind="person", record_id=people["designer"].pk).first()
    assert revision.reason == "Forgotten, reset by mail" and revision.snapshot["password_set"] is True
    assert NEW not in str(list(Change.objects.values()))
    assert Change.objects.order_by("-number").first().verb == "password"


def test_the_answer_is_the_same_whoever_has_the_address(people: Any) -> None:
    User.objects.filter(username="reader").update(email="gone@example.org", is_active=False)
    known, unknown, gone = (ask(f"{name}@example.org") for name in ("designer", "nobody", "gone"))
    assert known.status_code == unknown.status_code == gone.status_code == 302
    assert known.headers["Location"] == unknown.headers["Location"] == gone.headers["Location"]
    assert [mailed.to for mailed in mail.outbox] == [["designer@example.org"]]


def test_a_link_is_good_once(people: Any) -> None:
    ask()
    path = link()
    assert set_password(Client(), path).status_code == 302
    assert "not good any more" in set_password(Client(), path, "Other-72-kettles", "Other-72-kettles").content.decode()
    assert log_in(Client(), "designer", NEW).status_code == 302


def test_a_link_is_good_for_an_hour(people: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from allauth.account.forms import default_token_generator

    ask()
    now = timezone.localtime().replace(tzinfo=None)
    monkeypatch.setattr(type(default_token_generator), "_now", lambda self: now + dt.timedelta(minutes=59))
    assert not Client().get(link(), follow=True).context.get("token_fail")
    monkeypatch.setattr(type(default_token_generator), "_now", lambda self: now + dt.timedelta(minutes=61))
    assert Client().get(link(), follow=True).context["token_fail"]


@pytest.mark.parametrize("change", [{"is_active": False}, {"is_superuser": True}, {"password": "!"}])
def test_a_link_dies_with_the_right_to_it(change: dict[str, Any], people: Any) -> None:
    ask()
    User.objects.filter(username="designer").update(**change)
    before = User.objects.get(username="designer").password
    assert "not good any more" in set_password(Client(), link()).content.decode()
    assert User.objects.get(username="designer").password == before


@pytest.mark.parametrize("change", [{"is_superuser": True}, {"password": "!"}])
def test_who_may_not_is_mailed_nothing(change: dict[str, Any], people: Any) -> None:
    User.objects.filter(username="designer").update(**change)
    assert ask().status_code == 302
    assert mail.outbox == []


@pytest.mark.parametrize(
    "path",
    ["0-x", "zzzzzzzzzzzzz-x", "1-set-password", "1-d1b2c3-0123456789abcdef0123456789abcdef"],
)
def test_a_made_up_link_is_none(path: str, people: Any) -> None:
    page = Client().get(f"/login/reset/{path}/")
    assert page.status_code == 200 and page.context["token_fail"]


def test_a_weak_or_mistyped_password_is_refused_and_the_link_stays_good(people: Any) -> None:
    ask()
    client = Client()
    for first, second in (("short", "short"), (NEW, NEW + "x"), ("", ""), ("a1" * 200, "a1" * 200)):
        assert set_password(client, link(), first, second).status_code == 200
    assert set_password(client, link()).status_code == 302


def test_a_second_factor_is_asked_for_as_before(people: Any) -> None:
    first = Client()
    log_in(first, "designer")
    app = set_up_app(first)
    ask()
    set_password(Client(), link())
    client = Client()
    assert log_in(client, "designer", NEW).headers["Location"].startswith("/login/second/")
    assert client.get("/loops/").status_code == 302
    assert client.post("/login/second/", {"code": app.now()}).status_code == 302


def test_asking_is_limited_alike_for_known_and_unknown_addresses(people: Any) -> None:
    for name in ("designer", "nobody"):
        answers = [ask(f"{name}@example.org").status_code for _ in range(4)]
        assert answers == [302, 302, 302, 429]
    assert len(mail.outbox) == 3


def test_the_mail_names_this_site_whatever_the_request_says(people: Any, settings: Any) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    ask(HTTP_HOST="evil.example.net")
    assert "evil" not in str(mail.outbox[0].body) and link()


def test_a_mail_server_that_is_down_is_not_told_to_whoever_asks(people: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    acts: list[Any] = []
    monkeypatch.setattr(adapters, "in_background", acts.append)
    assert ask().status_code == 302
    assert mail.outbox == [] and len(acts) == 1


def test_without_a_mail_server_there_is_no_such_page(people: Any, settings: Any) -> None:
    settings.PASSWORD_RESET_BY_MAIL = False
    for path in ("", "sent/", "done/", "1-x/"):
        assert Client().get(f"/login/reset/{path}").status_code == 404
    assert ask().status_code == 404
    assert "Forgot" not in Client().get("/login/").content.decode()
