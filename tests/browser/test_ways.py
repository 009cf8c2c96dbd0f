"""From a blank form to an issued loop by keyboard alone, and without scripts; what has the focus is seen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from loops.models import Loop, LoopState
from tests.access.conftest import quick_paper as quick_paper
from tests.browser.axe import violations
from tests.browser.conftest import Browsing
from tests.browser.focus import stops, tab_to, where
from tests.conftest import PASSWORD

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("quick_paper"),
]
SMALL = {"width": 320, "height": 256}
"""What is left of a window of 1280 x 1024 at a zoom of 400 % (WCAG 2.2, 1.4.10 and its note)."""


@pytest.fixture
def sessions(loop: Any, session_of: Callable[[str], str]) -> dict[str, str]:
    """Sessions of whoever makes and signs loops, with a register and one loop to begin with."""
    return {role: session_of(role) for role in ("designer", "approver", "keeper")}


def made() -> Loop:
    return Loop.objects.get(tag="PT-7000")


ROWS = {
    "tag": "PT-7000",
    "circuits.0.members.0.tag": "PT-7000-B",
    "circuits.0.cables.0.tag": "W-7000",
    "circuits.0.cables.0.length_m": "250 m",
    "circuits.0.members.1.tag": "PT-7000",
}
CHOICES = {
    "circuits.0.members.0.terminals": "Northlight Barriers NB-28, 1-2",
    "circuits.0.cables.0.cable_type": "Pair 1.5 mm2",
    "circuits.0.members.1.terminals": "Sandpiper Instruments SP-100, +/-",
    "circuits.0.members.1.area": "NORTH: Reactor bay",
}


def test_without_scripts(browsing: Browsing, sessions: dict[str, str]) -> None:
    page = browsing.page(sessions["designer"], java_script_enabled=False)
    page.goto("/")
    page.get_by_role("link", name="New loop").click()
    fill(page)
    page.get_by_role("button", name="Judge without saving").click()
    assert "NOT SAVED" in page.locator("#preview").inner_text()
    assert "Complies" in page.locator("#preview").inner_text()
    assert not Loop.objects.filter(tag="PT-7000").exists()
    page.locator("button[name=_add][value$=':device']").click()
    page.locator("input[name='circuits.0.members.2.tag']").wait_for()
    page.locator("button[name=_remove][value='circuits.0.members.2']").click()
    page.locator("input[name='circuits.0.members.2.tag']").wait_for(state="detached")
    page.get_by_role("button", name="Save and judge").click()
    page.get_by_role("heading", name="PT-7000", exact=True).wait_for()
    page.get_by_role("button", name="Submit for approval").click()
    assert made().state == LoopState.IN_REVIEW
    sign(browsing.page(sessions["approver"], java_script_enabled=False))


def fill(page: Any) -> None:
    for name, text in ROWS.items():
        page.locator(f"[name='{name}']").fill(text)
    for name, text in CHOICES.items():
        field = page.locator(f"[name='{name}']")
        if field.evaluate("(one) => one.tagName") == "SELECT":
            field.select_option(text)
        else:
            field.fill(text)


def sign(page: Any) -> None:
    """Approve the loop from the first page on."""
    page.goto("/")
    page.get_by_role("link", name="PT-7000").first.click()
    page.get_by_role("link", name="Check and approve").first.click()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign and issue").first.click()
    page.get_by_text("was approved and issued").wait_for()
    assert made().state == LoopState.ISSUED


def test_by_keyboard_alone(browsing: Browsing, sessions: dict[str, str]) -> None:
    page = browsing.page(sessions["designer"])
    page.goto("/")
    page.keyboard.press("Tab")
    assert (where(page) or {})["words"] == "Skip to content"
    page.keyboard.press("Enter")
    tab_to(page, words="New loop")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="New loop", exact=True).wait_for()
    for name, text in sorted((ROWS | CHOICES).items(), key=lambda item: ORDER.index(item[0])):
        if name != ORDER[0]:
            tab_to(page, name=name)
        assert (where(page) or {})["name"] == name  # the form opens at the tag
        # At one site an area is chosen by its own name.
        page.keyboard.type(text.removeprefix("NORTH: "))
    # The verdict follows what is typed; the focus and what was typed stay where they are.
    page.locator("#preview").get_by_text("Complies").first.wait_for()
    stop = where(page) or {}
    assert stop["name"] == ORDER[-1]
    assert page.locator("#preview-status").get_attribute("role") == "status"
    assert "Complies" in page.locator("#preview-status").inner_text()
    tab_to(page, words="Save and judge")
    page.keyboard.press("Enter")
    page.get_by_text("was saved and judged: complies").wait_for()
    assert made().verification.verdict == "complies"  # type: ignore[union-attr]
    tab_to(page, words="Submit for approval")
    page.keyboard.press("Enter")
    page.get_by_text("In review").first.wait_for()
    assert made().state == LoopState.IN_REVIEW

    page = browsing.page(sessions["approver"])
    page.goto("/")
    tab_to(page, words="PT-7000")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="PT-7000", exact=True).wait_for()
    tab_to(page, words="Check and approve")
    page.keyboard.press("Enter")
    page.wait_for_url("**/approve/")
    tab_to(page, name="password")
    page.keyboard.type(PASSWORD)
    tab_to(page, words="Sign and issue")
    page.keyboard.press("Enter")
    page.get_by_text("was approved and issued").wait_for()
    assert made().state == LoopState.ISSUED


ORDER = [
    "tag",
    "circuits.0.members.0.tag",
    "circuits.0.members.0.terminals",
    "circuits.0.cables.0.tag",
    "circuits.0.cables.0.cable_type",
    "circuits.0.cables.0.length_m",
    "circuits.0.members.1.tag",
    "circuits.0.members.1.terminals",
    "circuits.0.members.1.area",
]


@pytest.mark.parametrize("size", [{"width": 1280, "height": 900}, SMALL], ids=["broad", "at 400 %"])
@pytest.mark.parametrize("colours", ["none", "active"])
def test_whatever_has_the_focus_is_seen(
    browsing: Browsing, sessions: dict[str, str], loop: Any, size: dict[str, int], colours: str
) -> None:
    page = browsing.page(sessions["designer"], viewport=size, forced_colors=colours)
    for path in ("/", "/loops/", f"/loops/{loop.pk}/", f"/loops/{loop.pk}/edit/", "/equipment/new/", "/overview/"):
        page.goto(path)
        found = stops(page)
        assert len(found) > 10
        hidden = [stop for stop in found if not (stop["seen"] and stop["ring"])]
        assert not hidden, (path, hidden[:5])
        assert page.evaluate("() => document.documentElement.scrollWidth") <= size["width"]


def test_the_register_is_searched_while_one_types(browsing: Browsing, sessions: dict[str, str]) -> None:
    page = browsing.page(sessions["designer"])
    page.goto("/loops/new/")
    field = page.locator("[name='circuits.0.members.0.terminals']")
    field.focus()
    page.keyboard.type("28 V")
    page.locator(".pick-list [data-value]").wait_for()
    assert field.get_attribute("role") == "combobox" and field.get_attribute("aria-expanded") == "true"
    assert not violations(page)
    page.keyboard.press("ArrowDown")
    chosen = page.locator(f"#{field.get_attribute('aria-activedescendant')}")
    assert chosen.get_attribute("aria-selected") == "true"
    page.keyboard.press("Enter")
    assert field.input_value() == CHOICES["circuits.0.members.0.terminals"]
    assert "Uo 28 V" in page.locator("#f-circuits-0-members-0-terminals-facts").inner_text()
    assert page.locator(".pick-list").is_hidden()
    assert (where(page) or {})["name"] == "circuits.0.members.0.terminals"
    # One find alone is taken by Tab; Escape closes the list and keeps what was typed.
    page.locator("[name='circuits.0.members.1.terminals']").focus()
    page.keyboard.type("SP-1")
    page.locator(".pick-list [data-value]").wait_for()
    page.keyboard.press("Escape")
    assert page.locator("[name='circuits.0.members.1.terminals']").input_value() == "SP-1"
    page.keyboard.type("00")
    page.locator(".pick-list [data-value]").wait_for()
    page.keyboard.press("Tab")
    assert page.locator("[name='circuits.0.members.1.terminals']").input_value().startswith("Sandpiper")


def test_enter_goes_down_and_a_block_is_pasted(browsing: Browsing, sessions: dict[str, str]) -> None:
    page = browsing.page(sessions["designer"])
    page.goto("/loops/new/")
    page.locator("[name='circuits.0.cables.0.length_m']").focus()
    page.keyboard.type("10 m")
    page.keyboard.press("Enter")
    stop = where(page) or {}
    assert stop["name"].endswith(".length_m") and stop["name"] != "circuits.0.cables.0.length_m"
    page.keyboard.press("Shift+Enter")
    assert (where(page) or {})["name"] == "circuits.0.cables.0.length_m"
    page.locator("[name='circuits.0.cables.0.tag']").focus()
    page.evaluate(
        """(text) => {
            const data = new DataTransfer();
            data.setData("text/plain", text);
            document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true }));
        }""",
        "W-1\tCabinet\tJB-1\tPair 1.5 mm2\t120 m\nW-2\tJB-1\tPT-1\tPair 1.5 mm2\t30 m\nW-3\t\t\t\t5 m\n",
    )
    rows = page.locator(".wire-cables tbody tr")
    assert rows.count() == 3
    assert rows.nth(1).locator("[name$='.length_m']").input_value() == "30 m"
    assert rows.nth(0).locator("[name$='.cable_type']").input_value() == "Pair 1.5 mm2"
    # What a row's button does to a row that the script added is what it says.
    rows.nth(1).locator("button[name=_remove]").click()
    page.wait_for_load_state()
    left = page.locator(".wire-cables tbody tr [name$='.tag']")
    assert [left.nth(index).input_value() for index in range(left.count())] == ["W-1", "W-3"]


def test_what_is_pasted_and_no_choice_is_kept_and_told(browsing: Browsing, sessions: dict[str, str]) -> None:
    browsing.expected = ("400 (Bad Request)",)
    page = browsing.page(sessions["designer"])
    page.goto("/loops/new/")
    page.locator("[name='circuits.0.members.1.tag']").focus()
    page.evaluate(
        """(text) => {
            const data = new DataTransfer();
            data.setData("text/plain", text);
            document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true }));
        }""",
        "PT-1\tindicator\tSandpiper Instruments SP-100, +/-\tNORTH: Reactor bay\n",
    )
    role = page.locator("[name='circuits.0.members.1.role']")
    assert role.input_value() == "indicator"
    note = page.locator(".field-errors", has_text="“indicator” is not among the choices")
    assert note.is_visible() and role.get_attribute("aria-describedby").split()[-1] == note.get_attribute("id")
    assert page.locator("[name='circuits.0.members.1.area']").input_value() == "NORTH: Reactor bay"
    assert not violations(page)
    role.select_option("inline")
    note.wait_for(state="detached")
    role.evaluate("(one) => { one.value = 'indicator'; }")
    page.get_by_role("button", name="Judge without saving").click()
    page.locator("[data-error-summary]").wait_for()
    # The server keeps it too, and says what is wrong with it.
    assert page.locator(".wire-devices tbody [name$='.role']").first.input_value() == "indicator"
    assert "is not a valid choice" in page.locator("[data-error-summary]").inner_text()


def test_what_is_offered_for_an_earlier_text_cannot_be_taken_for_a_later_one(
    browsing: Browsing, sessions: dict[str, str]
) -> None:
    page = browsing.page(sessions["designer"])
    page.goto("/loops/new/")
    field = page.locator("[name='circuits.0.members.1.terminals']")
    field.click()
    page.locator(".pick-list [data-value]").first.wait_for()
    page.route("**/loops/pick/**", lambda route: None)  # the answer to what is typed now never comes
    field.press_sequentially("NO-SUCH")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert field.input_value() == "NO-SUCH"


def test_devices_that_are_added_stand_beside_those_that_are_there(browsing: Browsing, sessions: dict[str, str]) -> None:
    page = browsing.page(sessions["designer"])
    page.goto("/loops/new/")
    fill(page)
    for tag in ("FI-1", "FI-2"):
        page.get_by_role("button", name="Add a device").click()
        row = page.locator(".wire-devices tbody tr").last
        row.locator("[name$='.tag']").fill(tag)
        row.locator("[name$='.terminals']").fill(CHOICES["circuits.0.members.1.terminals"])
        row.locator("[name$='.area']").select_option(CHOICES["circuits.0.members.1.area"])
    names = page.locator("#loop-form [name]").evaluate_all("(all) => all.map((one) => one.name)")
    own = [name for name in names if name.startswith("circuits.")]
    assert len(own) == len(set(own))
    page.get_by_role("button", name="Save and judge").click()
    page.get_by_role("heading", name="PT-7000", exact=True).wait_for()
    devices = made().circuits.get().members.exclude(role="source")
    assert [member.tag for member in devices.order_by("position")] == ["PT-7000", "FI-1", "FI-2"]
