"""The way in: password, authenticator app (codes made by pyotp, RFC 6238), recovery codes, sessions."""

from __future__ import annotations

import re
import time
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.test import Client

from registry.models import Change, User
from tests.registry.login.ways import PASSWORD, log_in, set_up_app, show_password

pytestmark = pytest.mark.django_db


def test_a_password_lets_in_and_leads_to_where_one_was_going(people: Any) -> None:
    client = Client()
    assert client.get("/loops/").headers["Location"] == "/login/?next=/loops/"
    answer = client.post("/login/", {"login": "designer", "password": PASSWORD, "next": "/loops/"})
    assert answer.headers["Location"] == "/loops/"
    assert client.get("/loops/").status_code == 200
    assert client.post("/logout/").headers["Location"] == "/login/"
    assert client.get("/loops/").status_code == 302


@pytest.mark.parametrize("away", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"])
def test_the_log_in_leads_to_no_other_place(away: str, people: Any) -> None:
    answer = Client().post("/login/", {"login": "designer", "password": PASSWORD, "next": away})
    assert answer.headers["Location"] == "/"


@pytest.mark.parametrize("name, password", [("designer", "wrong"), ("nobody", PASSWORD), ("", ""), ("x" * 999, "y")])
def test_a_wrong_pair_is_refused_without_saying_which_half(name: str, password: str, people: Any) -> None:
    answer = log_in(Client(), name, password)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "do not belong together" in text or "required" in text or "at most 150" in text
    assert password != "wrong" or "wrong" not in text


def test_nobody_signs_up(people: Any) -> None:
    for address in ("/signup/", "/login/signup/", "/account/signup/"):
        assert Client().post(address, {"username": "stranger"}).status_code in (302, 404)
    assert not User.objects.filter(username="stranger").exists()


def test_who_was_deactivated_is_told_so_only_with_the_right_password(people: Any) -> None:
    User.objects.filter(username="reader").update(is_active=False)
    right, wrong = log_in(Client(), "reader"), log_in(Client(), "reader", "wrong")
    assert right.headers["Location"] == "/login/inactive/"
    assert wrong.status_code == 200 and "do not belong together" in wrong.content.decode()
    client = Client()
    assert "deactivated" in client.get("/login/inactive/").content.decode()
    log_in(client, "reader")
    assert client.get("/loops/").status_code == 302


def test_an_app_is_set_up_asked_for_and_removed(people: Any, django_capture_on_commit_callbacks: Any) -> None:
    client = Client()
    log_in(client, "designer")
    assert client.get("/account/app/").headers["Location"].startswith("/account/again/")
    with django_capture_on_commit_callbacks(execute=True):
        app = set_up_app(client)
    noted = list(Change.objects.filter(verb="factor").order_by("number").values_list("actor_name", "detail"))
    assert ("The designer", {"what": "authenticator app set up"}) in noted

    other = Client()
    assert log_in(other, "designer").headers["Location"] == "/login/second/"
    assert other.get("/loops/").status_code == 302, "a password alone opens nothing now"
    assert "does not fit" in other.post("/login/second/", {"code": "000000"}).content.decode()
    assert other.get("/loops/").status_code == 302
    # A code that let in once lets in no second time (RFC 6238, 5.2): the code of setting up is used, the next is not.
    code = app.at(int(time.time()) + 30)
    assert other.post("/login/second/", {"code": code}).status_code == 302
    assert other.get("/loops/").status_code == 200

    third = Client()
    log_in(third, "designer")
    assert third.post("/login/second/", {"code": code}).status_code == 200, "the same code again"

    show_password(client)
    assert client.post("/account/app/remove/").status_code == 302
    assert not Authenticator.objects.filter(user=people["designer"]).exists(), "recovery codes go with the last factor"
    assert log_in(Client(), "designer").headers["Location"] == "/"


def test_a_recovery_code_lets_in_once(people: Any) -> None:
    client = Client()
    log_in(client, "designer")
    set_up_app(client)
    codes = client.get("/account/codes/").context["unused_codes"]
    assert len(codes) == 10
    assert codes[0] in client.get("/account/codes/recovery-codes.txt").content.decode()
    for expected in (302, 200):
        other = Client()
        log_in(other, "designer")
        assert other.post("/login/second/", {"code": codes[0]}).status_code == expected
    assert "9 codes are left" in client.get("/account/").content.decode()


def test_sessions_are_listed_and_ended_one_or_all(people: Any) -> None:
    here, there, third = Client(), Client(HTTP_USER_AGENT="Phone"), Client()
    for client in (here, there, third):
        log_in(client, "designer")
    rows = here.get("/account/").context["sessions"]
    assert sorted(row["current"] for row in rows) == [False, False, True]
    phone = next(row["session"] for row in rows if row["session"].user_agent == "Phone")
    assert here.post("/account/sessions/end/", {"session": str(phone.pk)}).status_code == 302
    assert there.get("/loops/").status_code == 302
    assert third.get("/loops/").status_code == 200
    here.post("/account/sessions/end/")
    assert third.get("/loops/").status_code == 302
    assert here.get("/loops/").status_code == 200


def test_nobody_ends_a_session_of_somebody_else(people: Any) -> None:
    mine, theirs = Client(), Client()
    log_in(mine, "designer")
    log_in(theirs, "approver")
    row = theirs.get("/account/").context["sessions"][0]["session"]
    mine.post("/account/sessions/end/", {"session": str(row.pk)})
    for odd in ("", "-1", "x", "9" * 40, "²"):
        mine.post("/account/sessions/end/", {"session": odd})
    assert theirs.get("/loops/").status_code == 200


def test_the_log_in_begins_at_the_user_name(client: Any) -> None:
    page = client.get("/login/").content.decode()
    assert re.search(r'<input[^>]*name="login"[^>]*autofocus', page) and page.count("autofocus") == 1
