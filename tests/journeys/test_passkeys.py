"""A person with a passkey in a browser: sets it up, logs in with it, signs a loop with it. Chromium plays the device
(its virtual authenticator), so that neither side of the ceremony is this project's own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from loops.models import Approval
from loops.services import approvals
from loops.services.signing import evidence_holds
from registry.models import User
from tests.journeys.conftest import PASSWORD, log_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DEVICE = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page of a browser that has a device for passkeys."""
    with browser() as found:
        session = found.context.new_cdp_session(found)
        session.send("WebAuthn.enable")
        found.device = session.send("WebAuthn.addVirtualAuthenticator", {"options": DEVICE})["authenticatorId"]
        found.verify = lambda yes: session.send(
            "WebAuthn.setUserVerified", {"authenticatorId": found.device, "isUserVerified": yes}
        )
        yield found


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
    page.get_by_role("heading", name="Home").or_(page.locator("header details.menu")).first.wait_for()
    log_out(page)

    log_in(page, address, "approver")
    page.get_by_role("heading", name="Second factor").wait_for()
    page.get_by_role("button", name="Use my passkey").click()
    page.locator("header details.menu").wait_for()

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
