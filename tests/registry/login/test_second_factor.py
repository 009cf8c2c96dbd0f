"""A site may require a second factor of its people; nobody is locked out by that, and none comes in around it."""

from __future__ import annotations

import base64
import io
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from registry.models import Change, Revision, Site
from tests.registry.login.authenticator import Passkey
from tests.registry.login.ways import PASSWORD, add_passkey, log_in, set_up_app
from tests.registry.pages import form_of

pytestmark = pytest.mark.django_db


def require(client: Client, site: Any) -> Any:
    address = reverse("site_edit", args=[site.pk])
    return client.post(address, form_of(client.get(address)) | {"second_factor": "on", "_reason": "Safer"})


@pytest.fixture
def strict(site: Any) -> Any:
    Site.objects.filter(pk=site.pk).update(second_factor=True)
    return site


def test_a_site_requires_it_once_its_administrator_has_one(people: Any, site: Any) -> None:
    client = Client()
    log_in(client, "administrator")
    refused = require(client, site)
    assert refused.status_code == 400
    assert "no second factor yet: set up" in refused.content.decode()
    site.refresh_from_db()
    assert site.second_factor is False
    set_up_app(client)
    assert require(client, site).status_code == 302
    site.refresh_from_db()
    assert site.second_factor is True
    assert Revision.objects.filter(kind="site", record_id=site.pk).first().snapshot["second_factor"] is True


def test_a_site_that_requires_it_can_still_be_edited_and_set_free(people: Any, strict: Any) -> None:
    client = Client()
    log_in(client, "administrator")
    set_up_app(client)
    address = reverse("site_edit", args=[strict.pk])
    form = form_of(client.get(address))
    assert form["second_factor"] == "on"
    form.pop("second_factor")
    form["_reason"] = "Tried"
    assert client.post(address, form).status_code == 302
    strict.refresh_from_db()
    assert strict.second_factor is False


@pytest.mark.parametrize("who", ["designer", "administrator", "superuser"])
def test_a_member_without_one_is_led_to_set_it_up_before_anything_else(who: str, people: Any, strict: Any) -> None:
    client = Client()
    log_in(client, who)
    for address in ("/", "/loops/", "/equipment/new/", "/people/", reverse("site", args=[strict.pk])):
        assert client.get(address).headers.get("Location") == "/account/", address
    assert client.post("/notices/read/").headers["Location"] == "/account/"
    page = client.get("/account/").content.decode()
    assert "Set up a second factor first" in page and "NORTH" in page
    answer = client.get("/api/v1/loops/")
    assert (answer.status_code, answer.json()["code"]) == (403, "second_factor_required")
    set_up_app(client)
    assert client.get("/loops/").status_code == 200


@pytest.mark.parametrize("who", ["neighbour", "outsider"])
def test_people_of_other_sites_are_not_asked(who: str, people: Any, strict: Any) -> None:
    client = Client()
    log_in(client, who)
    assert client.get("/notices/").headers.get("Location") != "/account/"


def test_a_session_that_was_open_before_is_led_there_too(people: Any, site: Any, client_as: Any) -> None:
    client = client_as("designer")
    assert client.get("/loops/").status_code == 200
    Site.objects.filter(pk=site.pk).update(second_factor=True)
    assert client.get("/loops/").headers["Location"] == "/account/"


def test_removing_ones_only_factor_closes_the_site_again(people: Any, strict: Any) -> None:
    client = Client()
    log_in(client, "designer")
    set_up_app(client)
    client.post("/account/app/remove/")
    assert client.get("/loops/").headers["Location"] == "/account/"


def test_sessions_without_the_new_factor_end(people: Any, django_capture_on_commit_callbacks: Any) -> None:
    here, there = Client(), Client()
    log_in(here, "designer")
    log_in(there, "designer")
    with django_capture_on_commit_callbacks(execute=True):
        set_up_app(here)
    assert there.get("/loops/").status_code == 302
    assert here.get("/loops/").status_code == 200
    passed = Client()
    log_in(passed, "approver")
    here_too = Client()
    log_in(here_too, "approver")
    add_passkey(here_too, Passkey())
    assert passed.get("/loops/").status_code == 302
    assert here_too.get("/loops/").status_code == 200


def basic(name: str, password: str = PASSWORD) -> dict[str, str]:
    return {"HTTP_AUTHORIZATION": "Basic " + base64.b64encode(f"{name}:{password}".encode()).decode()}


def test_a_password_over_http_is_no_way_around_it(people: Any, site: Any) -> None:
    assert Client().get("/api/v1/loops/", **basic("designer")).status_code == 200
    Site.objects.filter(pk=site.pk).update(second_factor=True)
    assert Client().get("/api/v1/loops/", **basic("designer")).status_code == 403
    Site.objects.filter(pk=site.pk).update(second_factor=False)
    client = Client()
    log_in(client, "designer")
    set_up_app(client)
    answer = Client().get("/api/v1/loops/", **basic("designer"))
    assert answer.status_code == 403
    assert "second factor" in answer.json()["message"]


def test_guessing_over_http_is_limited_with_reading_and_writing_alike(people: Any) -> None:
    for _ in range(5):
        assert Client().get("/api/v1/loops/", **basic("designer", "wrong")).status_code == 401
    assert Client().get("/api/v1/loops/", **basic("designer")).status_code == 429
    assert "wait five minutes" in log_in(Client(), "designer").content.decode(), "counted with the log-in"
    assert Client().get("/api/v1/loops/", **basic("approver")).status_code == 200


def test_reset_mfa_lets_somebody_in_again_and_is_recorded(people: Any, strict: Any) -> None:
    theirs = Client()
    log_in(theirs, "administrator")
    set_up_app(theirs)
    told = io.StringIO()
    call_command("reset_mfa", "Administrator", stdout=told)
    assert "no second factor any more" in told.getvalue()
    assert not Authenticator.objects.filter(user=people["administrator"]).exists()
    assert theirs.get("/account/").status_code == 302, "their sessions have ended"
    deed = Change.objects.first()
    assert (deed.verb, deed.kind, deed.record_id) == ("factor", "person", people["administrator"].pk)
    assert deed.actor is None and deed.detail == {"what": "all second factors reset"}
    again = Client()
    assert log_in(again, "administrator").headers["Location"] == "/"
    assert again.get("/loops/").headers["Location"] == "/account/"
    with pytest.raises(CommandError, match="nobody with the user name ghost"):
        call_command("reset_mfa", "ghost")
