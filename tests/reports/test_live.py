"""The live page says what an issued sheet is worth today, and to whom."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from loops.models import Approval, Loop
from loops.services import approvals
from loops.services.loops import save_loop
from registry.models import Site, User
from registry.selectors import record_text
from registry.services.records import Author, save_text
from reports.services import issue

pytestmark = pytest.mark.django_db


@pytest.fixture
def issued(loop: Loop, people: dict[str, User], password: str) -> Approval:
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)
    return Approval.objects.get()


def words(client: Client, approval: Approval) -> str:
    answer = client.get(f"/s/{approval.short_id}/")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_an_issue_in_force_is_current(issued: Approval, client_as: Callable[[str], Client]) -> None:
    page = words(client_as("reader"), issued)
    assert "<strong>Current</strong>" in page
    assert issued.revision_digest in page


def test_a_changed_device_shows_that_the_basis_changed(
    issued: Approval, device: Any, people: dict[str, User], client_as: Callable[[str], Client]
) -> None:
    data = record_text(device) | {"notes": "Another note"}
    save_text("equipment", data, Author(people["keeper"], reason="Note"), record_id=device.pk)
    page = words(client_as("reader"), issued)
    assert "<strong>Basis changed</strong>" in page and "<strong>Current</strong>" not in page


def test_a_later_issue_supersedes_and_is_named(
    issued: Approval, people: dict[str, User], password: str, client_as: Callable[[str], Client]
) -> None:
    loop = issued.loop
    save_loop(record_text(loop) | {"notes": "More"}, Author(people["designer"], reason="More"), loop_id=loop.pk)
    assert "<strong>Current</strong>" in words(client_as("reader"), issued)
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)
    page = words(client_as("reader"), issued)
    assert "<strong>Superseded</strong>" in page and "superseded by revision B" in page
    assert "<strong>Current</strong>" in words(client_as("reader"), Approval.objects.get(letter="B"))


def test_a_withdrawn_issue_says_do_not_use(
    issued: Approval, people: dict[str, User], client_as: Callable[[str], Client]
) -> None:
    approvals.withdraw(issued.pk, people["approver"], text="Wrong cable")
    page = words(client_as("reader"), issued)
    assert "<strong>Withdrawn</strong>" in page and "Wrong cable" in page


def test_without_log_in_only_where_the_site_allows_it(issued: Approval, site: Site) -> None:
    anybody = Client()
    answer = anybody.get(f"/s/{issued.short_id}/")
    unknown = anybody.get("/s/nothing/")
    assert (answer.status_code, unknown.status_code) == (302, 302)
    assert answer.headers["Location"].startswith("/login/")
    Site.objects.filter(pk=site.pk).update(live_pages=True)
    page = words(anybody, issued)
    assert "<strong>Current</strong>" in page
    assert issued.printed_name not in page, "names are for members"


def test_a_member_of_another_site_finds_nothing(issued: Approval, client_as: Callable[[str], Client]) -> None:
    assert client_as("neighbour").get(f"/s/{issued.short_id}/").status_code == 404
