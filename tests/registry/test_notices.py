"""The inbox: one's own lines alone, counted in the head of every page, read when the person says so."""

from typing import Any

import pytest

from registry.models import Notice, NoticeKind
from registry.services import notices

pytestmark = pytest.mark.django_db


@pytest.fixture
def line(people: Any) -> Notice:
    return notices.send([notices.tell(people["reader"], NoticeKind.APPROVED, "PT-7 was approved.", "/loops/")])[0]


def test_the_head_counts_what_is_not_read(line: Notice, client_as: Any) -> None:
    assert 'aria-label="Notices, 1 not read"' in client_as("reader").get("/loops/").content.decode()
    assert 'aria-label="Notices"' in client_as("designer").get("/loops/").content.decode()


def test_looking_reads_nothing_opening_does(line: Notice, client_as: Any) -> None:
    client = client_as("reader")
    assert "PT-7 was approved." in client.get("/notices/").content.decode()
    assert notices.unread_count(line.person) == 1
    answer = client.post(f"/notices/{line.pk}/")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/loops/")
    assert notices.unread_count(line.person) == 0


def test_a_line_can_be_marked_and_stayed_with(line: Notice, client_as: Any) -> None:
    answer = client_as("reader").post(f"/notices/{line.pk}/", {"stay": "1"})
    assert answer.headers["Location"] == "/notices/" and notices.unread_count(line.person) == 0


def test_all_are_read_at_once(line: Notice, people: Any, client_as: Any) -> None:
    notices.send([notices.tell(people["designer"], NoticeKind.REVIEW, "PT-8 waits.", "/loops/")])
    client_as("reader").post("/notices/read/")
    assert (notices.unread_count(people["reader"]), notices.unread_count(people["designer"])) == (0, 1)


def test_the_lines_of_somebody_else_are_not_there(line: Notice, client_as: Any) -> None:
    client = client_as("designer")
    assert "PT-7" not in client.get("/notices/").content.decode()
    assert client.post(f"/notices/{line.pk}/").status_code == 404
    assert notices.unread_count(line.person) == 1


@pytest.mark.parametrize("link", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"])
def test_a_line_leads_nowhere_else(people: Any, client_as: Any, link: str) -> None:
    line = notices.send([notices.tell(people["reader"], NoticeKind.APPROVED, "Look", link)])[0]
    assert client_as("reader").post(f"/notices/{line.pk}/").headers["Location"] == "/notices/"
