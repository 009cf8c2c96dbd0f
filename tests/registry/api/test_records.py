"""The records of the register through the API: the same entries as the pages, versions, other sites, query counts."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.models import Certificate, Equipment, HazardousArea, Origin, Revision, Site
from registry.selectors import record_text
from tests.registry.api.asking import BASE, check_refusal, send, token_client

pytestmark = pytest.mark.django_db
EQUIPMENT = f"{BASE}equipment/"


def test_equipment_is_read_with_all_below_it(api: Any, source: Equipment) -> None:
    body = api.get(f"{EQUIPMENT}{source.pk}/")
    assert body["ETag"] == f'"{source.version}"'
    found = body.json()
    record = found["record"]
    revision = Revision.objects.get(kind="equipment", record_id=source.pk)
    assert (found["id"], found["revision"], found["digest"]) == (source.pk, 1, revision.digest)
    assert (record["maker"], record["type_name"], record["marking"]) == (
        "Northlight Barriers",
        "NB-28",
        "II (1) G [Ex ia Ga] IIC",
    )
    terminals = record["terminals"][0]
    assert terminals["certificate"] == "EXA 21 ATEX 0101 issue 0"
    assert (terminals["uo_v"], terminals["hart"], terminals["pi_w"]) == ("28 V", False, "")
    assert terminals["permitted"][0]["co_f"] == "83 nF"


def test_every_kind_says_what_its_form_says(
    api: Any, source: Equipment, device: Equipment, area: Any, cable_type: Any, certificate: Any
) -> None:
    """The API and the pages read the same columns: all that the form shows stands in the answer."""
    for record in (source, device, area, cable_type, certificate, area.site):
        path = {"cable_type": "cable-types", "area": "areas", "site": "sites", "certificate": "certificates"}
        address = f"{BASE}{path.get(record.record_kind, 'equipment')}/{record.pk}/"
        said, form = api.get(address).json()["record"], record_text(type(record).objects.get(pk=record.pk))
        assert set(said) == set(form)
        same = {name for name in form if said[name] == form[name]}
        named = {name for name in form if isinstance(form[name], int | list) and not isinstance(form[name], bool)}
        assert same | named == set(form)


def test_what_was_read_can_be_sent_back_and_changes_nothing(api: Any, source: Equipment, device: Equipment) -> None:
    for item in (source, device):
        read = api.get(f"{EQUIPMENT}{item.pk}/")
        answer = send(api, f"{EQUIPMENT}{item.pk}/", read.json()["record"], "put", **{"If-Match": read["ETag"]})
        assert answer.status_code == 200, answer.content
        assert Revision.objects.filter(kind="equipment", record_id=item.pk).count() == 1


def test_a_change_is_saved_with_its_reason(api: Any, source: Equipment, people: Any) -> None:
    read = api.get(f"{EQUIPMENT}{source.pk}/")
    record = read.json()["record"]
    record["terminals"][0]["uo_v"] = "27 V"
    answer = send(api, f"{EQUIPMENT}{source.pk}/", record | {"reason": "Issue 2"}, "put", **{"If-Match": read["ETag"]})
    assert answer.status_code == 200 and answer["ETag"] == '"2"'
    assert answer.json()["record"]["terminals"][0]["uo_v"] == "27 V"
    revision = Revision.objects.get(kind="equipment", record_id=source.pk, number=2)
    assert (revision.origin, revision.reason, revision.author) == (Origin.API, "Issue 2", people["designer"])


def test_a_stale_change_shows_yours_and_theirs(api: Any, source: Equipment, save: Any) -> None:
    read = api.get(f"{EQUIPMENT}{source.pk}/")
    record = read.json()["record"]
    save("equipment", record_text(source) | {"notes": "Theirs"}, record_id=source.pk)
    record["terminals"][0]["uo_v"] = "27 V"
    answer = send(api, f"{EQUIPMENT}{source.pk}/", record, "put", **{"If-Match": read["ETag"]})
    conflict = check_refusal(answer, 412, "stale")["conflict"]
    assert conflict["version"] == 2 and answer["ETag"] == '"2"'
    assert conflict["theirs"]["notes"] == "Theirs" and conflict["theirs"]["terminals"][0]["uo_v"] == "28 V"
    assert conflict["yours"]["terminals"][0]["uo_v"] == "27 V"
    assert set(conflict["differing"]) == {"notes", "terminals.0.uo_v"}
    assert Revision.objects.filter(kind="equipment", record_id=source.pk).count() == 2
    laid = conflict["theirs"]
    laid["terminals"][0]["uo_v"] = "27 V"
    assert send(api, f"{EQUIPMENT}{source.pk}/", laid, "put", **{"If-Match": answer["ETag"]}).status_code == 200


@pytest.mark.parametrize(("header", "status"), [("", 428), ("*", 428), ("3", 400), ('W/"1"', 412), ('"9"', 412)])
def test_a_change_names_the_version_it_rests_on(api: Any, source: Equipment, header: str, status: int) -> None:
    record = api.get(f"{EQUIPMENT}{source.pk}/").json()["record"]
    headers = {"If-Match": header} if header else {}
    check_refusal(send(api, f"{EQUIPMENT}{source.pk}/", record, "put", **headers), status)
    archived = {"archived": True}
    check_refusal(send(api, f"{EQUIPMENT}{source.pk}/archived/", archived, "put", **headers), status)


def test_an_item_is_added(api: Any, certificate: Certificate) -> None:
    text = {
        "kind": "source",
        "maker": "Northlight Barriers",
        "type_name": "NB-30",
        "terminals": [
            {
                "name": "1-2",
                "side": "source",
                "output": "linear",
                "certificate": "EXA 21 ATEX 0101 issue 0",
                "uo_v": "28 V",
                "permitted": [{"group": "IIC", "co_f": "83 nF", "lo_h": "4.2 mH"}],
            }
        ],
    }
    made = send(api, EQUIPMENT, text)
    assert made.status_code == 201, made.content
    item = Equipment.objects.get(type_name="NB-30")
    assert made["Location"] == f"{EQUIPMENT}{item.pk}/" and made["ETag"] == '"1"'
    assert item.terminals.get().certificate == certificate
    again = check_refusal(send(api, EQUIPMENT, text), 400, "invalid")
    assert "already" in again["errors"]["type_name"][0]
    text["terminals"][0]["uo_v"] = "28"
    text["type_name"] = "NB-31"
    refused = check_refusal(send(api, EQUIPMENT, text), 400)
    assert set(refused["errors"]) == {"terminals.0.uo_v"} and "28 V" in refused["errors"]["terminals.0.uo_v"][0]


@pytest.mark.parametrize(
    ("value", "path"),
    [
        ({"maker": 5}, "maker"),
        ({"maker": None}, "maker"),
        ({"notes": ["a"]}, "notes"),
        ({"maker": "x" * 81}, "maker"),
        ({"kind": "gadget"}, "kind"),
        ({"terminals": {}}, "terminals"),
        ({"terminals": [5]}, "terminals.0"),
        ({"terminals": [{"hart": "yes"}]}, "terminals.0.hart"),
        ({"terminals": [{"certificate": True}]}, "terminals.0.certificate"),
        ({"terminals": [{"id": "1"}]}, "terminals.0.id"),
        ({"id": 5}, "id"),
        ({"reason": 5}, "reason"),
        ({"reason": "x" * 401}, "reason"),
        ({"makker": "x"}, "makker"),
    ],
)
def test_another_type_than_described_is_told_at_its_path(
    api: Any, source_data: Any, value: dict[str, Any], path: str
) -> None:
    refused = check_refusal(send(api, EQUIPMENT, source_data | value), 400, "invalid")
    assert path in refused["errors"], refused
    assert not Equipment.objects.exists()


def test_archived_and_brought_back(api: Any, source: Equipment) -> None:
    address = f"{EQUIPMENT}{source.pk}/"
    gone = send(api, f"{address}archived/", {"archived": True, "reason": "Obsolete"}, "put", **{"If-Match": '"1"'})
    assert gone.json()["archived"] is True and gone["ETag"] == '"2"'
    record = gone.json()["record"]
    check_refusal(send(api, address, record, "put", **{"If-Match": '"2"'}), 400)
    assert api.get(EQUIPMENT).json()["results"] == []
    assert len(api.get(f"{EQUIPMENT}?archived=only").json()["results"]) == 1
    back = send(api, f"{address}archived/", {"archived": False}, "put", **{"If-Match": '"2"'})
    assert back.json()["archived"] is False
    for body in ({}, {"archived": "no"}, {"archived": True, "x": 1}):
        check_refusal(send(api, f"{address}archived/", body, "put", **{"If-Match": '"3"'}), 400)
    revisions = api.get(f"{address}revisions/").json()["results"]
    assert [(row["number"], row["reason"]) for row in revisions] == [(1, "As tested"), (2, "Obsolete"), (3, "")]
    whole = api.get(f"{address}revisions/2/").json()
    assert whole["snapshot"]["archived"] is True
    assert whole["snapshot"]["terminals"][0]["uo_v"] == {"text": "28 V", "si": "28"}
    check_refusal(api.get(f"{address}revisions/9/"), 404)


def test_other_sites_are_not_there(people: Any, site: Site, area: HazardousArea) -> None:
    neighbour = token_client(people["neighbour"])
    for address in (f"areas/{area.pk}/", f"areas/{area.pk}/revisions/", f"sites/{site.pk}/", "sites/999/"):
        check_refusal(neighbour.get(BASE + address), 404, "not_found")
    assert neighbour.get(f"{BASE}areas/").json()["results"] == []
    change = {"If-Match": f'"{area.version}"'}
    check_refusal(send(neighbour, f"{BASE}areas/{area.pk}/", record_text(area), "put", **change), 404)
    check_refusal(send(neighbour, f"{BASE}areas/", record_text(area) | {"site": "NORTH", "name": "Mine"}), 403)
    check_refusal(token_client(people["outsider"]).get(EQUIPMENT), 403)


def test_filters_are_those_of_the_list(api: Any, source: Equipment, device: Equipment) -> None:
    def found(query: str) -> list[int]:
        answer = api.get(f"{EQUIPMENT}?{query}")
        assert answer.status_code == 200, answer.content
        return [row["id"] for row in answer.json()["results"]]

    assert found("") == sorted([source.pk, device.pk])
    assert found("maker=Sandpiper+Instruments") == [device.pk]
    assert found("quantity1=uo_v&from1=27+V") == [source.pk]
    assert found("q=NB-28") == [source.pk]
    for query, name in (
        ("makr=x", "query"),
        ("level=id", "level"),
        ("quantity1=uo_v&from1=27", "from1"),
        ("limit=0", "limit"),
        ("limit=201", "limit"),
        ("limit=x", "limit"),
        ("limit=", "limit"),
        ("limit=1&limit=2", "limit"),
        ("cursor=-1", "cursor"),
        ("sort=nothing", "sort"),
        ("sort=maker&sort=type", "sort"),
        ("sort=--maker", "sort"),
        ("sort=", "sort"),
        ("sort=maker&cursor=7", "cursor"),
        ("sort=maker&cursor=a:b:c", "cursor"),
        ("sort=maker&cursor=" + "a" * 9_000, "cursor"),
    ):
        assert name in check_refusal(api.get(f"{EQUIPMENT}?{query}"), 400, "invalid")["errors"], query
    check_refusal(api.get(f"{EQUIPMENT}{source.pk}/?x=1"), 400)


def test_pages_follow_each_other_whatever_is_added_meanwhile(api: Any, save: Any, source_data: Any) -> None:
    items = [save("equipment", source_data | {"type_name": f"NB-{number}"}) for number in range(7)]
    seen: list[int] = []
    after: int | None = 0
    while after is not None:
        body = api.get(f"{EQUIPMENT}?limit=3&cursor={after}").json()
        seen += [row["id"] for row in body["results"]]
        after = body["next"]
        if len(seen) == 3:
            save("equipment", source_data | {"type_name": "A-1", "maker": "Aurora"})
    assert seen == [item.pk for item in items] + [Equipment.objects.get(type_name="A-1").pk]


def queries_of(client: Any, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200
    return len(queries)


def many(kind: str, count: int, start: int, save: Any, source_data: Any, site: Site) -> None:
    for number in range(start, start + count):
        if kind == "certificates":
            save("certificate", {"scheme": "ATEX", "number": f"EXA 21 ATEX {number}", "issue": "0"})
        elif kind == "equipment":
            save("equipment", source_data | {"type_name": f"NB-{number}"})
        elif kind == "cable-types":
            save("cable_type", {"name": f"Pair {number}"})
        elif kind == "schemes":
            save("scheme", {"name": f"S{number}", "lead_days": "90"})
        elif kind == "areas":
            text = {"site": "NORTH", "name": f"Bay {number}", "zone": "1", "group": "IIC", "temperature_class": "T4"}
            save("area", text, by="designer")
        else:
            save("site", record_text(site) | {"code": f"S{number}", "name": "S"}, by="superuser")


@pytest.mark.parametrize("kind", ["certificates", "equipment", "cable-types", "schemes", "areas", "sites"])
def test_a_list_takes_as_many_queries_at_fifty_as_at_ten(
    kind: str, people: Any, save: Any, source_data: Any, site: Site
) -> None:
    api = token_client(people["superuser" if kind == "sites" else "designer"])
    address = f"{BASE}{kind}/?limit=200"
    api.get(address)
    many(kind, 10, 1000, save, source_data, site)
    few = queries_of(api, address)
    many(kind, 40, 2000, save, source_data, site)
    assert len(api.get(address).json()["results"]) >= 50
    assert queries_of(api, address) == few <= 14
