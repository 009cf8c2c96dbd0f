"""Every page of the address table in a browser: accessible by axe at A and AA, in light and dark, at 320 and 1280
pixels; nothing runs out sideways; nothing is asked of another host; the content security policy has no hole; the first
view is light."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from registry.models import Membership, Role
from tests.access import world as worlds
from tests.access.conftest import quick_paper as quick_paper
from tests.access.table import TABLE, Own, Row
from tests.access.test_matrix import LETTERS, request_of
from tests.architecture.addresses import addresses
from tests.browser.axe import violations
from tests.browser.conftest import Browsing
from tests.conftest import PASSWORD, make_user
from tests.registry.login.ways import set_up_app, show_password

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NARROW, BROAD = {"width": 320, "height": 640}, {"width": 1280, "height": 900}
MOST_BYTES = 120_000
PARTS = 2
"""So that two processes share the walk."""
PREFERRED = "dakspur"
"""Who looks at a page, the first of those who may: a designer sees the most buttons of most of them."""
FOREIGN = {"api-docs"}
"""Pages of a library, from its own package: nothing of ours is in them to mend."""
STATES = ("review", "asked", "issued")
"""States of a loop beside a draft; each shows steps of its own."""


@pytest.fixture
def world(people: Any, other_site: Any, quick_paper: None, request: pytest.FixtureRequest) -> Any:
    """What tests of access ask the addresses for, without those that only lists of people need."""
    people["second approver"] = make_user("second approver")
    Membership.objects.create(user=people["second approver"], site=request.getfixturevalue("site"), role=Role.APPROVER)
    return worlds.build(request.getfixturevalue)


@dataclass(frozen=True)
class Visit:
    """Who looks, where, and what it is called in a message; `press` sends the form of the page as it is, blank."""

    who: str
    path: str
    name: str
    press: bool = False


BLANK = ("/loops/new/", "/equipment/new/", "/certificates/new/", "/areas/new/", "/cable-types/new/", "/import/")
"""Forms that are sent blank: the page then comes back with its faults."""
FRESH, FACTOR = "designer", "approver"
"""Who has just given the password once more, and who has a second factor beside: pages of the log-in ask for both."""


def visits(world: Any, clients: dict[str, Client]) -> list[Visit]:
    """Every address that answers a look with a whole page, as somebody who may look at it."""
    names = {letter: name for name, letter in LETTERS.items()}
    found = [Visit(name, "/", f"home of {name}") for name in LETTERS]
    found += [Visit("", "/login/", "account_login"), Visit("designer", "/nowhere/", "a page that is not there")]
    found += [Visit("reader", "/loops/new/", "what is refused"), Visit("designer", "/loops/?margin__gte=x", "a fault")]
    found += [Visit("designer", path, "a blank form", press=True) for path in BLANK]
    for state in STATES:
        keys = world.keys[state]
        found.append(Visit("approver", f"/loops/{keys['pk']}/", f"loop, {state}"))
    for address in addresses():
        row = TABLE[address.name]
        if address.name in FOREIGN or address.name == "home":
            continue
        if isinstance(row, Row) and row.get:
            who = [names[next(letter for letter in PREFERRED + row.get if letter in row.get)]]
        else:
            who = [FRESH, FACTOR] if isinstance(row, Own) else []
        found += [Visit(name, request_of(address, row, "get", world)[0], address.name) for name in who]
    return [visit for visit in found if is_page(clients[visit.who].get(visit.path))]


def is_page(answer: Any) -> bool:
    """Whether an answer is a whole page of HTML; a redirect is none, and where it leads is visited anyhow."""
    whole = answer["Content-Type"].startswith("text/html") if answer.status_code != 302 else False
    return whole and b"<html" in answer.content


class Scales:
    """Weighs first views: the bytes as a server sends them, the page as it is, static files compressed."""

    def __init__(self) -> None:
        self.known: dict[str, int] = {}

    def weigh(self, page: Any, text: bytes) -> int:
        urls = page.evaluate("() => performance.getEntriesByType('resource').map((one) => one.name)")
        return len(text) + sum(self.weight(page, url) for url in set(urls))

    def weight(self, page: Any, url: str) -> int:
        if url not in self.known:
            body = page.request.get(url).body()
            self.known[url] = len(gzip.compress(body)) if settings.STATIC_URL in url else len(body)
        return self.known[url]


@pytest.mark.parametrize("part", range(PARTS))
def test_every_page(part: int, world: Any, people: Any, request: pytest.FixtureRequest) -> None:
    clients = {name: Client(raise_request_exception=False) for name in ["", *LETTERS]}
    for name in LETTERS:
        clients[name].force_login(people[name])
    show_password(clients[FRESH])
    app = set_up_app(clients[FACTOR])
    every = visits(world, clients)
    assert len(every) > 110
    sessions = {name: key.value for name in LETTERS if (key := clients[name].cookies[settings.SESSION_COOKIE_NAME])}
    browsing: Browsing = request.getfixturevalue("browsing")
    browsing.expected = ("the server responded with a status of 40",)
    pages: dict[str, Any] = {}
    scales = Scales()
    wrong: list[str] = []
    for visit in every[part::PARTS]:
        page = pages.get(visit.who) or pages.setdefault(visit.who, browsing.page(sessions.get(visit.who, "")))
        answer = page.goto(visit.path)
        if visit.press:
            with page.expect_navigation() as sent:
                page.locator("form:not([role=search]) .button").last.click()
            answer = sent.value
            if not page.locator("[data-error-summary], .field-errors, [role=alert]").count():
                wrong.append(f"{visit.path}: nothing is said of a blank form")
        wrong += [f"{visit.name} ({visit.path}): {fault}" for fault in faults(page, answer, scales)]
    if not part:
        wrong += [f"second factor: {fault}" for fault in second_factor(browsing, scales)]
    assert app and not wrong, "\n".join(wrong)


def second_factor(browsing: Browsing, scales: Scales) -> list[str]:
    """What is wrong with the page that asks for the second factor, which only the way in leads to."""
    page = browsing.page()
    page.goto("/login/")
    page.get_by_label("User name").fill(FACTOR)
    page.get_by_label("Password").fill(PASSWORD)
    with page.expect_navigation() as sent:
        page.get_by_role("button", name="Log in", exact=True).click()
    assert "/login/second/" in page.url
    return faults(page, sent.value, scales)


@pytest.mark.parametrize(
    "who, path, typed",
    [
        ("designer", "/account/tokens/new/", {"Name": "Nightly reading"}),
        ("administrator", "/webhooks/new/", {"Name": "Planning", "Address": "https://hooks.example.org/unlit"}),
    ],
)
def test_what_shows_a_secret_once(
    who: str, path: str, typed: dict[str, str], world: Any, people: Any, settings: Any, request: pytest.FixtureRequest
) -> None:
    """The forms of tokens and webhooks: asked for, sent blank, and filled in, when the page shows the secret."""
    from registry.services.tokens import make_token

    settings.WEBHOOK_ORIGINS = ["https://hooks.example.org"]
    make_token(people["designer"], {"name": "Reading", "scope": "read", "days": "30", "site": ""})
    client = Client()
    client.force_login(people[who])
    show_password(client)
    browsing: Browsing = request.getfixturevalue("browsing")
    browsing.expected = ("the server responded with a status of 40",)
    page = browsing.page(client.cookies[settings.SESSION_COOKIE_NAME].value)
    wrong = faults(page, page.goto(path), Scales())
    send = page.locator("form:not([role=search]) .button").last
    with page.expect_navigation() as blank:
        send.click()
    wrong += faults(page, blank.value, Scales())
    assert page.locator("[data-error-summary], .field-errors, [role=alert]").count()
    for label, text in typed.items():
        page.get_by_label(label, exact=True).fill(text)
    with page.expect_navigation() as made:
        send.click()
    assert page.locator(".token-text").count() == 1
    wrong += faults(page, made.value, Scales())
    beside = "/account/tokens/" if who == "designer" else "/webhooks/"
    wrong += faults(page, page.goto(beside), Scales())
    assert page.locator("tbody tr").count() == 2
    assert not wrong, "\n".join(wrong)


def faults(page: Any, answer: Any, scales: Scales) -> list[str]:
    """What is wrong with the page that is open, in its four forms."""
    found = []
    policy = answer.headers.get("content-security-policy", "")
    if "default-src 'self'" not in policy or "unsafe" in policy:
        found.append(f"content security policy {policy!r}")
    if (size := scales.weigh(page, page.content().encode())) > MOST_BYTES:
        found.append(f"{size} bytes at the first view")
    for place in (BROAD, NARROW):
        page.set_viewport_size(place)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            looks = violations(page, looks_only=scheme == "dark")
            found += [f"{place['width']} {scheme}: {fault}" for fault in looks]
        width = page.evaluate("() => document.documentElement.scrollWidth")
        if width > place["width"]:
            found.append(f"{place['width']}: runs out sideways, {width} px")
    return found


def test_axe_finds_what_is_wrong(browsing: Browsing) -> None:
    """Each kind of fault that the walk looks for is one here."""
    page = browsing.page()
    page.goto("/login/")
    page.evaluate(
        """() => {
            document.querySelector("label").remove();
            document.querySelector("h1").style.color = "#d8d1c1";
            document.querySelector("main").insertAdjacentHTML("beforeend", "<img src='/static/mark.svg'>");
        }"""
    )
    found = " ".join(violations(page))
    assert "label" in found and "color-contrast" in found and "image-alt" in found
    assert "color-contrast" in " ".join(violations(page, looks_only=True))
