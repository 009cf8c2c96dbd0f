"""An inspection on a phone: filled in line by line, through a connection that breaks, and signed."""

from __future__ import annotations

from typing import Any

import pytest

from reports.inspection import services
from reports.inspection.models import Defect, Inspection, SignedInspection
from tests.conftest import PASSWORD
from tests.journeys.conftest import Pages, log_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = {"width": 390, "height": 844}


def wait_saved(line: Any) -> None:
    line.get_by_text("Saved", exact=True).wait_for()


def test_from_begin_to_signature_on_a_phone(browser: Pages, live_server: Any, people: Any, loop: Any) -> None:
    with browser() as page:
        page.set_viewport_size(PHONE)
        log_in(page, live_server.url, "planner")
        page.goto(f"{live_server.url}/loops/{loop.pk}/inspections/")
        page.get_by_label("Grade").first.select_option("visual")
        page.get_by_label("Occasion").select_option("periodic")
        page.get_by_role("button", name="Begin").click()
        page.get_by_role("link", name="Fill in").first.click()
        inspection = Inspection.objects.get()
        count = len({line.place for line in inspection.lines.all()})
        for _place in range(count):
            page.locator("fieldset.line").first.wait_for()
            wide = "() => document.documentElement.scrollWidth > document.documentElement.clientWidth"
            assert not page.evaluate(wide)
            for line in page.locator("fieldset.line").all():
                line.get_by_label("As it should be").check()
                wait_saved(line)
            page.get_by_role("button", name="Save, next place").or_(
                page.get_by_role("button", name="Save and finish")
            ).click()
        page.get_by_label("Your password").fill(PASSWORD)
        page.get_by_role("button", name="Sign as").click()
        page.get_by_text("the inspection was signed").wait_for()
    record = SignedInspection.objects.get()
    assert record.is_complete and record.printed_name == "The planner"


def test_a_broken_connection_loses_nothing(browser: Pages, live_server: Any, people: Any, loop: Any) -> None:
    """What could not be sent is kept in the browser, even when the page is opened anew, and goes out by itself."""
    inspection = services.begin(loop.pk, people["planner"], grade="visual", occasion="periodic")
    path = f"{live_server.url}/inspections/{inspection.pk}/places/1/"
    with browser() as page:
        page.set_viewport_size(PHONE)
        log_in(page, live_server.url, "planner")
        page.goto(path)
        page.route("**/lines/*/", lambda route: route.abort())
        line = page.locator("fieldset.line").first
        line.get_by_label("Defect", exact=True).check()
        line.get_by_label("What is wrong").fill("The drawing is an old one.")
        line.get_by_label("How soon").select_option("2")
        line.get_by_text("No connection").wait_for()
        page.evaluate("() => window.stop()")
        page.on("dialog", lambda dialog: dialog.accept())
        page.goto(path)
        line = page.locator("fieldset.line").first
        assert line.get_by_label("What is wrong").input_value() == "The drawing is an old one."
        assert inspection.lines.exclude(result="").count() == 0
        page.unroute("**/lines/*/")
        page.evaluate("() => dispatchEvent(new Event('online'))")
        wait_saved(line)
    saved = inspection.lines.first()
    assert saved is not None and (saved.result, saved.note, saved.priority) == (
        "defect",
        "The drawing is an old one.",
        "2",
    )
    assert not Defect.objects.exists()
