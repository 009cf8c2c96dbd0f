"""Verdicts, signatures, studies and impact through the API: what the pages show, as plain data."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from loops.models import Loop, LoopState, Study, Verification
from loops.services import approvals
from loops.services.loops import save_loop
from registry.models import Work
from registry.selectors import record_text
from registry.services.records import Author
from reports.services import issue
from tests.registry.api.asking import BASE, check_refusal, send, token_client

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(people: Any) -> Any:
    return token_client(people["designer"])


def test_verdicts_are_read_and_can_be_judged_again(api: Any, loop: Loop, people: Any) -> None:
    listed = api.get(f"{BASE}loops/{loop.pk}/verifications/").json()["results"]
    assert [row["id"] for row in listed] == [loop.verification_id]
    assert (listed[0]["verdict"], listed[0]["revision"], listed[0]["purpose"]) == ("complies", 1, "pinned")
    whole = api.get(f"{BASE}verifications/{loop.verification_id}/").json()
    assert whole["digest"] == loop.verification.digest and whole["inputs"] == loop.verification.inputs
    again = send(api, f"{BASE}verify/", whole["inputs"][0]).json()
    assert again["verdict"] == whole["results"][0]["verdict"] == "complies"
    neighbour = token_client(people["neighbour"])
    check_refusal(neighbour.get(f"{BASE}verifications/{loop.verification_id}/"), 404)
    check_refusal(neighbour.get(f"{BASE}loops/{loop.pk}/verifications/"), 404)


def test_signatures_and_their_ends(api: Any, loop: Loop, people: Any, password: str) -> None:
    def signed() -> Any:
        approvals.submit(loop.pk, people["designer"])
        return issue(loop.pk, people["approver"], password, None).approval

    first = signed()
    row = api.get(f"{BASE}approvals/{first.pk}/").json()
    assert (row["tag"], row["letter"], row["state"], row["approved_by"]) == ("PT-1101", "A", "in_force", "The approver")
    assert row["verification"] == first.verification_id and row["revision_digest"] == first.revision_digest
    save_loop(
        record_text(Loop.objects.get(pk=loop.pk)) | {"notes": "B"},
        Author(people["designer"], reason="As tested"),
        loop_id=loop.pk,
    )
    second = signed()
    rows = api.get(f"{BASE}approvals/?loop={loop.pk}").json()["results"]
    assert [(one["letter"], one["state"]) for one in rows] == [("A", "superseded"), ("B", "in_force")]
    approvals.withdraw(second.pk, people["approver"], text="Wrong cable")
    ended = api.get(f"{BASE}approvals/{second.pk}/").json()
    assert ended["state"] == "withdrawn" and ended["withdrawn"]["reason"] == "Wrong cable"
    assert api.get(f"{BASE}approvals/?site=SOUTH").json()["results"] == []
    assert len(api.get(f"{BASE}approvals/?site=NORTH").json()["results"]) == 2
    check_refusal(api.get(f"{BASE}approvals/?loop=x"), 400)
    neighbour = token_client(people["neighbour"])
    assert neighbour.get(f"{BASE}approvals/").json()["results"] == []
    check_refusal(neighbour.get(f"{BASE}approvals/{first.pk}/"), 404)


def test_a_study_is_asked_kept_and_deleted(api: Any, loop: Loop, people: Any) -> None:
    address = f"{BASE}loops/{loop.pk}/studies/"
    fields = {one["key"]: one["now"] for one in api.get(f"{address}fields/").json()}
    length = next(key for key in fields if key.endswith(".length_m"))
    assert fields[length] == "300 m"
    before = Verification.objects.count()
    judged = send(api, f"{address}judge/", {"columns": [{length: "1000 m"}, {length: "10"}]}).json()["columns"]
    assert [column["verdict"] for column in judged] == ["complies", "does_not_comply", None]
    assert judged[1]["changes"] == [
        {"field": judged[1]["changes"][0]["field"], "old": "300 m", "new": "1000 m", "gone": False}
    ]
    assert length in judged[2]["faults"]
    assert Verification.objects.count() == before and not Study.objects.exists()
    reader = token_client(people["reader"], "read")
    assert send(reader, f"{address}judge/", {"columns": [{length: "1000 m"}]}).status_code == 200
    kept = send(api, address, {"name": "Longer", "columns": [{length: "1000 m"}]})
    assert kept.status_code == 201, kept.content
    assert api.get(kept["Location"]).json()["judged"]["columns"][1]["verdict"] == "does_not_comply"
    assert [row["name"] for row in api.get(address).json()] == ["Longer"]
    check_refusal(send(token_client(people["reader"]), address, {"name": "X", "columns": [{length: "9 m"}]}), 403)
    check_refusal(token_client(people["approver"]).delete(kept["Location"]), 403)
    assert api.delete(kept["Location"]).status_code == 204
    assert not Study.objects.exists()
    for body, path in (
        ({}, "columns"),
        ({"columns": []}, "columns"),
        ({"columns": [{}] * 4}, "columns"),
        ({"columns": [5]}, "columns.0"),
        ({"columns": [{"m0.terminals": "x"}]}, "columns.0.m0.terminals"),
        ({"columns": [{length: 5}]}, f"columns.0.{length}"),
    ):
        assert path in check_refusal(send(api, f"{address}judge/", body), 400)["errors"]


def test_impact_is_asked_and_read(api: Any, loop: Loop, area: Any, people: Any) -> None:
    asked = send(api, f"{BASE}impact/", {"kind": "area", "key": area.pk, "values": {"temperature_class": "T6"}})
    assert asked.status_code == 202, asked.content
    found = api.get(f"{BASE}impact/{asked.json()['id']}/").json()
    assert found["state"] == "done" and found["judged"] == 1
    assert [(row["tag"], row["before"], row["after"], row["worse"]) for row in found["rows"]] == [
        ("PT-1101", "complies", "does_not_comply", True)
    ]
    check_refusal(token_client(people["approver"]).get(f"{BASE}impact/{asked.json()['id']}/"), 404)
    site = loop.site_id
    tables = send(api, f"{BASE}impact/", {"kind": "table", "key": site, "table": "A.1"})
    assert tables.status_code == 202, tables.content
    for body, path in (
        ({"kind": "loop", "key": 1}, "kind"),
        ({"kind": "area"}, "key"),
        ({"kind": "area", "key": area.pk, "values": {"name": "X"}}, "values.name"),
        ({"kind": "area", "key": area.pk, "values": {"zone": "9"}}, "values.zone"),
        ({"kind": "area", "key": area.pk, "values": {}}, "values.zone"),
        ({"kind": "area", "key": area.pk, "table": "A.1"}, "table"),
        ({"kind": "table", "key": site, "table": "B"}, "table"),
        ({"kind": "table", "key": site, "table": "A.1", "content": "x,y"}, "content"),
    ):
        assert path in check_refusal(send(api, f"{BASE}impact/", body), 400)["errors"], body
    neighbour = token_client(people["neighbour"])
    check_refusal(send(neighbour, f"{BASE}impact/", {"kind": "area", "key": area.pk, "values": {"zone": "2"}}), 404)
    assert Work.objects.count() == 2


def test_archived_and_revisions(api: Any, loop: Loop) -> None:
    address = f"{BASE}loops/{loop.pk}/"
    gone = send(api, f"{address}archived/", {"archived": True, "reason": "Gone"}, "put", **{"If-Match": '"1"'})
    assert gone.json()["archived"] is True and gone["ETag"] == '"2"'
    assert api.get(f"{BASE}loops/").json()["results"] == []
    back = send(api, f"{address}archived/", {"archived": False}, "put", **{"If-Match": '"2"'})
    assert back.json()["archived"] is False and back.json()["state"] == LoopState.DRAFT
    assert [row["number"] for row in api.get(f"{address}revisions/").json()["results"]] == [1, 2, 3]
    assert api.get(f"{address}revisions/1/").json()["snapshot"]["tag"] == "PT-1101"


def test_a_stale_loop_shows_yours_and_theirs(api: Any, loop: Loop, people: Any) -> None:
    record = api.get(f"{BASE}loops/{loop.pk}/").json()["record"]
    text = record_text(loop) | {"service": "Theirs"}
    save_loop(text, Author(people["designer"], reason="As tested"), loop_id=loop.pk)
    record["circuits"][0]["cables"][0]["length_m"] = "310 m"
    refused = send(api, f"{BASE}loops/{loop.pk}/", record, "put", **{"If-Match": '"1"'})
    conflict = check_refusal(refused, 412, "stale")["conflict"]
    assert set(conflict["differing"]) == {"service", "circuits.0.cables.0.length_m"}
    assert conflict["theirs"]["service"] == "Theirs" and conflict["version"] == 2


@pytest.mark.parametrize("address", ["loops/", "loops/{loop}/verifications/", "approvals/", "sheets/"])
def test_a_list_takes_as_many_queries_at_fifty_as_at_ten(
    address: str, api: Any, loop: Loop, make_loop: Any, people: Any
) -> None:
    path = BASE + address.format(loop=loop.pk) + "?limit=200"

    def more(count: int, start: int) -> None:
        for number in range(start, start + count):
            if "verifications" in address:
                text = record_text(Loop.objects.get(pk=loop.pk)) | {"notes": str(number)}
                save_loop(text, Author(people["designer"], reason="As tested"), loop_id=loop.pk)
            else:
                sign(make_loop(tag=f"FT-{number}"), people, "approvals" in address or "sheets" in address)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert api.get(path).status_code == 200
        return len(captured)

    more(10, 0)
    queries()
    few = queries()
    more(40, 100)
    assert len(api.get(path).json()["results"]) >= 50
    assert queries() == few <= 12


def sign(loop: Loop, people: Any, wanted: bool) -> None:
    """A signature and a sheet as the services leave them, without rendering one."""
    from django.utils import timezone

    from loops.models import Approval
    from reports.models import Sheet

    if not wanted:
        return
    verification = Verification.objects.get(loop=loop)
    approval = Approval.objects.create(
        loop=loop,
        letter="A",
        revision=verification.revision,
        verification=verification,
        revision_digest=verification.revision.digest,
        verification_digest=verification.digest,
        approved_at=timezone.now(),
        prepared_name="x",
        printed_name="x",
        meaning="x",
        submitted_by=people["designer"],
        approved_by=people["approver"],
    )
    Sheet.objects.create(approval=approval, number=f"N-{loop.pk}", bytes=b"x", sha256=f"{loop.pk:064x}")
