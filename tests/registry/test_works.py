"""Long work: progress, cancelling, what came of it, and whom it is shown to."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.storage import default_storage
from django.urls import reverse
from django.utils import timezone

from registry.models import Notice, Work, WorkState
from registry.services import works

pytestmark = pytest.mark.django_db


@pytest.fixture
def runners(monkeypatch):
    """A place for the runners of one test; work waits there until the test does it."""
    found = {}
    monkeypatch.setattr(works, "RUNNERS", found)
    monkeypatch.setattr(works, "do_work", SimpleNamespace(enqueue=lambda pk: None))
    return found


def counting(to, seen=None):
    def run(work, progress):
        progress.begin(to)
        for number in range(to):
            if seen is not None:
                seen.append(number)
            progress.told_at = 0.0  # each step is told
            progress.step()
        return works.Outcome(f"{to} counted.", {"lines": [{"text": "One"}]}, b"1, 2, 3", "numbers.txt", "text/plain")

    return run


def test_work_is_done_once_kept_and_told(runners, people, client_as):
    runners["count"] = counting(3)
    work = works.begin(people["designer"], "count", "Counting", {})
    assert client_as("designer").get(reverse("work", args=[work.pk])).status_code == 200
    assert works.do(work.pk) == "3 counted."
    assert works.do(work.pk) == "Nothing to do."
    work.refresh_from_db()
    assert (work.state, work.done, work.total, work.words) == (WorkState.DONE, 3, 3, "3 counted.")
    assert Notice.objects.get(person=people["designer"]).subject == "Counting: 3 counted."
    client = client_as("designer")
    answer = client.get(reverse("work_file", args=[work.pk]))
    assert answer.content == b"1, 2, 3"
    assert answer["Content-Disposition"] == 'attachment; filename="numbers.txt"'
    assert "3 counted." in client.get(reverse("works")).content.decode()
    assert "One" in client.get(reverse("work", args=[work.pk])).content.decode()


def test_work_that_waits_is_cancelled_at_once_and_never_done(runners, people, client_as):
    runners["count"] = counting(3, seen := [])
    work = works.begin(people["designer"], "count", "Counting", {})
    client_as("designer").post(reverse("work_cancel", args=[work.pk]))
    assert works.do(work.pk) == "Nothing to do."
    work.refresh_from_db()
    assert work.state == WorkState.CANCELLED and seen == []


def test_work_under_way_is_cancelled_at_its_next_step(runners, people):
    seen = []

    def run(work, progress):
        progress.begin(100)
        for number in range(100):
            seen.append(number)
            if number == 4:
                works.cancel(Work.objects.get(pk=work.pk))
            progress.told_at = 0.0
            progress.step()
        return works.Outcome("All done.", content=b"x", file_name="x", media_type="text/plain")

    runners["count"] = run
    work = works.begin(people["designer"], "count", "Counting", {})
    works.do(work.pk)
    work.refresh_from_db()
    assert work.state == WorkState.CANCELLED and seen == [0, 1, 2, 3, 4] and not work.stored_as


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (works.WorkRefused("There is nothing to count: choose more."), "There is nothing to count: choose more."),
        (PermissionDenied("A designer may do this."), "A designer may do this."),
        (ZeroDivisionError(), "Something went wrong: tell the administrator."),
    ],
)
def test_work_that_fails_says_why(runners, people, error, words, caplog):
    def run(work, progress):
        raise error

    runners["count"] = run
    work = works.begin(people["designer"], "count", "Counting", {})
    works.do(work.pk)
    work.refresh_from_db()
    assert (work.state, work.words) == (WorkState.FAILED, words)


def test_nobody_else_sees_it(runners, people, client_as):
    runners["count"] = counting(1)
    work = works.begin(people["designer"], "count", "Counting", {})
    works.do(work.pk)
    for role in ("approver", "administrator", "superuser"):
        for name in ("work", "work_file", "work_progress"):
            assert client_as(role).get(reverse(name, args=[work.pk])).status_code == 404


def test_a_file_that_was_altered_is_given_to_nobody(runners, people, client_as):
    runners["count"] = counting(1)
    work = works.begin(people["designer"], "count", "Counting", {})
    works.do(work.pk)
    work.refresh_from_db()
    with default_storage.open(work.stored_as, "wb") as file:
        file.write(b"1, 2, 4")
    answer = client_as("designer").get(reverse("work_file", args=[work.pk]))
    assert answer.status_code == 500 and b"does not match its digest" in answer.content


def test_too_much_at_once_is_refused_with_the_cure(runners, people):
    runners["count"] = counting(1)
    for _ in range(works.MOST_WAITING):
        works.begin(people["designer"], "count", "Counting", {})
    with pytest.raises(works.WorkRefused, match="wait for one, or cancel one"):
        works.begin(people["designer"], "count", "Counting", {})
    works.begin(people["approver"], "count", "Counting", {})


def test_old_work_is_forgotten_with_its_file_and_lost_work_has_an_end(runners, people):
    runners["count"] = counting(1)
    old = works.begin(people["designer"], "count", "Counting", {})
    works.do(old.pk)
    old.refresh_from_db()
    lost = works.begin(people["designer"], "count", "Counting", {})
    now = timezone.now()
    Work.objects.filter(pk=old.pk).update(ended_at=now - dt.timedelta(days=31))
    Work.objects.filter(pk=lost.pk).update(state=WorkState.RUNNING, started_at=now - dt.timedelta(days=2))
    assert works.forget(dt.timedelta(days=30)) == 1
    assert not default_storage.exists(old.stored_as)
    lost.refresh_from_db()
    assert (lost.state, lost.words) == (WorkState.FAILED, "The worker was stopped: ask for it again.")
