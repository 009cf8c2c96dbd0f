"""Changing one value of many loops: looked at with what becomes of their verdicts, then saved as a whole."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from loops.models import Loop, Verification
from registry.models import Revision
from registry.services.many import places_of

pytestmark = pytest.mark.django_db
ADDRESS = "/loops/many/"


@pytest.fixture
def loops(make_loop: Callable[..., Any]) -> list[Any]:
    return [make_loop(tag=f"PT-{number}", length="300 m") for number in (1, 2, 3)]


def body(loops: list[Any], place: str, value: str, **more: str) -> dict[str, Any]:
    return {"record": [loop.pk for loop in loops], "place": place, "value": value, "reason": "Laid anew"} | more


def mark(answer: Any) -> str:
    found = re.search(r'name="mark" value="([0-9a-f]{64})"', answer.content.decode())
    assert found
    return found[1]


def stored() -> tuple[int, int, list[str]]:
    lengths = Loop.objects.order_by("pk").values_list("circuits__cables__length_m_text", flat=True)
    return Revision.objects.filter(kind="loop").count(), Verification.objects.count(), list(lengths)


def test_what_can_be_changed_of_loops() -> None:
    places = places_of("loop")
    assert {"service", "circuits.interconnection", "circuits.members.area", "circuits.cables.cable_type"} <= set(places)
    for name in ("tag", "site", "circuits.name", "circuits.members.tag", "circuits.members.role"):
        assert name not in places, "what tells loops and their parts apart stays"


def test_a_longer_run_in_many_loops_shows_which_fail_before_it_is_saved(
    loops: list[Any], client_as: Callable[[str], Any]
) -> None:
    client = client_as("designer")
    before = stored()
    sent = body(loops[:2], "circuits.cables.length_m", "3 km", only="300 m")
    looked = client.post(ADDRESS, sent)
    assert looked.status_code == 200
    # The fixtures' source permits 83 nF; 3 km of its cable hold far more.
    assert [(effect.tag, effect.after) for effect in looked.context["rows"]] == [
        ("PT-1", "does_not_comply"),
        ("PT-2", "does_not_comply"),
    ]
    assert looked.context["worse"] == 2
    assert stored() == before, "a look writes nothing"
    saved = client.post(ADDRESS, sent | {"save": "1", "mark": mark(looked)})
    assert saved.status_code == 302
    assert stored()[2] == ["3 km", "3 km", "300 m"]
    verdicts = dict(Loop.objects.values_list("tag", "verification__verdict"))
    assert verdicts["PT-1"] == verdicts["PT-2"] == "does_not_comply" and verdicts["PT-3"] == "complies"
    newest = Revision.objects.filter(kind="loop", record_id=loops[0].pk).latest("number")
    assert (newest.number, newest.reason) == (2, "Laid anew")


def test_one_that_refuses_keeps_all_as_they_are(loops: list[Any], people: Any, client_as: Callable[[str], Any]) -> None:
    Loop.objects.filter(pk=loops[1].pk).update(state="in_review")
    before = stored()
    answer = client_as("designer").post(ADDRESS, body(loops, "service", "Level"))
    assert answer.status_code == 400
    assert "PT-2: This loop is in review" in answer.content.decode()
    assert stored() == before


def test_the_list_offers_it_to_designers_alone(loops: list[Any], client_as: Callable[[str], Any]) -> None:
    page = client_as("designer").get("/loops/", {"q": "PT-2"})
    assert f'value="{loops[1].pk}" form="tick"' in page.content.decode()
    offered = client_as("designer").get(page.context["many"]).context["records"]
    assert [record["text"] for record in offered] == ["PT-2 (NORTH)"]
    assert client_as("planner").get("/loops/").context["many"] == ""
    assert client_as("planner").get(ADDRESS).status_code == 403
