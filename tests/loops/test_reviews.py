"""Reviewers, remarks, withdrawals, and who is kept from signing (common practice, no source)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from loops.models import Approval, Loop, LoopState, Remark, ReviewAnswer, Withdrawal
from loops.services import approvals, reviews
from loops.services.contributors import contributors, contributors_of, newer_pins
from loops.services.loops import refresh, save_loop
from loops.services.refusals import WorkflowRefused
from registry.models import Membership, Role, User
from registry.selectors import record_text
from registry.services.records import Author, save_text
from reports.services import issue

pytestmark = pytest.mark.django_db
People = dict[str, User]


@pytest.fixture
def second(site: Any, people: People) -> User:
    """A second approver of the site."""
    person = User.objects.create_user("second", password="a long enough word", full_name="Second Approver")
    Membership.objects.create(user=person, site=site, role=Role.APPROVER)
    return person


def fresh(loop: Loop) -> Loop:
    return Loop.objects.get(pk=loop.pk)


def submit(loop: Loop, people: People, *reviewers: User) -> Loop:
    approvals.submit(loop.pk, people["designer"], reviewers=[person.pk for person in reviewers])
    return fresh(loop)


def sign(loop: Loop, person: User, password: str) -> Approval:
    issue(loop.pk, person, password, None)
    return Approval.objects.latest("pk")


def test_a_signature_waits_for_the_reviewer(loop: Loop, people: People, second: User, password: str) -> None:
    loop = submit(loop, people, second)
    with pytest.raises(WorkflowRefused, match="Second Approver was asked to review it"):
        sign(loop, people["approver"], password)
    request = reviews.requests_now(loop).get()
    reviews.answer_review(request.pk, second, word="agreed")
    assert sign(loop, people["approver"], password).letter == "A"


def test_an_objection_blocks_and_says_why(loop: Loop, people: People, second: User, password: str) -> None:
    loop = submit(loop, people, second)
    request = reviews.requests_now(loop).get()
    with pytest.raises(WorkflowRefused, match="Say why"):
        reviews.answer_review(request.pk, second, word="objected")
    reviews.answer_review(request.pk, second, word="objected", text="The cable is longer on site.")
    with pytest.raises(WorkflowRefused, match="longer on site"):
        sign(loop, people["approver"], password)


def test_only_who_was_asked_answers_and_once(loop: Loop, people: People, second: User) -> None:
    loop = submit(loop, people, second)
    request = reviews.requests_now(loop).get()
    with pytest.raises(PermissionDenied, match="Only the person who was asked"):
        reviews.answer_review(request.pk, people["approver"], word="agreed")
    reviews.answer_review(request.pk, second, word="agreed")
    with pytest.raises(WorkflowRefused, match="answered already"):
        reviews.answer_review(request.pk, second, word="objected", text="No")


def test_a_reviewer_can_be_excused_with_a_reason(loop: Loop, people: People, second: User, password: str) -> None:
    loop = submit(loop, people, second)
    request = reviews.requests_now(loop).get()
    with pytest.raises(WorkflowRefused, match="Say why"):
        reviews.answer_review(request.pk, people["designer"], word="excused")
    reviews.answer_review(request.pk, people["designer"], word="excused", text="On leave")
    assert sign(loop, people["approver"], password)


def test_nobody_reviews_their_own_work(loop: Loop, people: People) -> None:
    with pytest.raises(WorkflowRefused, match="cannot review this loop"):
        approvals.submit(loop.pk, people["designer"], reviewers=[people["designer"].pk])
    assert fresh(loop).state == LoopState.DRAFT


def test_requests_lapse_with_their_submission(loop: Loop, people: People, second: User, password: str) -> None:
    loop = submit(loop, people, second)
    request = reviews.requests_now(loop).get()
    approvals.take_back(loop.pk, people["designer"])
    with pytest.raises(WorkflowRefused, match="earlier submission"):
        reviews.answer_review(request.pk, second, word="agreed")
    loop = submit(fresh(loop), people)
    assert sign(loop, people["approver"], password)


def test_an_open_remark_blocks_the_signature_until_it_is_settled(loop: Loop, people: People, password: str) -> None:
    thread = reviews.remark(loop.pk, people["planner"], text="Is W1 the new route?", about="Cable W1")
    loop = submit(loop, people)
    with pytest.raises(WorkflowRefused, match=r"An open remark of .* \(Cable W1\): Is W1 the new route"):
        sign(loop, people["approver"], password)
    reviews.reply(thread.pk, people["designer"], kind="answer", text="It is.")
    with pytest.raises(PermissionDenied, match="Who made the remark settles it"):
        reviews.reply(thread.pk, people["designer"], kind="settled")
    with pytest.raises(WorkflowRefused, match="open remark"):
        sign(loop, people["approver"], password)
    reviews.reply(thread.pk, people["planner"], kind="settled")
    reviews.reply(thread.pk, people["designer"], kind="reopened", text="Wait")
    assert reviews.open_remarks(loop)
    reviews.reply(thread.pk, people["approver"], kind="settled")
    assert sign(loop, people["approver"], password)


def test_a_reader_makes_no_remark_and_a_neighbour_neither(loop: Loop, people: People) -> None:
    for name in ("reader", "neighbour"):
        with pytest.raises(PermissionDenied):
            reviews.remark(loop.pk, people[name], text="Hello")
    assert not Remark.objects.exists()


@pytest.mark.parametrize("text", ["", "   \n"])
def test_an_empty_remark_is_refused(loop: Loop, people: People, text: str) -> None:
    with pytest.raises(WorkflowRefused, match="Write what"):
        reviews.remark(loop.pk, people["designer"], text=text)


# ---------------------------------------------------------------------------------------------------------- withdrawal


def test_a_withdrawn_issue_says_so_and_the_next_change_begins_the_next_letter(
    loop: Loop, people: People, password: str
) -> None:
    approval = sign(submit(loop, people), people["approver"], password)
    with pytest.raises(WorkflowRefused, match="Say why"):
        approvals.withdraw(approval.pk, people["approver"], text=" ")
    with pytest.raises(PermissionDenied):
        approvals.withdraw(approval.pk, people["designer"], text="Wrong cable")
    approvals.withdraw(approval.pk, people["approver"], text="Wrong cable")
    assert fresh(loop).state == LoopState.WITHDRAWN
    assert approvals.in_force(fresh(loop)) is None
    with pytest.raises(WorkflowRefused, match="in force"):
        approvals.withdraw(approval.pk, people["approver"], text="Again")
    data = record_text(fresh(loop)) | {"notes": "Mended"}
    save_loop(data, Author(people["designer"], reason="Cable mended"), loop_id=loop.pk)
    assert (fresh(loop).state, fresh(loop).letter) == (LoopState.DRAFT, "B")


def test_a_withdrawn_loop_that_is_saved_as_it_was_begins_the_next_letter_too(
    loop: Loop, people: People, password: str
) -> None:
    """What was wrong may have been mended on site; the way back to an issue leads through a signature of its own."""
    approval = sign(submit(loop, people), people["approver"], password)
    approvals.withdraw(approval.pk, people["approver"], text="Wired wrongly")
    author = Author(people["designer"], reason="Wired as drawn")
    save_loop(record_text(fresh(loop)), author, loop_id=loop.pk)
    assert (fresh(loop).state, fresh(loop).letter) == (LoopState.DRAFT, "B")
    second = sign(submit(fresh(loop), people), people["approver"], password)
    assert (second.letter, second.revision.number) == ("B", approval.revision.number + 1)
    assert second.revision.digest == approval.revision.digest
    save_loop(record_text(fresh(loop)), author, loop_id=loop.pk)
    assert (fresh(loop).state, fresh(loop).letter) == (LoopState.ISSUED, "B")


def test_the_loop_page_dates_both_signatures(
    loop: Loop, people: People, password: str, client_as: Callable[[str], Any]
) -> None:
    sign(submit(loop, people), people["approver"], password)
    page = client_as("reader").get(f"/loops/{loop.pk}/")
    prepared, approved = page.context["signatures"]
    event = fresh(loop).events.get(verb="submit")
    assert (prepared["role"], prepared["at"]) == ("Prepared", event.created_at)
    assert approved["at"] == Approval.objects.get().approved_at


def test_an_issue_can_be_withdrawn_while_the_next_revision_is_prepared(
    loop: Loop, people: People, password: str
) -> None:
    approval = sign(submit(loop, people), people["approver"], password)
    data = record_text(fresh(loop)) | {"notes": "Another note"}
    save_loop(data, Author(people["designer"], reason="Note"), loop_id=loop.pk)
    approvals.withdraw(approval.pk, people["approver"], text="Unsafe as built")
    assert fresh(loop).state == LoopState.DRAFT
    assert Withdrawal.objects.get().approval == approval


@pytest.mark.parametrize("table", ["loops_remark", "loops_reviewrequest", "loops_reviewanswer", "loops_withdrawal"])
def test_what_was_said_is_never_rewritten(table: str, loop: Loop, people: People, second: User, password: str) -> None:
    thread = reviews.remark(loop.pk, people["planner"], text="Hello")
    reviews.reply(thread.pk, people["planner"], kind="settled")
    loop = submit(loop, people, second)
    reviews.answer_review(reviews.requests_now(loop).get().pk, second, word="agreed")
    approvals.withdraw(sign(loop, people["approver"], password).pk, people["approver"], text="Wrong")
    assert ReviewAnswer.objects.exists()
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {table}")


# ------------------------------------------------------------------------------------------- who had a hand in the loop


def change_device(device: Any, person: User) -> None:
    """Save the device with another note."""
    data = record_text(device) | {"notes": f"Seen by {person}"}
    save_text("equipment", data, Author(person, reason="Note"), record_id=device.pk)


def test_who_changes_the_pinned_device_does_not_sign_the_loop(
    loop: Loop, device: Any, people: People, password: str, site: Any
) -> None:
    Membership.objects.create(user=people["approver"], site=site, role=Role.KEEPER)
    assert people["approver"].pk not in contributors(loop)
    change_device(device, people["approver"])
    refresh(loop.pk, Author(people["designer"], reason="New values"))
    loop = submit(fresh(loop), people)
    with pytest.raises(PermissionDenied, match=r"You changed .*, which it rests on"):
        sign(loop, people["approver"], password)


def test_after_an_issue_only_later_changes_count(
    loop: Loop, device: Any, people: People, second: User, password: str, site: Any
) -> None:
    Membership.objects.create(user=second, site=site, role=Role.KEEPER)
    change_device(device, second)
    refresh(loop.pk, Author(people["designer"], reason="New values"))
    sign(submit(fresh(loop), people), people["approver"], password)
    assert second.pk not in contributors(fresh(loop))
    assert newer_pins(Approval.objects.get().revision.snapshot) == []
    change_device(device, people["keeper"])
    assert len(newer_pins(Approval.objects.get().revision.snapshot)) == 1


# --------------------------------------------------------------------------------------------------------- on the page


def test_the_loop_page_takes_a_remark_on_a_check(loop: Loop, client_as: Callable[[str], Any]) -> None:
    client = client_as("designer")
    page = client.get(f"/loops/{loop.pk}/").content.decode()
    assert "?remark=Voltage" in page
    answer = client.post(f"/loops/{loop.pk}/remarks/", {"form": "remark", "about": "Voltage, S1", "text": "Hm <b>"})
    assert answer.status_code == 302
    page = client.get(f"/loops/{loop.pk}/").content.decode()
    assert "Hm &lt;b&gt;" in page and "1 open" in page
    thread = Remark.objects.get()
    refused = client.post(f"/loops/{loop.pk}/remarks/{thread.pk}/", {"form": f"reply-{thread.pk}", "kind": "answer"})
    assert refused.status_code == 409
    assert "Write what you want to answer" in refused.content.decode()


def test_a_thread_of_another_loop_is_not_found(loop: Loop, client_as: Callable[[str], Any]) -> None:
    client = client_as("designer")
    assert client.post(f"/loops/{loop.pk}/remarks/99/", {"kind": "answer", "text": "x"}).status_code == 404
    assert client.post(f"/loops/{loop.pk}/issues/99/withdraw/", {"text": "x"}).status_code == 404
    assert client.post(f"/loops/{loop.pk}/reviewers/99/", {"word": "agreed"}).status_code == 404


def test_who_can_be_asked_is_chosen_on_a_page_of_its_own(
    loop: Loop, people: People, second: User, client_as: Callable[[str], Any]
) -> None:
    client = client_as("designer")
    assert f"/loops/{loop.pk}/reviewers/" in client.get(f"/loops/{loop.pk}/").content.decode()
    page = client.get(f"/loops/{loop.pk}/reviewers/")
    offered = {person.pk for person in page.context["reviewers"]}
    assert {second.pk, people["approver"].pk} <= offered and people["designer"].pk not in offered
    sent = {"_version": loop.version, "form": "submit", "reviewers": [second.pk], "text": "Please look at W1."}
    assert client.post(f"/loops/{loop.pk}/submit/", sent).status_code == 302
    assert [item.reviewer for item in reviews.requests_now(fresh(loop))] == [second]
    later = client_as("approver").get(f"/loops/{loop.pk}/reviewers/")
    assert second.pk not in {person.pk for person in later.context["reviewers"]}
    approvals.take_back(loop.pk, people["designer"])
    # A draft is an approver's to look at, not to submit.
    assert client_as("approver").get(f"/loops/{loop.pk}/reviewers/").headers["Location"] == f"/loops/{loop.pk}/"
    assert client_as("reader").get(f"/loops/{loop.pk}/reviewers/").status_code == 403


def test_the_hands_in_many_loops_are_those_in_each(
    make_loop: Any, people: People, source: Any, site: Any, save: Any, password: str, django_assert_num_queries: Any
) -> None:
    """What is found of several loops at once is what was found of each alone, in as many queries as of one."""
    first, second_loop, third = (make_loop(tag=f"NEW-{number}") for number in range(3))
    submit(first, people)
    sign(fresh(first), people["approver"], password)
    save("equipment", record_text(source) | {"notes": "Looked at again"}, by="keeper", record_id=source.pk)
    refresh(second_loop.pk, Author(people["designer"]))
    reviews.remark(third.pk, people["planner"], text="Which route?")
    save_text(
        "site",
        record_text(site) | {"safe_voltage_max_v": "230 V"},
        Author(people["administrator"], reason="Drawn from the new supply"),
        record_id=site.pk,
    )
    loops = [fresh(loop) for loop in (first, second_loop, third)]
    alone = {loop.pk: contributors(loop) for loop in loops}
    assert contributors_of(loops) == alone
    assert "changed it" in alone[second_loop.pk].values()
    keeper = people["keeper"].pk
    assert "Northlight" in alone[second_loop.pk][keeper] and keeper not in alone[third.pk]
    assert people["administrator"].pk in alone[third.pk]
    assert people["designer"].pk not in alone[first.pk]
    with CaptureQueriesContext(connection) as one:
        contributors_of(loops[:1])
    with django_assert_num_queries(len(one)):
        contributors_of(loops)
