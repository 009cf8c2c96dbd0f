"""Issuing signs, renders and stores in one transaction, once, and never for somebody who took part."""

from __future__ import annotations

import copy
import datetime as dt
import hashlib
from collections.abc import Callable
from typing import Any
from unittest import mock

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connection, transaction
from django.urls import reverse

from loops.models import Approval, Loop, LoopState, Verb, WorkflowEvent
from loops.services import approvals
from loops.services.loops import save_loop
from loops.services.refusals import WorkflowRefused
from registry.models import Membership, Role
from registry.services.records import StaleRecord, latest_revision
from reports.models import Sheet
from reports.services import SheetDamaged, SheetNotMade, draft_pdf, sheet_bytes

pytestmark = pytest.mark.django_db


def state_of(loop: Any) -> tuple[Any, ...]:
    """Everything of a loop's way that a refused signature must leave as it was."""
    fresh = Loop.objects.get(pk=loop.pk)
    return (
        fresh.state,
        fresh.letter,
        fresh.version,
        Approval.objects.count(),
        Sheet.objects.count(),
        WorkflowEvent.objects.count(),
    )


def test_issuing_stores_the_sheet_with_its_digest(submitted: Any, sign: Callable[..., Any]) -> None:
    sheet = sign(submitted, text="Seen on site.")
    loop = Loop.objects.get(pk=submitted.pk)
    assert (loop.state, sheet.number) == (LoopState.ISSUED, "NORTH-PT-1101-A")
    stored = Sheet.objects.get(pk=sheet.pk)
    assert bytes(stored.bytes).startswith(b"%PDF-1.7")
    assert hashlib.sha256(bytes(stored.bytes)).hexdigest() == stored.sha256
    assert stored.approval.revision_digest == latest_revision(loop).digest  # type: ignore[union-attr]


def test_the_remark_of_the_approver_is_on_the_paper(
    submitted: Any, sign: Callable[..., Any], words_of: Callable[[bytes], str]
) -> None:
    assert "Seen on site." in words_of(sheet_bytes(sign(submitted, text="Seen on site.")))


@pytest.mark.parametrize("fault", [RuntimeError("broken"), MemoryError(), AssertionError()])
def test_a_fault_of_the_renderer_leaves_everything_as_it_was(
    fault: BaseException, submitted: Any, sign: Callable[..., Any]
) -> None:
    before = state_of(submitted)
    with mock.patch("reports.pdf.weasyprint.HTML", side_effect=fault), pytest.raises(SheetNotMade, match="nothing was"):
        sign(submitted)
    assert state_of(submitted) == before
    assert sign(submitted).number == "NORTH-PT-1101-A"


def test_a_fault_of_the_database_leaves_everything_as_it_was(submitted: Any, sign: Callable[..., Any]) -> None:
    before = state_of(submitted)
    with (
        mock.patch.object(Sheet.objects, "create", side_effect=IntegrityError("full")),
        pytest.raises(IntegrityError),
    ):
        sign(submitted)
    assert state_of(submitted) == before


@pytest.mark.parametrize(
    "values, error",
    [
        ({"password": "wrong"}, WorkflowRefused),
        ({"password": ""}, WorkflowRefused),
        ({"opened_version": 0}, StaleRecord),
        ({"by": "reader"}, PermissionDenied),
        ({"by": "administrator"}, PermissionDenied),
        ({"by": "superuser"}, PermissionDenied),
        ({"by": "neighbour"}, PermissionDenied),
        ({"by": "outsider"}, PermissionDenied),
    ],
)
def test_refused_signatures_leave_everything_as_it_was(
    values: dict[str, Any], error: type[Exception], submitted: Any, sign: Callable[..., Any]
) -> None:
    before = state_of(submitted)
    with pytest.raises(error):
        sign(submitted, **values)
    assert state_of(submitted) == before


def test_a_draft_and_an_issued_loop_cannot_be_signed(loop: Any, sheet: Any, sign: Any, make_loop: Any) -> None:
    for one in (Loop.objects.get(pk=sheet.approval.loop_id), make_loop(tag="PT-2")):
        with pytest.raises(WorkflowRefused, match="Only a loop in review"):
            sign(one)


def test_a_failing_loop_cannot_be_signed_even_in_review(
    failing_loop: Any, sign: Callable[..., Any], people: Any
) -> None:
    """The state is forced past the services, as a fault elsewhere might."""
    Loop.objects.filter(pk=failing_loop.pk).update(state=LoopState.IN_REVIEW, submitted_by=people["designer"])
    with pytest.raises(WorkflowRefused, match="does not comply"):
        sign(Loop.objects.get(pk=failing_loop.pk))
    assert not Sheet.objects.exists()


def test_a_changed_area_cannot_be_signed(submitted: Any, area: Any, save: Any, sign: Callable[..., Any]) -> None:
    text = {"site": str(area.site_id), "name": area.name, "zone": "0", "group": "IIC", "temperature_class": "T6"}
    save(
        "area", text | {"ambient_min_degc": "-20 degC", "ambient_max_degc": "40 degC"}, by="designer", record_id=area.pk
    )
    with pytest.raises(WorkflowRefused, match=r"[Cc]hanged since|differ from their revision"):
        sign(submitted)


# ----------------------------------------------------------------------------------------------- nobody signs their own


@pytest.fixture
def everything(people: Any, site: Any) -> Any:
    """The designer, who also is an approver at the site."""
    Membership.objects.create(user=people["designer"], site=site, role=Role.APPROVER)
    return people["designer"]


@pytest.fixture
def second_designer(people: Any, site: Any) -> Any:
    """The approver, who also is a designer at the site."""
    Membership.objects.create(user=people["approver"], site=site, role=Role.DESIGNER)
    return people["approver"]


def test_who_changed_and_submitted_it_is_refused(everything: Any, submitted: Any, sign: Callable[..., Any]) -> None:
    with pytest.raises(PermissionDenied, match="since its last approval"):
        sign(submitted, by="designer")


def test_who_only_submitted_it_is_refused(loop: Any, second_designer: Any, sign: Callable[..., Any]) -> None:
    loop = approvals.submit(loop.pk, second_designer)
    with pytest.raises(PermissionDenied, match="submitted it"):
        sign(loop)


def test_who_changed_it_long_ago_is_refused_after_others_changed_it(
    loop: Any, second_designer: Any, loop_data: Any, author_as: Any, submit: Any, sign: Callable[..., Any]
) -> None:
    save_loop(loop_data(length="301 m"), author_as("approver"), loop_id=loop.pk)
    loop = save_loop(loop_data(length="302 m"), author_as("designer"), loop_id=loop.pk)
    with pytest.raises(PermissionDenied, match="changed it"):
        sign(submit(loop))


def test_who_changed_it_before_its_last_approval_may_sign(
    people: Any, site: Any, loop: Any, second_designer: Any, loop_data: Any, author_as: Any, submit: Any, sign: Any
) -> None:
    """The approver changes it, somebody else issues A; then the designer changes it alone, and the approver signs B."""
    Membership.objects.create(user=people["planner"], site=site, role=Role.APPROVER)
    loop = save_loop(loop_data(length="301 m"), author_as("approver"), loop_id=loop.pk)
    sign(submit(loop), by="planner")
    loop = save_loop(loop_data(length="302 m"), author_as("designer"), loop_id=loop.pk)
    assert sign(submit(loop)).number == "NORTH-PT-1101-B"


def insert(loop: Any, **people: Any) -> None:
    """A signature written past all services."""
    revision = latest_revision(loop)
    Approval.objects.create(
        loop=loop,
        letter="Q",
        revision=revision,
        verification=loop.verification,
        revision_digest="0" * 64,
        verification_digest="0" * 64,
        approved_at=loop.changed_at,
        prepared_name="x",
        printed_name="x",
        meaning="x",
        **people,
    )


@pytest.mark.parametrize(
    "submitted_by, approved_by", [("approver", "designer"), ("approver", "approver"), ("designer", "designer")]
)
def test_the_database_itself_refuses_who_took_part(
    submitted_by: str, approved_by: str, submitted: Any, people: Any
) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        insert(submitted, submitted_by=people[submitted_by], approved_by=people[approved_by])
    assert not Approval.objects.exists()


def test_the_database_accepts_who_did_not(submitted: Any, people: Any) -> None:
    """Otherwise the refusals above would prove nothing."""
    insert(submitted, submitted_by=people["designer"], approved_by=people["approver"])
    assert Approval.objects.count() == 1


# ------------------------------------------------------------------------------------------------------- kept as it is


@pytest.mark.parametrize("statement", ["UPDATE reports_sheet SET number = 'x'", "DELETE FROM reports_sheet"])
def test_the_database_changes_no_issued_sheet(statement: str, sheet: Any) -> None:
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert Sheet.objects.get(pk=sheet.pk).number == sheet.number


def test_later_changes_of_everything_leave_the_issued_bytes(
    sheet: Any,
    people: Any,
    save: Any,
    source: Any,
    source_data: Any,
    loop_data: Any,
    author_as: Any,
    submit: Any,
    sign: Any,
) -> None:
    issued = sheet_bytes(Sheet.objects.get(pk=sheet.pk))
    changed = copy.deepcopy(source_data) | {"type_name": "NB-28 mark 2"}
    changed["terminals"][0] |= {"uo_v": "27 V", "id": source.terminals.get().pk}
    save("equipment", changed, record_id=source.pk)
    people["designer"].full_name = "Another name"
    people["designer"].save()
    loop = save_loop(loop_data(length="200 m"), author_as("designer"), loop_id=sheet.approval.loop_id)
    second = sign(submit(loop))
    assert sheet_bytes(Sheet.objects.get(pk=sheet.pk)) == issued
    assert (second.number, second.approval.letter) == ("NORTH-PT-1101-B", "B")
    assert bytes(second.bytes) != issued


def test_the_second_sheet_tells_the_history_and_its_reason(
    sheet: Any, loop_data: Any, author_as: Any, submit: Any, sign: Any, words_of: Callable[[bytes], str]
) -> None:
    loop = save_loop(
        loop_data(length="200 m"), author_as("designer", reason="Cable re-routed"), loop_id=sheet.approval.loop_id
    )
    words = words_of(sheet_bytes(sign(submit(loop))))
    assert "Cablere-routed" in words.replace(" ", "") and "First issue" in words
    assert "Cablere-routed" not in words_of(sheet_bytes(sheet)).replace(" ", "")


def test_damaged_bytes_are_given_to_nobody(damaged: Any) -> None:
    with pytest.raises(SheetDamaged, match="NORTH-PT-1101-A"):
        sheet_bytes(damaged)


def test_two_loops_whose_site_and_tag_spell_the_same_both_get_a_number(
    submitted: Any, superuser: Any, sign: Callable[..., Any]
) -> None:
    """The number of another loop's sheet stands in the way: the rows are made past the services."""
    with mock.patch("reports.sheets.build.sheet_number", return_value="TAKEN"):
        first = sign(submitted)
    assert first.number == "TAKEN"
    from reports.services import free_number

    assert free_number(first.approval.loop, "TAKEN") == f"TAKEN-{first.approval.loop_id}"


def test_events_tell_the_way(sheet: Any) -> None:
    verbs = list(WorkflowEvent.objects.order_by("pk").values_list("verb", flat=True))
    assert verbs == [Verb.SUBMIT, Verb.APPROVE]


def test_an_issued_sheet_is_never_rendered_again(sheet: Any, client_as: Any) -> None:
    """Whoever asks for it gets the bytes that were stored, with the writer taken away."""
    stored = bytes(Sheet.objects.get(pk=sheet.pk).bytes)
    client = client_as("reader")
    with mock.patch("reports.pdf.weasyprint.HTML", side_effect=AssertionError("a sheet was rendered again")):
        for asked in ({}, {"view": "1"}):
            answer = client.get(reverse("reports:sheet", args=[sheet.pk]), asked)
            assert answer.status_code == 200 and answer.content == stored
        assert sheet_bytes(Sheet.objects.get(pk=sheet.pk)) == stored


def test_the_same_record_at_the_same_time_gives_the_same_bytes(loop: Any) -> None:
    moment = dt.datetime(2026, 11, 25, 14, 3, tzinfo=dt.UTC)
    assert draft_pdf(loop, made_at=moment) == draft_pdf(Loop.objects.get(pk=loop.pk), made_at=moment)
    assert draft_pdf(loop, made_at=moment) != draft_pdf(loop, made_at=moment + dt.timedelta(minutes=1))
