"""After the first issue of a loop, nothing that it rests on changes without a reason, whichever door it comes by."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from loops.services import approvals
from loops.services.loops import archive_loop, refresh, save_loop
from registry.models import Origin, Revision
from registry.selectors import record_text
from registry.services.bulk import BatchRefused, Incoming, save_many
from registry.services.proposals import effects_of
from registry.services.records import Author, EntryRefused, save_text, set_archived
from reports.services import issue

pytestmark = pytest.mark.django_db


@pytest.fixture
def issued(loop: Any, people: Any, password: str) -> Any:
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)
    loop.refresh_from_db()
    return loop


def revisions() -> int:
    return Revision.objects.count()


def changed(record: Any, **values: str) -> dict[str, Any]:
    return record_text(record) | values


def test_before_the_first_issue_nobody_is_asked(loop: Any, source: Any, people: Any) -> None:
    save_text("equipment", changed(source, notes="Seen"), Author(people["keeper"]), record_id=source.pk)
    save_loop(changed(loop, service="Level"), Author(people["designer"]), loop_id=loop.pk)


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_record_that_an_issued_loop_uses_needs_a_reason(
    issued: Any, source: Any, certificate: Any, cable_type: Any, area: Any, people: Any, reason: str
) -> None:
    before = revisions()
    for kind, record, values in (
        ("equipment", source, {"notes": "Seen"}),
        ("certificate", certificate, {"holder": "Somebody"}),
        ("cable_type", cable_type, {"description": "Blue"}),
        ("area", area, {"drawing": "HAC-002"}),
    ):
        author = Author(people["designer"], reason=reason)
        with pytest.raises(EntryRefused, match="a loop was issued with this"):
            save_text(kind, changed(record, **values), author, record_id=record.pk)
        save_text(kind, record_text(record), author, record_id=record.pk)  # nothing differs: nothing to explain
    with pytest.raises(EntryRefused, match="Say why"):
        set_archived(source, True, Author(people["keeper"], reason=reason))
    assert revisions() == before
    save_text("equipment", changed(source, notes="Seen"), Author(people["keeper"], reason="Moved"), record_id=source.pk)
    assert revisions() == before + 1


def test_a_record_beside_it_needs_none(issued: Any, save: Callable[..., Any], people: Any) -> None:
    other = save("cable_type", {"name": "Spare", "capacitance_f_per_m": "90 nF/km"}, reason="")
    save_text("cable_type", changed(other, description="Red"), Author(people["keeper"]), record_id=other.pk)


def test_an_import_without_a_reason_is_refused_by_row(issued: Any, source: Any, people: Any) -> None:
    texts = [Incoming(changed(source, notes="Seen"), source)]
    with pytest.raises(BatchRefused) as refused:
        save_many("equipment", texts, Author(people["keeper"], Origin.IMPORT))
    assert list(refused.value.outcome.errors[0]) == ["reason"]
    assert save_many("equipment", texts, Author(people["keeper"], Origin.IMPORT, "Table of May")).changed == 1


def test_a_loop_needs_a_reason_after_its_first_issue(issued: Any, people: Any) -> None:
    text = changed(issued, service="Level of tank 7")
    with pytest.raises(EntryRefused, match="Say why"):
        save_loop(text, Author(people["designer"]), loop_id=issued.pk)
    with pytest.raises(EntryRefused, match="Say why"):
        archive_loop(issued, True, Author(people["designer"]))
    assert save_loop(text, Author(people["designer"], reason="Renamed"), loop_id=issued.pk).letter == "B"
    refresh(issued.pk, Author(people["designer"]))  # nothing differs


def test_what_a_change_would_do_is_foreseen_before_anybody_is_asked(issued: Any, source: Any, people: Any) -> None:
    text = record_text(source)
    text["terminals"][0]["permitted"][0]["co_f"] = "30 nF"
    effects = effects_of("equipment", text, Author(people["keeper"]), record_id=source.pk)
    assert effects.touched[0].after == "does_not_comply"


def test_the_page_of_the_loop_asks_and_keeps_what_was_typed(issued: Any, client_as: Callable[[str], Any]) -> None:
    from loops.selectors import record_names
    from registry.views.forms import flatten

    client = client_as("designer")
    form = flatten(record_names(issued)) | {"service": "Level of tank 7", "_version": str(issued.version)}
    answer = client.post(f"/loops/{issued.pk}/edit/", form)
    page = answer.content.decode()
    assert answer.status_code == 400 and "Level of tank 7" in page and 'href="#f-reason"' in page
    assert client.post(f"/loops/{issued.pk}/edit/", form | {"_reason": "Renamed"}).status_code == 302


def test_the_api_names_the_reason(issued: Any, client_as: Callable[[str], Any]) -> None:
    from loops.selectors import record_names

    client = client_as("designer")
    body = record_names(issued) | {"service": "Level of tank 7"}
    etag = {"If-Match": f'"{issued.version}"'}

    def put(data: Any) -> Any:
        return client.put(
            f"/api/v1/loops/{issued.pk}/", json.dumps(data), content_type="application/json", headers=etag
        )

    refused = put(body)
    assert refused.status_code == 400 and "reason" in refused.json()["errors"]
    assert put(body | {"reason": "Renamed"}).status_code == 200
