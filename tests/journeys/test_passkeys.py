"""A person with a passkey in a browser: sets it up, logs in with it, signs a loop with it. Chromium plays the device
(its virtual authenticator), so that neither side of the ceremony is this project's own."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connections

from loops.models import Approval
from loops.services import approvals
from loops.services.signing import evidence_holds
from registry.models import User

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PASSWORD = "Slow-copper-91-lantern"
DEVICE = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


@pytest.fixture
def page(live_server: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A page of a browser that has a device for passkeys; what its console complains about fails the test.

    It closes before the server ends, which then has no connection of its own to the database left open.
    """
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        pytest.skip("no Chromium here")
    from playwright.sync_api import sync_playwright

    # The browser's own loop runs in this thread; the database is used from it nevertheless, by one at a time.
    monkeypatch.setitem(os.environ, "DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=["--no-sandbox"])
        context = browser.new_context()
        found = context.new_page()
        session = context.new_cdp_session(found)
        session.send("WebAuthn.enable")
        found.device = session.send("WebAuthn.addVirtualAuthenticator", {"options": DEVICE})["authenticatorId"]
        found.verify = lambda yes: session.send(
            "WebAuthn.setUserVerified", {"authenticatorId": found.device, "isUserVerified": yes}
        )
        complaints: list[str] = []
        found.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
        yield found
        # While the browser's loop runs, this thread has a connection of its own to the database.
        connections.close_all()
        browser.close()
    assert not complaints


def log_in(page: Any, address: str, name: str) -> None:
    page.goto(f"{address}/login/")
    page.get_by_label("User name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in", exact=True).click()


def log_out(page: Any) -> None:
    page.locator("details.menu > summary").click()
    page.get_by_role("button", name="Log out").click()


def add_passkey(page: Any, address: str) -> None:
    page.goto(f"{address}/account/")
    page.get_by_role("link", name="Add a passkey").click()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("Name of the passkey").fill("This computer")
    page.get_by_label("Log in with it alone").check()
    page.get_by_role("button", name="Make the passkey").click()
    page.get_by_role("link", name="I have kept them").click()
    page.get_by_text("This computer").first.wait_for()


def test_a_passkey_from_setting_it_up_to_a_signature(live_server: Any, page: Any, loop: Any, people: Any) -> None:
    address = live_server.url.replace("127.0.0.1", "localhost")
    loop = approvals.submit(loop.pk, people["designer"])
    log_in(page, address, "approver")
    add_passkey(page, address)
    log_out(page)

    page.goto(f"{address}/login/")
    page.get_by_role("button", name="Log in with a passkey").click()
    page.get_by_role("heading", name="Home").or_(page.locator("header .menu-name")).first.wait_for()
    log_out(page)

    log_in(page, address, "approver")
    page.get_by_role("heading", name="Second factor").wait_for()
    page.get_by_role("button", name="Use my passkey").click()
    page.locator("header .menu-name").wait_for()

    page.goto(f"{address}/loops/{loop.pk}/approve/")
    page.verify(False)
    page.get_by_role("button", name="Sign with my passkey instead").click()
    page.get_by_text("The passkey did not answer: nothing was signed.").wait_for()
    assert not Approval.objects.exists()
    page.verify(True)
    page.get_by_label("Remark").fill("Seen with my own eyes")
    page.get_by_role("button", name="Sign with my passkey instead").click()
    page.get_by_text("was approved and issued").wait_for()
    approval = Approval.objects.get()
    assert (approval.signed_with, approval.approved_by) == ("passkey", User.objects.get(username="approver"))
    assert evidence_holds(approval)
    page.get_by_text("Signed with passkey").first.wait_for()
