"""What a designer typed survives the end of the browser's page, in the browser of that person alone."""

from __future__ import annotations

from typing import Any
from unittest import mock

import pytest
from django.urls import reverse

from loops.models import Loop
from tests.deploy.operations.test_database_away import lost
from tests.journeys.test_passkeys import PASSWORD, log_in, log_out
from tests.journeys.test_passkeys import page as page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
OFFER = "[data-draft-offer]"


def set_passwords(people: Any) -> None:
    for name in ("designer", "reader"):
        people[name].set_password(PASSWORD)
        people[name].save()


def open_editor(page: Any, live_server: Any, loop: Loop) -> None:
    page.goto(live_server.url + reverse("loop_edit", args=[loop.pk]))


def type_service(page: Any, text: str) -> None:
    page.get_by_label("Service").fill(text)
    page.wait_for_function("() => Object.keys(localStorage).some((key) => key.startsWith('unlit-draft:'))")
    # As a crash would: the page is gone without a word.
    page.evaluate("() => { document.querySelector('form[data-guard]').remove(); }")


def test_what_was_typed_is_offered_again_and_brought_back(page: Any, live_server: Any, people: Any, loop: Loop) -> None:
    set_passwords(people)
    log_in(page, live_server.url, "designer")
    open_editor(page, live_server, loop)
    assert page.locator(OFFER).is_hidden()
    type_service(page, "Typed before the crash")
    open_editor(page, live_server, loop)
    assert page.locator(OFFER).is_visible()
    assert page.get_by_label("Service").input_value() == loop.service
    page.get_by_role("button", name="Bring it back").click()
    page.get_by_label("Service").wait_for()
    assert page.get_by_label("Service").input_value() == "Typed before the crash"
    assert Loop.objects.get(pk=loop.pk).service == loop.service
    page.get_by_role("button", name="Save and judge").click()
    page.get_by_role("heading", name=loop.tag).wait_for()
    assert Loop.objects.get(pk=loop.pk).service == "Typed before the crash"
    open_editor(page, live_server, loop)
    assert page.locator(OFFER).is_hidden()


def test_what_an_error_kept_from_being_saved_is_a_draft_again(
    page: Any, live_server: Any, people: Any, loop: Loop
) -> None:
    set_passwords(people)
    log_in(page, live_server.url, "designer")
    open_editor(page, live_server, loop)
    page.get_by_label("Service").fill("Typed before the database was lost")
    with mock.patch("loops.services.loops.verify", side_effect=lost()):
        page.get_by_role("button", name="Save and judge").click()
        page.get_by_role("heading", name="The database does not answer").wait_for()
    open_editor(page, live_server, loop)
    page.get_by_role("button", name="Bring it back").click()
    page.get_by_label("Service").wait_for()
    assert page.get_by_label("Service").input_value() == "Typed before the database was lost"
    page.get_by_role("button", name="Save and judge").click()
    page.get_by_role("heading", name=loop.tag).wait_for()
    assert Loop.objects.get(pk=loop.pk).service == "Typed before the database was lost"
    open_editor(page, live_server, loop)
    assert page.locator(OFFER).is_hidden()


def test_it_is_thrown_away_and_never_shown_to_somebody_else(
    page: Any, live_server: Any, people: Any, loop: Loop
) -> None:
    set_passwords(people)
    log_in(page, live_server.url, "designer")
    open_editor(page, live_server, loop)
    type_service(page, "Nobody else's business")
    open_editor(page, live_server, loop)
    page.get_by_role("button", name="Throw it away").click()
    open_editor(page, live_server, loop)
    assert page.locator(OFFER).is_hidden()
    type_service(page, "Nobody else's business")
    left = page.evaluate(
        "() => localStorage.getItem(Object.keys(localStorage).find((key) => key.startsWith('unlit-draft:')))"
    )
    page.goto(live_server.url)
    log_out(page)
    drafts = "() => Object.keys(localStorage).filter((key) => key.startsWith('unlit-draft:'))"
    assert page.evaluate(drafts) == []
    page.evaluate(
        "(text) => localStorage.setItem('unlit-draft:' + text[0], text[1])",
        [reverse("loop_edit", args=[loop.pk]), left],
    )
    people["designer"].memberships.all().update(user=people["reader"])
    log_in(page, live_server.url, "reader")
    open_editor(page, live_server, loop)
    assert page.get_by_label("Service").input_value() == loop.service
    assert page.locator(OFFER).is_hidden()
    assert page.evaluate(drafts) == []
