"""What the change log says of a loop: its saves, every step of its way, and the revision that each was taken with."""

from typing import Any

import pytest

from loops.services import approvals
from loops.services.loops import archive_loop, save_loop
from registry.models import Change, Revision
from registry.services.records import Author, latest_revision
from reports.services import issue

pytestmark = pytest.mark.django_db


def told(kind: str) -> list[Change]:
    return list(Change.objects.filter(kind=kind).order_by("number"))


def test_every_step_is_told_with_the_revision_it_was_taken_with(
    loop: Any, people: Any, password: str, loop_data: Any
) -> None:
    designer, approver = people["designer"], people["approver"]
    approvals.submit(loop.pk, designer, text="First issue")
    approvals.take_back(loop.pk, designer)
    approvals.submit(loop.pk, designer)
    approvals.return_loop(loop.pk, approver, text="Which drawing?")
    save_loop(loop_data(drawing="LD-7"), Author(designer), loop_id=loop.pk)
    approvals.submit(loop.pk, designer)
    sheet = issue(loop.pk, approver, password, None)
    save_loop(loop_data(drawing="LD-8"), Author(designer, reason="New cabinet"), loop_id=loop.pk)
    archive_loop(loop, True, Author(designer, reason="Demolished"))
    rows = told("loop")
    assert [row.verb for row in rows] == [
        "add", "submit", "take_back", "submit", "return", "change", "submit", "approve", "change", "reopen", "archive",
    ]  # fmt: skip
    known = {revision.number: revision.digest for revision in Revision.objects.filter(kind="loop")}
    assert all(row.digest == known[row.detail["revision"]] for row in rows)
    assert {row.site_id for row in rows} == {loop.site_id}
    assert [rows[index].detail.get("text") for index in (1, 4, 9)] == ["First issue", "Which drawing?", "New cabinet"]
    approval = sheet.approval
    assert rows[7].detail["approval"] == approval.pk
    assert rows[7].detail["verification"] == approval.verification_digest
    (row,) = told("sheet")
    assert (row.verb, row.record_id, row.label, row.digest) == ("issue", sheet.pk, sheet.number, sheet.sha256)


def test_a_refused_signature_leaves_no_line(loop: Any, people: Any) -> None:
    approvals.submit(loop.pk, people["designer"])
    before = Change.objects.count()
    with pytest.raises(approvals.WorkflowRefused):
        issue(loop.pk, people["approver"], "wrong", None)
    assert Change.objects.count() == before
    assert latest_revision(loop) is not None
