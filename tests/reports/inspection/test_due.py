"""When a loop is to be inspected next, and who is told."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.management import call_command
from hypothesis import given
from hypothesis import strategies as st

from loops.models import Loop
from registry.models import Notice, NoticeKind, Site
from registry.selectors import record_text
from registry.services.records import EntryRefused
from reports.inspection.due import Due, after_months, due_of, due_rows, next_of, tell_due
from reports.inspection.models import SignedInspection

DAY = dt.date(2026, 1, 31)


def site_with(visual: int = 36, close: int = 36, detailed: int = 36) -> Site:
    return Site(visual_months=visual, close_months=close, detailed_months=detailed)


@given(st.dates(dt.date(1990, 1, 1), dt.date(2100, 1, 1)), st.integers(1, 120))
def test_months_later_as_a_general_library_counts_them(day: dt.date, months: int) -> None:
    from dateutil.relativedelta import relativedelta

    assert after_months(day, months) == day + relativedelta(months=months)


@pytest.mark.parametrize(
    ("site", "last", "since", "wanted"),
    [
        (site_with(), {}, DAY, ("detailed", DAY, True)),
        (site_with(), {}, None, ("", None, True)),
        (site_with(12, 24, 36), {"detailed": DAY}, DAY, ("visual", dt.date(2027, 1, 31), False)),
        (site_with(12, 24, 0), {"visual": DAY}, DAY, ("close", DAY, False)),
        (site_with(12, 0, 0), {"close": DAY}, DAY, ("visual", dt.date(2027, 1, 31), False)),
        (site_with(36, 36, 36), {"detailed": DAY}, DAY, ("detailed", dt.date(2029, 1, 31), False)),
        (site_with(1, 0, 36), {"detailed": DAY}, DAY, ("visual", dt.date(2026, 2, 28), False)),
    ],
)
def test_which_grade_is_next_and_when(
    site: Site, last: dict[str, dt.date], since: dt.date | None, wanted: tuple[str, dt.date | None, bool]
) -> None:
    """A stronger inspection counts for the weaker grades (IEC 60079-17:2013, clause 3, from memory)."""
    assert next_of(site, last, since) == wanted


@pytest.mark.parametrize(("days", "state"), [(-1, "overdue"), (0, "soon"), (30, "soon"), (31, "later")])
def test_the_state_of_a_due_day(days: int, state: str) -> None:
    due = Due(Loop(tag="PT-1"), "close", DAY + dt.timedelta(days=days), False)
    assert due.state(DAY) == state


def rows_of_all() -> list[Due]:
    """What is due of all loops; each of them says the same when it is asked alone."""
    rows = due_rows(Loop.objects.all())
    assert {loop.pk: due_of(loop) for loop in Loop.objects.all()} == dict.fromkeys(
        Loop.objects.values_list("pk", flat=True)
    ) | {due.loop.pk: due for due in rows}
    return rows


@pytest.mark.django_db
def test_a_loop_is_planned_for_once_it_is_issued(sheet: Any, make_loop: Any) -> None:
    make_loop(tag="PT-7")
    rows = rows_of_all()
    assert [(due.loop.tag, due.never, due.grade) for due in rows] == [("PT-1101", True, "detailed")]


@pytest.mark.django_db
def test_an_inspection_moves_the_day_and_an_incomplete_one_does_not(sheet: Any, signed: Any) -> None:
    loop = sheet.approval.loop
    signed(loop, "close", damage={"result": "not_checked", "note": "Scaffold."})
    assert rows_of_all()[0].never
    record = signed(loop, "detailed")
    due = rows_of_all()[0]
    assert (due.never, due.on) == (False, after_months(record.inspected_on, 36))
    assert record.next_due_on == due.on and record.content["next_due_on"] == due.on.isoformat()


@pytest.mark.django_db
def test_the_interval_is_the_sites_and_is_versioned(sheet: Any, signed: Any, save: Any, site: Any) -> None:
    signed(sheet.approval.loop, "detailed")
    text = record_text(site) | {"detailed_months": "12", "visual_months": "0", "close_months": "0"}
    save("site", text, by="administrator", record_id=site.pk)
    due = rows_of_all()[0]
    assert due.on == after_months(SignedInspection.objects.get().inspected_on, 12)
    from registry.models import Revision

    newest = Revision.objects.filter(kind="site", record_id=site.pk).order_by("-number").first()
    assert newest is not None and newest.snapshot["detailed_months"] == 12


@pytest.mark.django_db
@pytest.mark.parametrize("months", [{"detailed_months": "121"}, {"close_months": "x"}, {"visual_months": "-1"}])
def test_months_that_make_no_sense_are_refused(months: dict[str, str], site: Any, save: Any) -> None:
    with pytest.raises(EntryRefused):
        save("site", record_text(site) | months, by="administrator", record_id=site.pk)


@pytest.mark.django_db
def test_a_site_plans_at_least_one_grade(site: Any, save: Any) -> None:
    none = dict.fromkeys(("visual_months", "close_months", "detailed_months"), "0")
    with pytest.raises(EntryRefused, match="at least one grade"):
        save("site", record_text(site) | none, by="administrator", record_id=site.pk)


@pytest.mark.django_db
def test_planners_and_designers_are_told_once_a_week(sheet: Any, people: Any) -> None:
    day = dt.date(2026, 11, 23)
    assert "1 due" in tell_due(max(day, rows_of_all()[0].on))
    lines = Notice.objects.filter(kind=NoticeKind.INSPECTION)
    assert {line.person.username for line in lines} == {"planner", "designer"}
    assert "NORTH: 1 inspection due" in lines[0].subject and lines[0].link == "/inspections/?site=NORTH"
    call_command("run_due")
    assert Notice.objects.filter(kind=NoticeKind.INSPECTION).count() == 2


@pytest.mark.django_db
@pytest.mark.parametrize("suffix", ["csv", "xlsx", "pdf"])
def test_the_list_is_a_table_too(suffix: str, sheet: Any, client_as: Any, words_of: Any) -> None:
    answer = client_as("reader").get(f"/inspections/due.{suffix}")
    assert answer.status_code == 200
    if suffix == "csv":
        assert "never inspected" in answer.content.decode()
    if suffix == "pdf":
        assert "PT-1101" in words_of(answer.content)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("query", "count"),
    [("", 1), ("q=PT", 1), ("q=TT", 0), ("grade=close", 0), ("when=later", 0), ("site=NOWHERE", 0), ("area=x", 0)],
)
def test_the_list_narrows(query: str, count: int, sheet: Any, client_as: Any) -> None:
    page = client_as("reader").get(f"/inspections/?{query}").content.decode()
    assert page.count('name="loop"') == count


@pytest.mark.django_db
def test_the_list_takes_as_many_queries_for_many_loops(
    sheet: Any, make_loop: Any, submit: Any, sign: Any, client_as: Any, django_assert_max_num_queries: Any
) -> None:
    client = client_as("reader")
    client.get("/inspections/")
    for number in range(3):
        sign(submit(make_loop(tag=f"PT-{number}")))
    with django_assert_max_num_queries(25):
        assert client.get("/inspections/").content.decode().count('name="loop"') == 4


@pytest.mark.django_db
def test_the_page_of_a_loop_tells_of_its_inspections(sheet: Any, signed: Any, client_as: Any, make_loop: Any) -> None:
    loop = sheet.approval.loop
    client = client_as("reader")
    assert "Never inspected." in client.get(f"/loops/{loop.pk}/").content.decode()
    signed(loop, "detailed", glands={"result": "defect", "note": "The gland is loose.", "priority": "2"})
    page = client.get(f"/loops/{loop.pk}/").content.decode()
    assert "The gland is loose." in page and "Last complete one:" in page
    assert "Not in use yet" in client.get(f"/loops/{make_loop(tag='PT-7').pk}/").content.decode()
