"""Defects are followed up until somebody else has verified that they are remedied."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from registry.models import Change, Deed, Notice, NoticeKind
from registry.services.records import StaleRecord
from reports.inspection.defects import DefectRefused, take
from reports.inspection.models import Defect, DefectStep
from tests.reports.inspection.conftest import DEFECT

pytestmark = pytest.mark.django_db


def verbs(defect: Any) -> list[str]:
    return [step.verb for step in defect.steps.all()]


def test_a_defect_begins_with_the_signature(defect: Any, loop: Any, people: Any) -> None:
    assert (defect.loop, defect.text, defect.priority, defect.state) == (loop, "The gland is loose.", "2", "open")
    assert defect.due_on == defect.signed.inspected_on + dt.timedelta(days=30)
    assert verbs(defect) == ["found"]
    told = Notice.objects.filter(kind=NoticeKind.DEFECT)
    assert {notice.person.username for notice in told} == {"designer"}


def test_from_found_to_verified(defect: Any, people: Any) -> None:
    take(defect.pk, people["planner"], "assign", assigned_to=people["designer"].pk, due_on=dt.date(2030, 1, 2))
    assert Notice.objects.filter(person=people["designer"]).count() == 2
    take(defect.pk, people["designer"], "done", text="Tightened.")
    take(defect.pk, people["approver"], "reopen", text="Still loose.")
    take(defect.pk, people["planner"], "done", text="New gland.")
    found = take(defect.pk, people["approver"], "verify", text="Seen.")
    assert (found.state, found.due_on, verbs(found)) == (
        "verified",
        dt.date(2030, 1, 2),
        ["found", "assign", "done", "reopen", "done", "verify"],
    )
    assert Change.objects.filter(kind="defect", verb=Deed.DEFECT, record_id=defect.pk).count() == 6


@pytest.mark.parametrize(
    ("verb", "by"),
    [
        ("assign", "approver"),
        ("done", "reader"),
        ("done", "keeper"),
        ("done", "superuser"),
        ("verify", "planner"),
        ("verify", "designer"),
        ("verify", "administrator"),
        ("remark", "neighbour"),
    ],
)
def test_who_may_not(verb: str, by: str, defect: Any, people: Any) -> None:
    with pytest.raises(PermissionDenied):
        take(defect.pk, people[by], verb, text="x")


def test_who_remedied_it_does_not_verify_it(defect: Any, people: Any, site: Any) -> None:
    from registry.models import Membership, Role

    Membership.objects.create(user=people["planner"], site=site, role=Role.APPROVER)
    vars(people["planner"]).pop("_roles_by_site", None)
    take(defect.pk, people["planner"], "done", text="Tightened.")
    with pytest.raises(DefectRefused, match="somebody else verifies"):
        take(defect.pk, people["planner"], "verify", text="Seen.")


@pytest.mark.parametrize(
    ("verb", "values", "why"),
    [
        ("done", {"text": ""}, "few words"),
        ("assign", {}, "somebody of this site"),
        ("verify", {"text": "Seen."}, "is open"),
        ("dance", {}, "Choose"),
        ("done", {"text": "a\u202eb"}, "hidden character"),
    ],
)
def test_what_does_not_fit_is_refused_in_words(
    verb: str, values: dict[str, Any], why: str, defect: Any, people: Any
) -> None:
    by = people["approver" if verb == "verify" else "planner"]
    with pytest.raises(DefectRefused, match=why):
        take(defect.pk, by, verb, **values)
    assert verbs(defect) == ["found"]


def test_nobody_is_given_a_defect_of_another_site(defect: Any, people: Any) -> None:
    with pytest.raises(DefectRefused):
        take(defect.pk, people["planner"], "assign", assigned_to=people["neighbour"].pk)


def test_a_step_that_comes_too_late_is_told(defect: Any, people: Any) -> None:
    take(defect.pk, people["planner"], "remark", text="Ordered.", opened_version=defect.version)
    with pytest.raises(StaleRecord):
        take(defect.pk, people["planner"], "done", text="Remedied.", opened_version=defect.version)


def test_steps_are_frozen(defect: Any) -> None:
    with pytest.raises(IntegrityError, match="never changed or deleted"), transaction.atomic():
        DefectStep.objects.filter(defect=defect).update(text="Another text")


# --------------------------------------------------------------------------------------------------------------- list


def test_the_list_narrows_by_state_priority_area_and_day(
    defect: Any, signed: Any, make_loop: Any, area: Any, client_as: Any, people: Any
) -> None:
    other = make_loop(tag="PT-9")
    signed(other, "visual", damage=DEFECT | {"priority": "1", "note": "Cut."})
    late = Defect.objects.get(loop=other)
    Defect.objects.filter(pk=late.pk).update(due_on=dt.date(2020, 1, 1))
    take(defect.pk, people["planner"], "done", text="Tightened.")
    client = client_as("reader")

    def tags(query: str) -> set[str]:
        page = client.get(f"/defects/?{query}")
        assert page.status_code == 200
        return {tag for tag in ("PT-1101", "PT-9") if f">{tag}</a>" in page.content.decode()}

    assert tags("") == {"PT-1101", "PT-9"}
    assert tags("state=waiting") == tags("state=overdue") == tags("priority=1") == {"PT-9"}
    assert tags("state=done") == tags("q=gland") == {"PT-1101"}
    assert tags(f"area={area.pk}") == {"PT-1101", "PT-9"}
    assert tags("who=nobody") == {"PT-1101", "PT-9"}
    assert client_as("neighbour").get("/defects/").content.decode().count("PT-9") == 0


@pytest.mark.parametrize("suffix", ["csv", "xlsx", "pdf"])
def test_the_list_is_a_table_too(suffix: str, defect: Any, client_as: Any) -> None:
    answer = client_as("reader").get(f"/defects/seen.{suffix}")
    assert answer.status_code == 200
    if suffix == "csv":
        assert "The gland is loose." in answer.content.decode()


def test_the_page_takes_a_step_and_shows_the_history(defect: Any, client_as: Any) -> None:
    client = client_as("planner")
    sent = {"_version": defect.version, "verb": "done", "text": "Tightened."}
    page = client.post(f"/defects/{defect.pk}/", sent, follow=True).content.decode()
    assert "Tightened." in page and "Done, not verified" in page
    refused = client.post(f"/defects/{defect.pk}/", sent)
    assert refused.status_code == 409 and "Somebody changed this defect" in refused.content.decode()
    assert client_as("reader").post(f"/defects/{defect.pk}/", sent).status_code == 403
