"""Many records at once by their natural key: all or none, every fault at its place."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from loops.models import Loop
from registry.models import Certificate, Equipment, HazardousArea, Revision
from tests.registry.api.asking import BASE, check_refusal, send, token_client

pytestmark = pytest.mark.django_db
BULK = f"{BASE}equipment/bulk/"


def named(source_data: dict[str, Any], *names: str) -> list[dict[str, Any]]:
    """Items of these types, their certificate by its name as programs send it."""
    found = []
    for name in names:
        text = copy.deepcopy(source_data) | {"type_name": name}
        text["terminals"][0]["certificate"] = "EXA 21 ATEX 0101 issue 0"
        found.append(text)
    return found


def test_items_are_added_changed_and_left(api: Any, source: Equipment, source_data: dict[str, Any]) -> None:
    texts = named(source_data, "NB-28", "NB-30")
    first = send(api, BULK, {"records": texts, "reason": "Nightly"})
    assert first.status_code == 200, first.content
    assert first.json() == {
        "saved": True,
        "added": 1,
        "changed": 0,
        "unchanged": 1,
        "results": [
            {"index": 0, "id": source.pk, "version": 1, "done": "unchanged"},
            {"index": 1, "id": Equipment.objects.get(type_name="NB-30").pk, "version": 1, "done": "added"},
        ],
    }
    change = [{"maker": "Northlight Barriers", "type_name": "NB-28", "notes": "Seen"}]
    assert send(api, BULK, {"records": change}).json()["changed"] == 1
    source.refresh_from_db()
    assert (source.notes, source.marking) == ("Seen", "II (1) G [Ex ia Ga] IIC"), "what is not sent stays"
    assert source.terminals.get().uo_v_text == "28 V"
    assert Revision.objects.get(record_id=source.pk, kind="equipment", number=2).snapshot["notes"] == "Seen"


def test_a_list_that_is_sent_is_whole(api: Any, source: Equipment, source_data: dict[str, Any]) -> None:
    text = named(source_data, "NB-28")[0]
    key = source.terminals.get().pk
    text["terminals"][0]["permitted"] = [{"group": "IIB", "co_f": "650 nF"}]
    text["terminals"].append(copy.deepcopy(text["terminals"][0]) | {"name": "3-4"})
    assert send(api, BULK, {"records": [text]}).status_code == 200
    assert [row.name for row in source.terminals.all()] == ["1-2", "3-4"]
    assert source.terminals.first().pk == key, "a row goes on under its name"
    assert [row.group for row in source.terminals.first().permitted.all()] == ["IIB"]


def test_one_fault_and_nothing_is_saved(api: Any, source_data: dict[str, Any]) -> None:
    texts = named(source_data, "NB-1", "NB-2", "NB-3", "NB-1")
    texts[1]["terminals"][0]["uo_v"] = "28"
    texts[2]["terminals"][0]["certificate"] = "EXA 99 ATEX 9999 issue 0"
    refused = check_refusal(send(api, BULK, {"records": texts}), 400, "invalid")
    errors = refused["errors"]
    assert set(errors) == {
        "records.1.terminals.0.uo_v",
        "records.2.terminals.0.certificate",
        "records.3.type_name",
    }
    assert "28 V" in errors["records.1.terminals.0.uo_v"][0]
    assert "records.0" in errors["records.3.type_name"][0]
    assert not Equipment.objects.exists() and not Revision.objects.filter(kind="equipment").exists()


def test_a_check_tells_and_saves_nothing(api: Any, source: Equipment, source_data: dict[str, Any]) -> None:
    texts = named(source_data, "NB-28", "NB-30")
    texts[0]["notes"] = "Seen"
    found = send(api, BULK, {"records": texts, "check": True}).json()
    assert (found["saved"], found["added"], found["changed"]) == (False, 1, 1)
    assert [row["id"] for row in found["results"]] == [source.pk, None]
    assert Equipment.objects.count() == 1 and Revision.objects.filter(kind="equipment").count() == 1


@pytest.mark.parametrize(
    ("body", "path"),
    [
        ({}, "records"),
        ({"records": []}, "records"),
        ({"records": {}}, "records"),
        ({"records": [5]}, "records.0"),
        ({"records": [{"maker": 5}]}, "records.0.maker"),
        ({"records": [{"maker": "A"}]}, "records.0.type_name"),
        ({"records": [{}], "check": "yes"}, "check"),
        ({"records": [{}], "more": 1}, "more"),
        ({"records": [{}] * 1001}, "records"),
    ],
)
def test_what_is_no_list_is_told(api: Any, body: dict[str, Any], path: str) -> None:
    assert path in check_refusal(send(api, BULK, body), 400, "invalid")["errors"]


def test_what_is_archived_is_not_changed_in_passing(api: Any, source: Equipment, source_data: dict[str, Any]) -> None:
    send(api, f"{BASE}equipment/{source.pk}/archived/", {"archived": True}, "put", **{"If-Match": '"1"'})
    refused = check_refusal(send(api, BULK, {"records": named(source_data, "NB-28")}), 400)
    assert "archived" in refused["errors"]["records.0"][0]


def test_other_kinds(api: Any, people: Any, site: Any, area: HazardousArea) -> None:
    certificates = [{"scheme": "ATEX", "number": f"EXA 20 ATEX {number}", "issue": "0"} for number in (1000, 1001)]
    assert send(api, f"{BASE}certificates/bulk/", {"records": certificates}).json()["added"] == 2
    assert send(api, f"{BASE}certificates/bulk/", {"records": certificates}).json()["unchanged"] == 2
    assert Certificate.objects.count() == 2
    bay = {"site": "NORTH", "name": "Reactor bay", "drawing": "HAC-002"}
    assert send(api, f"{BASE}areas/bulk/", {"records": [bay]}).json()["changed"] == 1
    area.refresh_from_db()
    assert (area.drawing, area.zone) == ("HAC-002", "1")
    check_refusal(send(token_client(people["neighbour"]), f"{BASE}areas/bulk/", {"records": [bay]}), 403)
    mixed = [bay, {"site": "SOUTH", "name": "Bay", "zone": "1", "group": "IIC", "temperature_class": "T4"}]
    refused = check_refusal(send(api, f"{BASE}areas/bulk/", {"records": mixed}), 400)
    assert set(refused["errors"]) == {"records.1.site"}
    check_refusal(send(token_client(people["reader"]), f"{BASE}cable-types/bulk/", {"records": [{"name": "P"}]}), 403)


def test_loops(api: Any, loop: Loop, loop_data: Any) -> None:
    """Loops by site and tag: each is judged, as by every door."""
    record = api.get(f"{BASE}loops/{loop.pk}/").json()["record"]
    other = copy.deepcopy(record) | {"tag": "PT-2"}
    other["circuits"][0]["cables"][0]["length_m"] = "1000 m"
    found = send(api, f"{BASE}loops/bulk/", {"records": [record, other]})
    assert found.status_code == 200, found.content
    assert [row["done"] for row in found.json()["results"]] == ["unchanged", "added"]
    assert Loop.objects.get(tag="PT-2").verification.verdict == "does_not_comply"
    other["circuits"][0]["cables"][0]["length_m"] = "1000"
    record["service"] = "Changed"
    refused = check_refusal(send(api, f"{BASE}loops/bulk/", {"records": [record, other]}), 400)
    assert set(refused["errors"]) == {"records.1.circuits.0.cables.0.length_m"}
    assert Loop.objects.get(pk=loop.pk).service == "Reactor pressure"


def test_queries_do_not_grow_with_the_list(api: Any, source_data: dict[str, Any], certificate: Certificate) -> None:
    def queries(count: int, letter: str) -> int:
        texts = named(source_data, *(f"{letter}-{number}" for number in range(count)))
        with CaptureQueriesContext(connection) as captured:
            assert send(api, BULK, {"records": texts}).json()["added"] == count
        return len(captured)

    queries(1, "A")
    # SQLite takes so many values at a time that sixty items with their rows are some statements more.
    assert queries(60, "C") <= queries(10, "B") + 6
