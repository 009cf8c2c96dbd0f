"""Changing one value of many records: looked at first, saved as a whole or not at all, told in each history."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from registry.models import Equipment, Revision, Terminals
from registry.services.many import places_of

pytestmark = pytest.mark.django_db
ADDRESS = "/equipment/many/"


@pytest.fixture
def items(save: Callable[..., Any], source_data: dict[str, Any], source: Any) -> list[Any]:
    """The source of all tests and two more like it; the last has two sets of terminals."""
    second = save("equipment", source_data | {"type_name": "NB-29"})
    rows = [source_data["terminals"][0] | {"name": name} for name in ("1-2", "3-4")]
    return [source, second, save("equipment", source_data | {"type_name": "NB-30", "terminals": rows})]


def body(items: list[Any], place: str, value: str, **more: str) -> dict[str, Any]:
    return {"record": [item.pk for item in items], "place": place, "value": value, "reason": "Data sheet 3"} | more


def mark(answer: Any) -> str:
    found = re.search(r'name="mark" value="([0-9a-f]{64})"', answer.content.decode())
    assert found
    return found[1]


def texts(column: str) -> list[str]:
    return list(Terminals.objects.order_by("pk").values_list(column, flat=True))


def test_the_list_leads_there_with_its_filters(items: list[Any], client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    address = client.get("/equipment/", {"q": "NB-29"}).context["many"]
    assert [record["text"] for record in client.get(address).context["records"]] == ["Northlight Barriers NB-29"]
    assert client_as("reader").get("/equipment/").context["many"] == ""
    assert client.get(ADDRESS, {"level": "x"}).status_code in (400, 403)


def test_a_look_saves_nothing_and_the_save_is_what_was_looked_at(
    items: list[Any], client_as: Callable[[str], Any]
) -> None:
    client = client_as("keeper")
    before = texts("um_v_text"), Revision.objects.count()
    sent = body(items, "terminals.um_v", "230 V")
    looked = client.post(ADDRESS, sent)
    assert looked.status_code == 200
    found = looked.context["found"]
    # the fixture `source` has Um 250 V
    assert {(one.before, one.after) for one in found.differences} == {("250 V", "230 V")}
    assert len(found.differences) == 4 and found.changed == 3
    assert (texts("um_v_text"), Revision.objects.count()) == before
    saved = client.post(ADDRESS, sent | {"save": "1", "mark": mark(looked)})
    assert saved.status_code == 302
    assert texts("um_v_text") == ["230 V"] * 4
    newest = [Revision.objects.filter(kind="equipment", record_id=item.pk).latest("number") for item in items]
    assert {(one.number, one.reason, one.author.username) for one in newest} == {(2, "Data sheet 3", "keeper")}


def test_only_where_it_says_something_now(items: list[Any], save: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    found = client.post(ADDRESS, body(items, "terminals.um_v", "230 V", only="253 V")).context["found"]
    assert (found.differences, found.changed) == ([], 0)
    paper = save("certificate", {"scheme": "ATEX", "number": "EXA 21 ATEX 0101", "issue": "7", "status": "current"})
    now = str(items[0].terminals.get().certificate)
    sent = body(items[:2], "terminals.certificate", str(paper), only=now)
    looked = client.post(ADDRESS, sent)
    assert {(one.before, one.after) for one in looked.context["found"].differences} == {(now, str(paper))}
    client.post(ADDRESS, sent | {"save": "1", "mark": mark(looked)})
    assert list(Terminals.objects.filter(certificate=paper).values_list("equipment__type_name", flat=True)) == [
        "NB-28",
        "NB-29",
    ]


def test_loops_that_would_change_are_told_before(loop: Any, source: Any, client_as: Callable[[str], Any]) -> None:
    # Ui of the device is 30 V
    answer = client_as("keeper").post(ADDRESS, body([source], "terminals.uo_v", "31 V", save="", mark=""))
    assert answer.status_code == 409, "a save without a look is a look"
    looked = client_as("keeper").post(ADDRESS, body([source], "terminals.uo_v", "31 V"))
    assert looked.context["changing"] == looked.context["worse"] == 1
    assert "PT-1101" in looked.content.decode()
    loop.refresh_from_db()
    assert loop.verification.verdict == "complies"


@pytest.mark.parametrize(
    "place, value, words",
    [
        ("terminals.um_v", "253", "Add the unit"),
        ("terminals.um_v", "9**9 V", "for example"),
        ("terminals.level", "id", "id"),
        ("terminals.certificate", "No such paper", "There is no"),
        ("kind", "", "required"),
        ("function", "x" * 81, "80 characters"),
        ("function", "a\x00b", "hidden character"),
        ("type_name", "NB", "Choose what to change"),
        ("terminals.unconfirmed", "no", "Choose what to change"),
        ("terminals.name", "1", "Choose what to change"),
        ("", "", "Choose what to change"),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_saved(
    place: str, value: str, words: str, items: list[Any], client_as: Callable[[str], Any]
) -> None:
    client = client_as("keeper")
    for more in ({}, {"save": "1", "mark": "0" * 64}):
        answer = client.post(ADDRESS, body(items, place, value, **more))
        assert answer.status_code == 400
        assert words in str(answer.context["errors"])
        assert [record["chosen"] for record in answer.context["records"]] == [True] * 3
    assert Revision.objects.filter(kind="equipment").count() == 3


def test_one_refusal_keeps_all_from_being_saved(items: list[Any], device: Any, client_as: Callable[[str], Any]) -> None:
    """A source has an output characteristic; a device needs none, and would take the change."""
    client = client_as("keeper")
    before = texts("output"), Revision.objects.count()
    for more in ({}, {"save": "1", "mark": "0" * 64}):
        answer = client.post(ADDRESS, body([*items, device], "terminals.output", "", **more))
        assert answer.status_code == 400 and "NB-29" in str(answer.context["errors"])
    assert (texts("output"), Revision.objects.count()) == before


def test_what_was_saved_meanwhile_is_shown_anew(
    items: list[Any], source_data: Any, save: Any, client_as: Callable[[str], Any]
) -> None:
    client = client_as("keeper")
    sent = body(items, "terminals.um_v", "230 V")
    looked = client.post(ADDRESS, sent)
    save("equipment", source_data | {"notes": "Meanwhile"}, record_id=items[0].pk)
    answer = client.post(ADDRESS, sent | {"save": "1", "mark": mark(looked)})
    assert answer.status_code == 409 and "saved by somebody else" in answer.content.decode()
    assert "230 V" not in texts("um_v_text")
    assert client.post(ADDRESS, sent | {"save": "1", "mark": mark(answer)}).status_code == 302


def test_without_a_reason_or_a_record_nothing_happens(items: list[Any], client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    assert client.post(ADDRESS, body(items, "function", "B", reason=" ")).status_code == 400
    assert client.post(ADDRESS, body([], "function", "B")).status_code == 400
    assert client.post(ADDRESS, body(items, "function", "B") | {"record": ["999999", "x", "-1"]}).status_code == 404
    assert not Equipment.objects.filter(function="B").exists()


def test_what_can_be_changed_is_what_forms_have() -> None:
    assert {"maker", "function", "terminals.certificate", "terminals.um_v"} - set(places_of("equipment")) == {
        "maker"
    }, "a maker tells types apart"
    assert {"status", "valid_to"} <= set(places_of("certificate"))
    assert "number" not in places_of("certificate") and "site" not in places_of("area")


def test_what_is_ticked_in_the_list_is_what_is_changed(items: list[Any], client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    listed = client.get("/equipment/", {"maker": "Northlight Barriers"})
    page = listed.content.decode()
    for item in items:
        assert f'name="record" value="{item.pk}" form="tick"' in page
    query = dict(listed.context["many_query"]) | {"record": [items[0].pk, items[2].pk]}
    offered = client.get(listed.context["many_action"], query).context["records"]
    assert {record["pk"] for record in offered} == {items[0].pk, items[2].pk}
    assert 'form="tick"' not in client_as("reader").get("/equipment/").content.decode()
