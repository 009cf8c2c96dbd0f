"""On a phone: from the code of a sheet to the word in two taps, from the word to a draft; nothing runs out sideways."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from loops.models import Approval, Loop
from loops.services import approvals
from reports.services import issue
from tests.conftest import PASSWORD as SIGNED
from tests.journeys.test_passkeys import PASSWORD, log_in
from tests.journeys.test_passkeys import page as page
from tests.loops.suitability.test_answers import other as other

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = {"width": 390, "height": 844}


def fits(page: Any) -> bool:
    return bool(page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth"))


def test_two_taps_after_the_scan(page: Any, live_server: Any, people: Any, loop: Loop, other: Any) -> None:
    other("SP-GOOD", ci_f="4 nF"), other("SP-BAD", ui_v="20 V")
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], SIGNED, None)
    people["planner"].set_password(PASSWORD)
    people["planner"].save()
    page.set_viewport_size(PHONE)
    log_in(page, live_server.url, "planner")
    # The camera of the phone opens this address from the code on the paper.
    page.goto(live_server.url + reverse("reports:live", args=[Approval.objects.get().short_id]))
    page.get_by_role("link", name="Replace an item").click()
    page.get_by_role("link", name="PT-1101 field device").click()
    best = page.locator(".taps a").first
    assert "SP-GOOD" in best.inner_text() and "Suits" in best.inner_text()
    assert fits(page)
    best.click()
    assert page.locator(".verdict-large").inner_text() == "Suits"
    assert fits(page)
    page.get_by_label("Why").fill("The old one failed.")
    page.get_by_role("button", name="Send to the engineer").click()
    page.get_by_text("has a draft with Sandpiper Instruments SP-GOOD in place").wait_for()
    stored = Loop.objects.get(pk=loop.pk)
    assert (stored.state, stored.letter) == ("draft", "B")
    assert stored.circuits.get().members.get(role="device").terminals.equipment.type_name == "SP-GOOD"
