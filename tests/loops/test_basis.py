"""After a change of the register: dependants are judged beside their own verdict, issues are marked, people told."""

from typing import Any

import pytest
from django.core import mail

from loops.models import BasisChange, Purpose, Verification
from loops.services import approvals, basis
from loops.services.loops import refresh
from loops.services.whatif import Proposal, loops_of, whatifs
from registry.models import Change, Deed, Notice, NoticeKind, Revision
from registry.services import notices
from registry.services.records import latest_revision, snapshot
from reports.services import issue

pytestmark = pytest.mark.django_db

# The loop has 38 nF of 83 nF: 300 m of 110 nF/km and 5 nF.
LOWER = "30 nF"


def with_co(source_data: dict[str, Any], co: str, **changes: str) -> dict[str, Any]:
    source_data["terminals"][0]["permitted"][0]["co_f"] = co
    source_data["terminals"][0] |= changes
    return source_data


@pytest.fixture
def issued(loop: Any, people: Any, password: str) -> Any:
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)
    loop.refresh_from_db()
    Notice.objects.all().delete()
    mail.outbox.clear()
    return loop


def lines(person: Any) -> list[str]:
    return [notice.subject for notice in notices.inbox(person).order_by("pk")]


def test_a_loop_keeps_its_verdict_and_gets_another_beside_it(
    loop: Any, source: Any, source_data: Any, save: Any
) -> None:
    save("equipment", with_co(source_data, LOWER), record_id=source.pk)
    loop.refresh_from_db()
    assert (loop.verification.verdict, loop.verification.purpose) == ("complies", Purpose.PINNED)
    beside = basis.latest_against_register(loop)
    assert beside is not None
    assert (beside.verdict, beside.purpose) == ("does_not_comply", Purpose.REGISTER)
    assert "30 nF" in beside.limiting


def test_what_is_stored_beside_is_what_judging_again_then_gives(
    loop: Any, source: Any, source_data: Any, save: Any, author_as: Any
) -> None:
    save("equipment", with_co(source_data, LOWER), record_id=source.pk)
    beside = basis.latest_against_register(loop)
    again = refresh(loop.pk, author_as("designer")).verification
    assert beside is not None and (again.inputs, again.results) == (beside.inputs, beside.results)
    assert basis.latest_against_register(refresh(loop.pk, author_as("designer"))) is None


def test_an_issue_is_marked_with_the_reason_once(
    issued: Any, source: Any, source_data: Any, save: Any, people: Any
) -> None:
    save("equipment", with_co(source_data, LOWER), record_id=source.pk)
    (row,) = BasisChange.objects.all()
    revision = latest_revision(source)
    assert (row.approval, row.revision) == (issued.approvals.get(), revision)
    assert "Northlight Barriers NB-28, revision 2" in row.reason
    assert "83 nF → 30 nF" in row.reason and "does not comply" in row.reason
    assert Change.objects.filter(verb=Deed.BASIS, record_id=issued.pk).count() == 1
    assert revision is not None
    assert basis.rejudge([revision.pk]).endswith("0 marks set on issues.")
    assert BasisChange.objects.count() == 1 and Verification.objects.filter(purpose=Purpose.REGISTER).count() == 1
    for role in ("designer", "approver"):
        (subject,) = lines(people[role])
        assert subject.startswith("PT-1101: Northlight Barriers NB-28")
    assert lines(people["planner"]) == []


@pytest.mark.parametrize(
    ("kind", "field", "text"),
    [("equipment", "notes", "Ordered again"), ("equipment", "function", "Supply")],
)
def test_a_remark_marks_nothing(
    issued: Any, source: Any, source_data: Any, save: Any, kind: str, field: str, text: str
) -> None:
    save(kind, source_data | {field: text}, record_id=source.pk)
    assert not BasisChange.objects.exists() and not Notice.objects.exists()


def test_a_set_of_terminals_that_the_loop_does_not_use_marks_nothing(
    issued: Any, source: Any, source_data: Any, save: Any
) -> None:
    other = source_data["terminals"][0] | {"name": "3-4"}
    save("equipment", source_data | {"terminals": [*source_data["terminals"], other]}, record_id=source.pk)
    assert not BasisChange.objects.exists()


def test_conditions_of_a_certificate_mark_though_no_check_reads_them(issued: Any, certificate: Any, save: Any) -> None:
    data = {"scheme": "ATEX", "number": "EXA 21 ATEX 0101X", "issue": "0", "holder": "Northlight Barriers"}
    data |= {"issued_on": "2021-03-01", "status": "current", "specific_conditions": "Mount it upright."}
    save("certificate", data, record_id=certificate.pk)
    assert "Mount it upright" in BasisChange.objects.get().reason


def test_an_area_marks_the_issues_that_reach_into_it(issued: Any, area: Any, save: Any) -> None:
    from tests.conftest import AREA

    save("area", AREA | {"site": str(area.site_id), "drawing": "HAC-002"}, by="designer", record_id=area.pk)
    assert not BasisChange.objects.exists()
    save("area", AREA | {"site": str(area.site_id), "zone": "0"}, by="designer", record_id=area.pk)
    assert "Zone" in BasisChange.objects.get().reason


def test_a_withdrawn_issue_is_not_marked(issued: Any, source: Any, source_data: Any, save: Any, people: Any) -> None:
    approvals.withdraw(issued.approvals.get().pk, people["approver"], text="Plant closed")
    save("equipment", with_co(source_data, LOWER), record_id=source.pk)
    assert not BasisChange.objects.exists()


def test_many_loops_at_once_are_one_line(make_loop: Any, source: Any, source_data: Any, save: Any, people: Any) -> None:
    for number in range(3):
        make_loop(tag=f"PT-{number}")
    save("equipment", with_co(source_data, LOWER), record_id=source.pk)
    (subject,) = lines(people["designer"])
    assert subject == "The basis of 3 loops was changed: PT-0, PT-1, PT-2."


def test_a_draft_whose_verdict_stays_tells_nobody(
    loop: Any, source: Any, source_data: Any, save: Any, people: Any
) -> None:
    save("equipment", with_co(source_data, "82 nF"), record_id=source.pk)
    assert lines(people["designer"]) == []
    assert basis.latest_against_register(loop) is not None


def test_a_proposal_is_judged_and_nothing_is_written(loop: Any, source: Any) -> None:
    before = (Revision.objects.count(), Verification.objects.count())
    content = snapshot(source)
    content["terminals"][0]["permitted"][0]["co_f"] = {"text": LOWER, "si": "0.00000003"}
    proposals = {("equipment", source.pk): Proposal(source, content)}
    (found,) = whatifs(loops_of("equipment", [source.pk]), proposals)
    assert (found.loop, found.head["verdict"], found.changes_verdict) == (loop, "does_not_comply", True)
    (now,) = whatifs(loops_of("equipment", [source.pk]))
    assert not now.touches_inputs and not now.changes_verdict
    assert (Revision.objects.count(), Verification.objects.count()) == before


def test_queries_do_not_grow_with_the_loops(make_loop: Any, source: Any, django_assert_max_num_queries: Any) -> None:
    for number in range(6):
        make_loop(tag=f"PT-{number}")
    with django_assert_max_num_queries(14):
        assert len(list(whatifs(loops_of("equipment", [source.pk])))) == 6


# -------------------------------------------------------------------------------------------------- steps of the way


def test_every_step_tells_whom_it_concerns(
    loop: Any, people: Any, password: str, django_capture_on_commit_callbacks: Any
) -> None:
    designer, approver = people["designer"], people["approver"]
    for step in (
        lambda: approvals.submit(loop.pk, designer),
        lambda: approvals.return_loop(loop.pk, approver, text="Which cable?"),
        lambda: approvals.submit(loop.pk, designer),
        lambda: issue(loop.pk, approver, password, None),
    ):
        with django_capture_on_commit_callbacks(execute=True):
            step()
    assert lines(approver) == ["PT-1101 waits for approval."] * 2
    assert lines(designer) == ["PT-1101 was returned: Which cable?", "PT-1101 was approved and issued."]
    assert [notice.kind for notice in notices.inbox(approver)] == [NoticeKind.REVIEW] * 2
    assert [message.to for message in mail.outbox] == [
        [approver.email],
        [designer.email],
        [approver.email],
        [designer.email],
    ]
    assert mail.outbox[1].subject == "Unlit: PT-1101 was returned: Which cable?"
    assert f"/loops/{loop.pk}/" in mail.outbox[1].body


def test_a_reviewer_who_is_asked_is_told(loop: Any, people: Any, site: Any) -> None:
    from registry.models import Membership, Role

    Membership.objects.create(user=people["planner"], site=site, role=Role.DESIGNER)
    approvals.submit(loop.pk, people["designer"], reviewers=[people["planner"].pk])
    assert lines(people["planner"]) == ["You are asked to review PT-1101."]


def test_who_left_is_told_nothing(loop: Any, people: Any) -> None:
    people["approver"].is_active = False
    people["approver"].save()
    approvals.submit(loop.pk, people["designer"])
    assert not Notice.objects.exists()


# ------------------------------------------------------------------------------------------------------------- pages


def test_a_marked_issue_shows_on_the_loop_the_list_and_the_record(
    issued: Any, make_loop: Any, source: Any, source_data: Any, save: Any, client_as: Any
) -> None:
    make_loop(tag="PT-2")
    client = client_as("reader")
    assert "Basis changed" not in client.get(f"/loops/{issued.pk}/").content.decode()
    save("equipment", with_co(source_data, LOWER), record_id=source.pk)
    page = client.get(f"/loops/{issued.pk}/").content.decode()
    assert "Basis changed since issue A" in page and "83 nF → 30 nF" in page
    assert "With the register as it stood on" in page
    found = client.get("/loops/?basis=changed").content.decode()
    assert "PT-1101" in found and "PT-2" not in found and "1–1 of 1" in found
    assert "Basis changed" in client.get(f"/equipment/{source.pk}/").content.decode()


def test_a_later_issue_is_not_marked_by_what_marked_an_earlier_one(
    issued: Any, source: Any, source_data: Any, save: Any, author_as: Any, people: Any, password: str, client_as: Any
) -> None:
    save("equipment", with_co(source_data, "82 nF"), record_id=source.pk, by="keeper")
    assert "PT-1101" in client_as("reader").get("/loops/?basis=changed").content.decode()
    refresh(issued.pk, author_as("designer"))
    approvals.submit(issued.pk, people["designer"])
    issue(issued.pk, people["approver"], password, None)
    assert "PT-1101" not in client_as("reader").get("/loops/?basis=changed").content.decode()
