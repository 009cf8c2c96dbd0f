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


READER = """
window.codes = %s;
window.BarcodeDetector = class {
  static async getSupportedFormats() { return %s; }
  async detect() { return window.codes.splice(0, 1).map((rawValue) => ({ rawValue })); }
};
navigator.mediaDevices.getUserMedia = async () => {
  if (%s) throw new DOMException("no", "NotAllowedError");
  const canvas = document.createElement("canvas");
  const paint = canvas.getContext("2d");
  setInterval(() => { paint.fillRect(0, 0, 9, 9); }, 50);
  return canvas.captureStream();
};
"""
"""A browser that reads codes with its camera: what it sees is given. The one of these tests has no such reader."""


@pytest.fixture
def tag_page(page: Any, live_server: Any, people: Any, loop: Loop) -> Any:
    """`tag_page(script)`: the page on which a tag is typed or scanned, on a phone, with a script of the browser."""
    people["planner"].set_password(PASSWORD)
    people["planner"].save()
    page.set_viewport_size(PHONE)
    log_in(page, live_server.url, "planner")

    def opened(script: str = "") -> Any:
        if script:
            page.add_init_script(script)
        page.goto(live_server.url + reverse("suits"))
        return page

    return opened


def test_without_a_reader_of_codes_a_tag_is_typed(tag_page: Any) -> None:
    page = tag_page()
    assert not page.evaluate("'BarcodeDetector' in window")
    assert not page.locator("[data-scan]").is_visible()
    page.get_by_label("Tag of a loop, device or source").fill("PT-1101")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="PT-1101").first.wait_for()
    assert fits(page)


def test_a_reader_that_knows_no_such_codes_is_not_offered(tag_page: Any) -> None:
    page = tag_page(READER % ("[]", "['ean_13']", "false"))
    page.get_by_label("Tag of a loop, device or source").wait_for()
    assert not page.locator("[data-scan]").is_visible()


def test_the_code_of_a_sheet_leads_to_it_and_no_other_code_leads_anywhere(
    tag_page: Any, loop: Loop, people: Any, live_server: Any
) -> None:
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], SIGNED, None)
    short = Approval.objects.get().short_id
    codes = ["javascript:alert(1)", "https://elsewhere.example/s/", f"https://elsewhere.example/s/{short}/"]
    page = tag_page(READER % (codes, "['qr_code']", "false"))
    page.get_by_role("button", name="Scan the code of a sheet").click()
    page.wait_for_url(f"**{reverse('reports:live', args=[short])}")
    assert page.url.startswith(live_server.url)


def test_a_camera_that_is_refused_is_told(tag_page: Any) -> None:
    page = tag_page(READER % ("[]", "['qr_code']", "true"))
    page.get_by_role("button", name="Scan the code of a sheet").click()
    page.get_by_text("The camera was not allowed: type the tag.").wait_for()
