"""What if: columns beside the present loop, judged as saving would judge them; kept, opened again, made a draft."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from loops.models import Loop, Study
from loops.selectors import record_names
from loops.services.studies import fields_of, judge_all
from registry.models import Revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def loop(make_loop: Any) -> Loop:
    return make_loop(tag="PT-1", length="300 m")


def keys(loop: Loop) -> dict[str, str]:
    """The keys of what may be changed, by name; of a member the device's."""
    found = {}
    for one in fields_of(loop, record_names(loop)):
        if one.side != "source":
            found[one.name] = one.key
    return found


def test_a_longer_cable_is_judged_by_what_it_stores(loop: Loop) -> None:
    # 110 pF/m over 760 m are 83.6 nF: more than the 83 nF of IEC 60079-11, Table A.2, for 28 V, IIC, x1.5.
    length = keys(loop)["length_m"]
    now, longer, same = judge_all(loop, [{length: "760 m"}, {length: "0.3 km"}])
    assert now.head and longer.head and same.head
    assert str(longer.head["verdict"].value) == "does_not_comply"
    assert longer.head["limiting_check"] == "capacitance"
    assert now.results == same.results, "0.3 km are 300 m"
    assert [change.new for change in longer.changes] == ["760 m"]


def test_judging_writes_nothing_and_keeps_what_is_typed(loop: Loop, client_as: Any) -> None:
    length = keys(loop)["length_m"]
    before = (Revision.objects.count(), Study.objects.count())
    answer = client_as("reader").post(
        reverse("loop_studies", args=[loop.pk]), {f"B.{length}": "760 m", f"C.{length}": "many", "_do": "judge"}
    )
    page = answer.content.decode()
    assert answer.status_code == 400, "column C cannot be read"
    assert "Does not comply" in page and 'value="many"' in page and "worse" in page
    assert before == (Revision.objects.count(), Study.objects.count())


def test_the_present_verdict_stands_in_column_a(loop: Loop, client_as: Any) -> None:
    page = client_as("reader").get(reverse("loop_studies", args=[loop.pk])).content.decode()
    assert loop.verification and loop.verification.limiting in page.replace("&#x27;", "'")


def test_a_study_says_what_changed_since_it_was_kept(loop: Loop, client_as: Any, save_loop_text: Any) -> None:
    length = keys(loop)["length_m"]
    client = client_as("designer")
    kept = client.post(
        reverse("loop_studies", args=[loop.pk]), {f"B.{length}": "400 m", "name": "Longer", "_do": "keep"}
    )
    study = Study.objects.get()
    assert kept["Location"] == reverse("loop_study", args=[loop.pk, study.pk])
    assert study.columns == [{length: "400 m"}]
    assert "has the verdict that it had" in client.get(kept["Location"]).content.decode()
    save_loop_text(loop, "760 m")
    page = client.get(kept["Location"]).content.decode()
    assert "The loop was saved since" in page
    assert "Column A:" in page and "now does not comply" in page


def test_only_the_owner_deletes_a_study(loop: Loop, client_as: Any, people: Any) -> None:
    length = keys(loop)["length_m"]
    client_as("designer").post(
        reverse("loop_studies", args=[loop.pk]), {f"B.{length}": "400 m", "name": "Longer", "_do": "keep"}
    )
    address = reverse("loop_study", args=[loop.pk, Study.objects.get().pk])
    assert client_as("approver").post(address, {"_do": "delete"}).status_code == 409
    assert client_as("designer").post(address, {"_do": "delete"}).status_code == 302
    assert not Study.objects.exists()


def test_a_column_becomes_a_draft_with_a_reason(loop: Loop, client_as: Any) -> None:
    length = keys(loop)["length_m"]
    client, address = client_as("designer"), reverse("loop_studies", args=[loop.pk])
    sent = {f"B.{length}": "250 m", "_do": "draft-B", "_version": str(loop.version)}
    assert client.post(address, sent).status_code == 400, "no reason"
    assert client_as("planner").post(address, sent | {"reason": "Shorter route"}).status_code == 403
    assert client_as("designer").post(address, sent | {"reason": "Shorter route"}).status_code == 302
    saved = Loop.objects.get(pk=loop.pk)
    assert saved.circuits.get().cables.get().length_m == 250
    newest = Revision.objects.filter(kind="loop", record_id=loop.pk).order_by("-number").first()
    assert newest and newest.reason == "Shorter route"


def test_a_draft_over_what_somebody_saved_meanwhile_is_refused(loop: Loop, client_as: Any, save_loop_text: Any) -> None:
    length = keys(loop)["length_m"]
    sent = {f"B.{length}": "250 m", "_do": "draft-B", "_version": str(loop.version), "reason": "Shorter route"}
    save_loop_text(loop, "310 m")
    answer = client_as("designer").post(reverse("loop_studies", args=[loop.pk]), sent)
    assert answer.status_code == 409
    assert 'value="250 m"' in answer.content.decode()
    assert Loop.objects.get(pk=loop.pk).circuits.get().cables.get().length_m == 310


def test_rules_of_the_site_are_judged_and_not_saved(loop: Loop, client_as: Any) -> None:
    now, nec = judge_all(loop, [{"rules.basis": "NEC"}])
    assert now.head and nec.head
    references = {check["reference"] for result in nec.results for check in result["checks"]}
    assert any("NEC" in text or "RP12" in text for text in references)
    sent = {"B.rules.basis": "NEC", "_do": "draft-B", "_version": str(loop.version), "reason": "Other rules"}
    assert client_as("designer").post(reverse("loop_studies", args=[loop.pk]), sent).status_code == 409


@pytest.fixture
def save_loop_text(people: Any) -> Any:
    """Save a loop with another length of its cable."""
    from loops.services.loops import save_loop
    from registry.selectors import record_text
    from registry.services.records import Author

    def save(loop: Loop, length: str) -> Loop:
        data = record_text(Loop.objects.get(pk=loop.pk))
        data["circuits"][0]["cables"][0]["length_m"] = length
        return save_loop(data, Author(people["designer"], reason="Measured"), loop_id=loop.pk)

    return save
