"""How the lists of the register narrow and sort, and that they take as many queries for any size."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from registry.models import Certificate
from registry.services.records import Author, set_archived

pytestmark = pytest.mark.django_db


def url(kind: str, view: str = "", pk: int = 0) -> str:
    return reverse(f"{kind}_{view}" if view else kind, args=[pk] if pk else [])


def names(client: Any, address: str, **query: str) -> list[str]:
    """The first cells of a list."""
    return [row[0]["text"] for row in client.get(address, query).context["rows"]]


@pytest.fixture
def stock(source: Any, device: Any, save: Callable[..., Any], source_data: dict[str, Any], people: Any) -> None:
    """The source and device of all tests, a source of another maker, and an archived one."""
    withdrawn = {"scheme": "IECEx", "number": "IECEx EXA 20.0001X", "issue": "0", "status": "withdrawn"}
    paper = save("certificate", withdrawn)
    source_data |= {"maker": "Brindle", "type_name": "BR-1", "marking": ""}
    source_data["terminals"][0] |= {"level": "ib", "gas_group": "IIB", "certificate": str(paper.pk)}
    save("equipment", source_data)
    source_data |= {"type_name": "BR-0"}
    set_archived(save("equipment", source_data), True, Author(people["keeper"]))


@pytest.mark.parametrize(
    "query, expected",
    [
        ({}, ["BR-1", "NB-28", "SP-100"]),
        ({"kind": "source"}, ["BR-1", "NB-28"]),
        ({"q": "north"}, ["NB-28"]),
        ({"q": "barriers nb-28"}, ["NB-28"]),
        ({"q": "barriers sp-100"}, []),
        ({"maker": "Brindle"}, ["BR-1"]),
        ({"level": "ib"}, ["BR-1"]),
        ({"group": "IIC"}, ["NB-28", "SP-100"]),
        ({"scheme": "IECEx"}, ["BR-1"]),
        ({"status": "withdrawn"}, ["BR-1"]),
        ({"archived": "only"}, ["BR-0"]),
        ({"archived": "all"}, ["BR-0", "BR-1", "NB-28", "SP-100"]),
        ({"sort": "type"}, ["BR-1", "NB-28", "SP-100"]),
        ({"sort": "-type"}, ["SP-100", "NB-28", "BR-1"]),
        ({"sort": "nonsense"}, ["BR-1", "NB-28", "SP-100"]),
        ({"kind": "nonsense"}, []),
        ({"level": "\x00"}, []),
        ({"levle": "ia"}, []),
    ],
)
def test_filters_and_order_of_the_equipment_list(
    query: dict[str, str], expected: list[str], stock: None, client_as: Callable[[str], Any]
) -> None:
    assert names(client_as("reader"), "/equipment/", **query) == expected


def test_tabs_count_under_the_other_filters(stock: None, client_as: Callable[[str], Any]) -> None:
    tabs = client_as("reader").get("/equipment/", {"maker": "Brindle"}).context["tabs"]
    assert {tab["text"]: tab["count"] for tab in tabs} == {
        "All": 1,
        "Source": 1,
        "Field device": 0,
        "Simple apparatus": 0,
        "Inline item": 0,
    }
    assert "maker=Brindle" in tabs[1]["url"]


def test_filters_of_certificates_by_their_end(save: Callable[..., Any], client_as: Callable[[str], Any]) -> None:
    today = timezone.localdate()
    for number, days in (("N 1", None), ("R 2", -1), ("D 3", 0), ("S 4", 180), ("L 5", 181)):
        end = "" if days is None else (today + dt.timedelta(days)).isoformat()
        save("certificate", {"scheme": "NQ", "number": number, "issue": "0", "valid_to": end})
    client = client_as("reader")
    assert names(client, "/certificates/", end="none") == ["N 1"]
    assert names(client, "/certificates/", end="run out") == ["R 2"]
    assert names(client, "/certificates/", end="soon") == ["D 3", "S 4"]
    assert names(client, "/certificates/", end="later") == ["L 5"]
    assert names(client, "/certificates/", sort="end") == ["R 2", "D 3", "S 4", "L 5", "N 1"]
    assert names(client, "/certificates/", sort="-end") == ["L 5", "S 4", "D 3", "R 2", "N 1"]


def test_quantities_sort_by_their_value_and_not_by_their_text(
    save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    for name, text in (("a", "0.2 uF/km"), ("b", "90 nF/km"), ("c", ""), ("d", "30 pF/ft")):
        save(
            "cable_type", {"name": name, "capacitance_f_per_m": text, "inductance_is": "loop", "resistance_is": "loop"}
        )
    assert names(client_as("reader"), "/cable-types/", sort="c") == ["b", "d", "a", "c"]


def test_areas_narrow_by_site_and_zone(
    area: Any, other_site: Any, save: Callable[..., Any], people: Any, client_as: Callable[[str], Any]
) -> None:
    text = {"name": "Silo", "zone": "21", "group": "IIIC", "temperature_class": "135 degC"}
    save("area", text | {"site": "NORTH"}, by="designer")
    save("area", text | {"site": "SOUTH"}, by="neighbour")
    client = client_as("reader")
    assert names(client, "/areas/") == ["Reactor bay", "Silo"]
    assert names(client, "/areas/", zone="21") == ["Silo"]
    elsewhere, nowhere = (client.get("/areas/", {"site": code}) for code in ("SOUTH", "SOUTX"))
    assert elsewhere.context["rows"] == nowhere.context["rows"] == []
    told = [str(page.context["faults"]).replace("SOUTH", "SOUTX") for page in (elsewhere, nowhere)]
    assert told[0] == told[1], "a site of others is as one that is not"
    assert names(client_as("superuser"), "/areas/", site="SOUTH") == ["Silo"]


def test_lists_are_paged_and_every_page_holds(client_as: Callable[[str], Any], people: Any) -> None:
    Certificate.objects.bulk_create(
        Certificate(scheme="NQ", number=f"NQ {number:03}", issue="0") for number in range(120)
    )
    client = client_as("reader")
    seen = [name for page in ("1", "2", "3") for name in names(client, "/certificates/", page=page)]
    assert seen == [f"NQ {number:03}" for number in range(120)]
    for odd in ("0", "-3", "x", "9" * 50, "\x00"):
        assert client.get("/certificates/", {"page": odd}).status_code == 200


def many(save: Callable[..., Any], data: dict[str, Any], first: int, last: int) -> None:
    for number in range(first, last):
        save("equipment", data | {"type_name": f"T-{number}"})


@pytest.mark.parametrize(
    "address", ["/equipment/", "/certificates/", "/cable-types/", "/areas/", "/sites/", "/people/"]
)
def test_a_list_takes_the_same_number_of_queries_for_10_and_for_1000_rows(
    address: str, save: Callable[..., Any], source_data: dict[str, Any], people: Any, site: Any, client_as: Any
) -> None:
    from registry.models import CableType, HazardousArea, Membership, Role, User

    def fill(first: int, last: int) -> None:
        numbers = range(first, last)
        many(save, source_data, first, min(last, first + 40))
        Certificate.objects.bulk_create(Certificate(scheme="NQ", number=f"NQ {n}", issue="0") for n in numbers)
        CableType.objects.bulk_create(CableType(name=f"Cable {n}") for n in numbers)
        HazardousArea.objects.bulk_create(
            HazardousArea(site=site, name=f"Area {n}", zone="1", group="IIC", temperature_class="T4") for n in numbers
        )
        found = User.objects.bulk_create(User(username=f"person{n}") for n in numbers)
        Membership.objects.bulk_create(Membership(user=user, site=site, role=Role.READER) for user in found)

    def queries() -> int:
        client = client_as("keeper")
        with CaptureQueriesContext(connection) as taken:
            assert client.get(address).status_code == 200
        return len(taken)

    fill(0, 10)
    few = queries()
    fill(10, 1000)
    assert queries() == few <= 13


def test_a_record_and_its_form_take_the_same_number_of_queries_for_2_and_for_20_sets_of_terminals(
    save: Callable[..., Any], source_data: dict[str, Any], client_as: Callable[[str], Any]
) -> None:
    client = client_as("keeper")

    def queries(count: int) -> list[int]:
        rows = [source_data["terminals"][0] | {"name": str(number)} for number in range(count)]
        record = save("equipment", source_data | {"type_name": f"T{count}", "terminals": rows})
        found = []
        for view in ("", "edit"):
            with CaptureQueriesContext(connection) as taken:
                assert client.get(url("equipment", view, record.pk)).status_code == 200
            found.append(len(taken))
        return found

    assert queries(2) == queries(20)
