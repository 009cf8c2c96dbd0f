"""What people keep of lists: columns, page size, views shared with a site, and what is shown as a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from python_calamine import CalamineWorkbook

from registry.models import ListLayout, Membership, Role, SavedView
from registry.services.records import Author, set_archived

pytestmark = pytest.mark.django_db
LAYOUT = "/lists/equipment/columns/"
NEW = "/lists/equipment/views/"


def heads(client: Any, address: str = "/equipment/", **query: str) -> list[str]:
    return [head["label"] for head in client.get(address, query).context["columns"]]


def test_columns_and_rows_are_kept_for_the_person_alone(source: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("designer")
    answer = client.post(LAYOUT, {"column": ["uo", "maker", "apples"], "size": "25", "query": "level=ia&page=3"})
    assert answer.headers["Location"] == "/equipment/?level=ia"
    assert heads(client) == ["Type", "Maker", "Uo"]
    assert client.get("/equipment/").context["page_obj"].paginator.per_page == 25
    assert heads(client, columns="kind") == ["Type", "Kind"], "the address goes before what is kept"
    assert heads(client_as("keeper")) != ["Type", "Maker", "Uo"]
    client = client_as("designer")
    client.post(LAYOUT, {"usual": "1", "column": ["uo"], "size": "200"})
    assert "Terminals" in heads(client) and client.get("/equipment/").context["page_obj"].paginator.per_page == 50
    assert ListLayout.objects.count() == 1


@pytest.mark.parametrize("size", ["", "0", "-1", "1000000", "x", "\x00"])
def test_odd_sizes_are_the_usual_one(size: str, source: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("designer")
    assert client.post(LAYOUT, {"size": size, "query": "\x00=&&&=%zz"}).status_code == 302
    assert client.get("/equipment/").context["page_obj"].paginator.per_page == 50
    assert client.post("/lists/apples/columns/").status_code == 404


def test_columns_have_one_name_in_all_languages(loop: Any, client_as: Callable[[str], Any]) -> None:
    """Else what a German page links to, a file in English would not understand, nor a view a colleague opens."""
    client = client_as("designer")
    english, german = (
        [column["name"] for column in client.get("/loops/", HTTP_ACCEPT_LANGUAGE=language).context["choosable"]]
        for language in ("en", "de")
    )
    assert english == german
    page = client.get("/schedules/", HTTP_ACCEPT_LANGUAGE="de")
    address = next(url for row in page.context["rows"] for name, url in row["files"] if name == "CSV")
    rows = list(csv.reader(io.StringIO(client.get(address).content.decode("utf-8-sig"))))
    assert len(rows[0]) > 3


@pytest.mark.parametrize("kind", ["equipment", "certificate", "cable_type", "area", "site", "loop", "scheme"])
def test_every_column_of_every_list_can_be_shown_and_exported(
    kind: str, loop: Any, client_as: Callable[[str], Any]
) -> None:
    client = client_as("designer")
    page = client.get(reverse(f"{kind}_list"))
    names = [column["name"] for column in page.context["choosable"]]
    assert len(names) == len(set(names))
    query = {"columns": ",".join(names)}
    shown = client.get(reverse(f"{kind}_list"), query)
    assert len(shown.context["columns"]) == len(names) + 1
    answer = client.get(reverse(f"{kind}_seen", args=["csv"]), query)
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == shown.context["page_obj"].paginator.count + 1
    assert rows[0][2:] == [column["label"] for column in page.context["choosable"]]


def test_what_is_shown_is_exported_and_no_more(source: Any, device: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("reader")
    query = {"columns": "maker,uo,co", "kind": "source"}
    answer = client.get("/equipment/seen.xlsx", query)
    assert answer.headers["Content-Disposition"] == 'attachment; filename="equipment-seen.xlsx"'
    rows = CalamineWorkbook.from_filelike(io.BytesIO(answer.content)).get_sheet_by_index(0).to_python()
    # the values of the fixture `source`
    assert rows[0] == ["Type", "Function", "Maker", "Uo", "Co"]
    assert rows[1][0] == "NB-28" and rows[1][2] == "Northlight Barriers"
    assert rows[1][3].endswith("28 V") and "IIC 83 nF" in rows[1][4]
    assert len(rows) == 2
    assert client.get("/equipment/seen.csv", query | {"level": "x"}).status_code == 400
    assert client.get("/equipment/seen.doc").status_code == 404


def test_an_archived_record_says_so_in_the_table(source: Any, people: Any, client_as: Callable[[str], Any]) -> None:
    set_archived(source, True, Author(people["keeper"]))
    text = client_as("reader").get("/equipment/seen.csv", {"archived": "only"}).content.decode()
    assert "Archived" in text


# -------------------------------------------------------------------------------------------------------------- views


@pytest.fixture
def view(source: Any, client_as: Callable[[str], Any]) -> SavedView:
    """A view of the designer: sources of 28 V."""
    query = "kind=source&quantity1=uo_v&from1=28 V&columns=uo,maker&sort=-type&size=25&page=2"
    answer = client_as("designer").post(NEW, {"name": " Sources  of 28 V", "query": query})
    assert answer.status_code == 302
    return SavedView.objects.get()


def test_a_view_is_shared_with_the_site(view: SavedView, client_as: Callable[[str], Any]) -> None:
    assert view.name == "Sources of 28 V"
    reader = client_as("reader")
    listed = reader.get("/equipment/").context["views"]
    assert [one["name"] for one in listed] == ["Sources of 28 V"]
    shown = reader.get(listed[0]["url"]).context
    assert [row[0]["text"] for row in shown["rows"]] == ["NB-28"]
    assert [head["label"] for head in shown["columns"]] == ["Type", "Maker", "Uo"]
    assert shown["view"] == view and not shown["view_changed"]
    assert reader.get(listed[0]["url"] + "&level=ia").context["view_changed"]
    assert reader.get("/certificates/").context["views"] == []


def test_a_view_of_another_site_is_not_there(view: SavedView, client_as: Callable[[str], Any]) -> None:
    neighbour = client_as("neighbour")
    assert neighbour.get("/equipment/").context["views"] == []
    for method in (neighbour.get, neighbour.post):
        assert method(f"/views/{view.pk}/").status_code == 404
    assert neighbour.post(NEW, {"change": str(view.pk), "query": ""}).status_code == 404
    assert neighbour.post(NEW, {"name": "Mine", "site": str(view.site_id), "query": ""}).status_code == 404
    assert neighbour.get("/equipment/", {"view": str(view.pk)}).context["view"] is None
    assert SavedView.objects.count() == 1


@pytest.mark.parametrize(
    "role, allowed", [("designer", True), ("administrator", True), ("reader", False), ("keeper", False)]
)
def test_only_its_owner_and_the_administrator_keep_a_view(
    role: str, allowed: bool, view: SavedView, client_as: Callable[[str], Any]
) -> None:
    client = client_as(role)
    status = 302 if allowed else 403
    assert client.get(f"/views/{view.pk}/").status_code == 200
    assert client.post(f"/views/{view.pk}/", {"name": "Others"}).status_code == status
    assert client.post(NEW, {"change": str(view.pk), "query": "level=ib"}).status_code == status
    view.refresh_from_db()
    assert (view.name, view.query) == (("Others", "level=ib") if allowed else ("Sources of 28 V", view.query))
    assert client.post(f"/views/{view.pk}/", {"delete": "1"}).status_code == status
    assert SavedView.objects.exists() is not allowed


def test_who_left_the_site_keeps_nothing_there(view: SavedView, people: Any, client_as: Callable[[str], Any]) -> None:
    Membership.objects.filter(user=people["designer"]).delete()
    assert client_as("designer").post(f"/views/{view.pk}/", {"delete": "1"}).status_code in (403, 404)
    assert SavedView.objects.exists()


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "a\x00b", "a\u202eb", "Sources of 28 V"])
def test_a_name_that_will_not_do_is_told(name: str, view: SavedView, client_as: Callable[[str], Any]) -> None:
    client = client_as("designer")
    client.post(NEW, {"name": name, "query": "level=ia"})
    assert SavedView.objects.count() == 1
    assert "not saved" in client.get("/equipment/").content.decode()
    if name != view.name:
        assert client.post(f"/views/{view.pk}/", {"name": name}).status_code == 400
    view.refresh_from_db()
    assert view.name == "Sources of 28 V"


def test_a_view_that_is_not_understood_is_not_saved(source: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("designer")
    for query in ("level=x", "apples=1", "quantity1=uo_v&from1=28"):
        assert client.post(NEW, {"name": "One", "query": query}).status_code == 302
    assert not SavedView.objects.exists()


def test_the_site_is_asked_for_where_there_are_several(
    source: Any, other_site: Any, people: Any, client_as: Callable[[str], Any]
) -> None:
    Membership.objects.create(user=people["designer"], site=other_site, role=Role.READER)
    client = client_as("designer")
    assert client.post(NEW, {"name": "One", "query": ""}).status_code == 404
    assert client.post(NEW, {"name": "One", "query": "", "site": str(other_site.pk)}).status_code == 302
    assert SavedView.objects.get().site == other_site
