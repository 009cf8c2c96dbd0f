"""Two designers have one loop open in two browsers: whoever saves second sees yours, theirs and the original, and what
is saved then holds the work of both."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from loops.models import Loop
from registry.models import Membership, Role
from registry.selectors import record_text
from tests.journeys.conftest import Pages, log_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
LENGTH = "circuits.0.cables.0.length_m"


def field(page: Any, name: str) -> Any:
    return page.locator(f"#loop-form [name='{name}']")


def save(page: Any, status: int) -> None:
    """Press the button and wait for the page that answers."""
    with page.expect_response(lambda answer: answer.request.method == "POST" and not asked_live(answer)) as found:
        page.get_by_role("button", name="Save and judge").first.click()
    assert found.value.status == status
    page.wait_for_load_state()


def asked_live(answer: Any) -> bool:
    """Whether the page asked for the verdict on what is being typed."""
    return "hx-request" in answer.request.headers


def look(page: Any, name: str) -> None:
    """A picture for whoever wants to see it: set LOOK to a folder."""
    if folder := os.environ.get("LOOK"):
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def test_the_second_of_two_browsers_loses_nothing(
    live_server: Any, browser: Pages, loop: Loop, people: Any, site: Any
) -> None:
    Membership.objects.create(user=people["planner"], site=site, role=Role.DESIGNER)
    address = f"{live_server.url}/loops/{loop.pk}/edit/"
    with browser() as first, browser() as second:
        for page, name in ((first, "designer"), (second, "planner")):
            log_in(page, live_server.url, name)
            page.goto(address)
        field(first, "service").fill("Reactor head pressure")
        field(first, LENGTH).fill("250 m")
        first.get_by_label("Reason for this save").fill("Measured on site")
        save(first, 302)
        first.get_by_text("was saved and judged").wait_for()

        field(second, LENGTH).fill("280 m")
        field(second, "notes").fill("Route changed by the second")
        second.get_by_label("Reason for this save").fill("New route")
        save(second, 409)
        second.get_by_text("This loop was changed while you were editing").wait_for()
        assert second.get_by_text("The designer saved it").is_visible()
        assert second.get_by_text("(Measured on site)").is_visible()
        rows = [row.inner_text().split("\t") for row in second.locator(".compare tbody tr").all()]
        told = {row[0].splitlines()[0].strip(): [text.strip() for text in row[1:]] for row in rows}
        assert told["Service"] == ["Reactor pressure", "Reactor head pressure", "Reactor pressure"]
        assert told["Circuit 1 · W-PT-1101 · Length"] == ["300 m", "250 m", "280 m"]
        assert told["Notes"] == ["(empty)", "(empty)", "Route changed by the second"]
        assert "both changed" in second.locator(".compare tr", has_text="Length").inner_text()
        assert "both changed" not in second.locator(".compare tr", has_text="Service").inner_text()
        look(second, "two-browsers")
        second.set_viewport_size({"width": 390, "height": 844})
        look(second, "two-browsers-phone")
        second.set_viewport_size({"width": 1280, "height": 900})

        assert field(second, "service").input_value() == "Reactor head pressure"
        assert field(second, LENGTH).input_value() == "280 m"
        assert second.get_by_label("Reason for this save").input_value() == "New route"
        save(second, 302)
        second.get_by_text("was saved and judged").wait_for()
    text = record_text(Loop.objects.get(pk=loop.pk))
    assert (text["service"], text["notes"]) == ("Reactor head pressure", "Route changed by the second")
    assert text["circuits"][0]["cables"][0]["length_m"] == "280 m"
