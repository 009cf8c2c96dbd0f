"""Pages speak the language that was chosen, else the one that the browser asks for; programs read English."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.django_db

GERMAN = {"HTTP_ACCEPT_LANGUAGE": "de-DE,de;q=0.9,en;q=0.5"}


def test_who_is_not_logged_in_is_spoken_to_as_the_browser_asks(client):
    answer = client.get("/login/", headers={"accept-language": "de-AT"})
    assert '<html lang="de">' in answer.content.decode()
    assert answer.headers["Content-Language"] == "de"
    assert "Accept-Language" in answer.headers["Vary"]
    assert '<html lang="en">' in client.get("/login/", headers={"accept-language": "fr"}).content.decode()


def test_a_choice_outlasts_what_the_browser_asks(client_as):
    client = client_as("designer")
    assert client.post("/account/language/", {"language": "de"}).status_code == 302
    assert '<html lang="de">' in client.get("/account/", headers={"accept-language": "en"}).content.decode()
    client.post("/account/language/", {"language": ""})
    assert '<html lang="en">' in client.get("/account/", headers={"accept-language": "en"}).content.decode()


def test_no_other_language_can_be_chosen(client_as, people):
    client = client_as("designer")
    client.post("/account/language/", {"language": "xx"})
    people["designer"].refresh_from_db()
    assert people["designer"].language == ""


def test_the_api_answers_in_english(client_as):
    answer = client_as("designer").get("/api/loops/", **GERMAN)
    assert answer.headers["Content-Language"] == "en"
