"""What runs out: told 180, 90, 30 and 0 days before, once a week to each person, and listed by month."""

import datetime as dt
import io
from collections.abc import Callable
from typing import Any

import pytest
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.utils import timezone

from registry.models import Certificate, DueRun, Notice, NoticeKind
from registry.services import notices
from registry.services.due import run_due
from registry.services.expiry import Ending, reached_since, send_digest

pytestmark = pytest.mark.django_db

MONDAY = dt.date(2030, 6, 3)


def day(days: int) -> dt.date:
    return MONDAY + dt.timedelta(days=days)


def ending(on: dt.date) -> Ending:
    return Ending("a", "/", "", on, 0, dt.date(2020, 1, 1))


@pytest.fixture
def paper(save: Callable[..., Any]) -> Callable[[dt.date, str], Any]:
    """`paper(end, number)`: a certificate that was entered long ago."""

    def make(end: dt.date, number: str = "EXC 25 ATEX 0303") -> Any:
        data = {"scheme": "ATEX", "number": number, "issue": "0", "issued_on": "2021-03-01", "status": "current"}
        record = save("certificate", data | {"valid_to": end.isoformat()})
        Certificate.objects.filter(pk=record.pk).update(changed_at=dt.datetime(2021, 3, 1, tzinfo=dt.UTC))
        return record

    return make


@pytest.mark.parametrize(
    ("left", "reached"),
    [(181, None), (180, 180), (91, 180), (90, 90), (31, 90), (30, 30), (1, 30), (0, 0), (-1, 0)],
)
def test_each_lead_time_is_reached_on_its_day(left: int, reached: int | None) -> None:
    assert ending(day(left)).reached(MONDAY) == reached


def test_a_certificate_is_told_once_for_each_lead_time(paper: Any) -> None:
    paper(day(180))
    told = [number for number in range(0, 200, 7) if reached_since(day(number - 7), day(number))]
    assert told == [0, 91, 154, 182]


def test_one_line_a_week_for_each_person_who_keeps_the_register(paper: Any, people: Any) -> None:
    paper(day(20))
    paper(day(-3), "EXD 24 ATEX 0404")
    assert "2 reached a lead time" in send_digest(MONDAY)
    rows = Notice.objects.filter(kind=NoticeKind.EXPIRY)
    assert {row.person for row in rows} == {
        people[name] for name in ("designer", "keeper", "administrator", "neighbour")
    }
    assert rows.count() == 4 and rows[0].link == "/expiry/"
    assert rows[0].subject.startswith("2 run out (1 over already): EXD 24 ATEX 0404 issue 0, EXC")
    assert "already" in send_digest(day(6))
    assert "0 reached" in send_digest(day(7))
    assert Notice.objects.count() == 4
    assert "already" in send_digest(MONDAY)


def test_a_certificate_that_was_typed_since_the_last_digest_is_told(paper: Any, people: Any) -> None:
    send_digest(MONDAY)
    record = paper(day(40))
    assert reached_since(MONDAY, day(7)) == []
    Certificate.objects.filter(pk=record.pk).update(changed_at=dt.datetime.combine(day(2), dt.time(9), tzinfo=dt.UTC))
    assert len(reached_since(MONDAY, day(7))) == 1


@pytest.mark.parametrize("status", ["withdrawn", "superseded"])
def test_what_is_not_in_force_any_more_is_not_told(paper: Any, status: str) -> None:
    record = paper(day(20))
    assert len(reached_since(None, MONDAY)) == 1
    Certificate.objects.filter(pk=record.pk).update(status=status)
    assert reached_since(None, MONDAY) == []


def test_run_due_says_what_it_did_and_does_nothing_twice(paper: Any, people: Any) -> None:
    paper(timezone.localdate() + dt.timedelta(days=20))
    output = io.StringIO()
    call_command("run_due", stdout=output)
    assert "1 reached a lead time; 4 people told" in output.getvalue()
    again = run_due(timezone.localdate())
    assert "already" in again[0] and "Mail: nothing waits." in again
    assert DueRun.objects.filter(name="expiry digest").count() == 1 and Notice.objects.count() == 4


def test_run_due_mails_what_was_not_taken(people: Any, mailoutbox: Any, monkeypatch: Any) -> None:
    row = notices.tell(people["reader"], NoticeKind.APPROVED, "PT-7 was approved.", "/loops/")
    row.at = timezone.now() - dt.timedelta(hours=1)
    Notice.objects.bulk_create([row])
    assert "Mail: 1 mail sent." in run_due(timezone.localdate())
    assert len(mailoutbox) == 1
    assert "Mail: nothing waits." in run_due(timezone.localdate())


def test_run_due_forgets_sessions_that_ran_out(people: Any, client_as: Any) -> None:
    running, over = client_as("reader"), client_as("designer")
    for client in (running, over):
        UserSession.objects.create(user=people["reader"], ip="127.0.0.1", session_key=client.session.session_key)
    Session.objects.filter(pk=over.session.session_key).update(expire_date=timezone.now() - dt.timedelta(days=1))
    assert "Sessions: 1 that ran out are forgotten." in run_due(timezone.localdate())
    assert list(Session.objects.values_list("pk", flat=True)) == [running.session.session_key]
    assert UserSession.objects.get().session_key == running.session.session_key


def test_the_page_lists_by_month_with_the_loops(loop: Any, certificate: Any, paper: Any, client_as: Any) -> None:
    today = timezone.localdate()
    soon, far = today + dt.timedelta(days=40), today + dt.timedelta(days=400)
    Certificate.objects.filter(pk=certificate.pk).update(valid_to=soon)
    paper(far)
    paper(today - dt.timedelta(days=2), "EXD 24 ATEX 0404")
    client = client_as("reader")
    everything = client.get("/expiry/").content.decode()
    assert all(number in everything for number in ("EXA 21", "EXC 25", "EXD 24"))
    assert "40 days left" in everything and "over since 2 days" in everything
    month = client.get(f"/expiry/?month={soon:%Y-%m}").content.decode()
    assert "EXA 21 ATEX 0101" in month and "EXC 25" not in month
    assert 'data-label="Loops">1<' in month
    over = client.get("/expiry/?month=over").content.decode()
    assert "EXD 24" in over and "EXA 21" not in over
    assert client.get("/expiry/?month=%00&page=x").status_code == 200
