"""The room on a phone: from a tag to a word in two taps, and from the word to a draft that still has to be approved."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from loops.models import Loop
from registry.models import Notice, NoticeKind, Revision
from tests.loops.suitability.test_answers import other  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db


def member(loop: Loop, role: str = "device") -> Any:
    return loop.circuits.get().members.get(role=role)


def check_url(loop: Loop, item: Any, role: str = "device") -> str:
    return reverse("suits_check", args=[loop.pk, member(loop, role).pk, str(item.terminals.get().pk)])


def test_a_tag_leads_to_its_items_and_a_part_of_it_to_a_list(make_loop: Any, client_as: Any) -> None:
    loop = make_loop()
    client = client_as("planner")
    assert client.get(reverse("suits"), {"q": "pt-1101"})["Location"] == reverse("suits_loop", args=[loop.pk])
    source = reverse("suits_item", args=[loop.pk, member(loop, "source").pk])
    assert client.get(reverse("suits"), {"q": "PT-1101-B"})["Location"] == source
    assert "PT-1101" in client.get(reverse("suits"), {"q": "110"}).content.decode()
    assert "Nothing of your sites" in client.get(reverse("suits"), {"q": "XX-9"}).content.decode()
    assert client_as("neighbour").get(reverse("suits"), {"q": "PT-1101"}).status_code == 200


def test_two_taps_from_the_page_of_a_sheet_to_the_words(loop: Any, other: Any, client_as: Any) -> None:  # noqa: F811
    good, bad = other("SP-GOOD"), other("SP-BAD", ui_v="20 V")
    client = client_as("planner")
    first = client.get(reverse("suits_loop", args=[loop.pk])).content.decode()
    second = reverse("suits_item", args=[loop.pk, member(loop).pk])
    assert f'href="{second}"' in first
    page = client.get(second).content.decode()
    assert page.index("SP-GOOD") < page.index("SP-BAD")
    assert f'href="{check_url(loop, good)}"' in page
    assert "licensed practice decide" in page
    third = client.get(check_url(loop, bad)).content.decode()
    assert third.index("Does not suit") < third.index("above the Ui of PT-1101, 20 V")


def test_a_word_narrows_the_candidates(loop: Any, other: Any, client_as: Any) -> None:  # noqa: F811
    other("SP-GOOD"), other("SP-ELSE")
    page = client_as("planner").get(reverse("suits_item", args=[loop.pk, member(loop).pk]), {"q": "good sand"})
    assert "SP-GOOD" in page.content.decode()
    assert "SP-ELSE" not in page.content.decode()


def test_the_queries_of_a_page_do_not_grow_with_the_register(
    loop: Any,
    other: Any,  # noqa: F811
    client_as: Any,
    django_assert_max_num_queries: Any,
) -> None:
    client = client_as("planner")
    for number in range(12):
        other(f"SP-{number:03}")
    with django_assert_max_num_queries(32):
        client.get(reverse("suits_item", args=[loop.pk, member(loop).pk]))


def test_the_planner_sends_a_draft_and_the_designers_are_told(
    loop: Any,
    other: Any,  # noqa: F811
    client_as: Any,
    people: Any,
) -> None:
    item = other("SP-NEW", ci_f="6 nF")
    client = client_as("planner")
    answer = client.post(check_url(loop, item), {"_version": loop.version, "reason": "The old one failed."})
    assert answer["Location"] == reverse("loop", args=[loop.pk])
    saved = Loop.objects.get(pk=loop.pk)
    assert saved.state == "draft"
    row = member(saved)
    assert (row.terminals, row.made_on, row.tag) == (item.terminals.get(), None, "PT-1101")
    revision = Revision.objects.filter(kind="loop", record_id=loop.pk).order_by("-number").first()
    assert revision is not None
    assert (revision.author, revision.reason) == (people["planner"], "The old one failed.")
    assert saved.verification.revision == revision
    notice = Notice.objects.get(kind=NoticeKind.PROPOSED)
    assert notice.person == people["designer"]
    assert "SP-NEW (+/-) in place of Sandpiper Instruments SP-100 (+/-)" in notice.subject


@pytest.mark.parametrize(
    ("person", "values", "sent", "status"),
    [
        ("planner", {}, {"reason": ""}, 400),
        ("planner", {"ui_v": "20 V"}, {"reason": "Try"}, 409),
        ("planner", {}, {"reason": "Try", "_version": "99"}, 409),
        ("approver", {}, {"reason": "Try"}, 403),
        ("reader", {}, {"reason": "Try"}, 403),
        ("neighbour", {}, {"reason": "Try"}, 404),
    ],
)
def test_what_is_refused_saves_nothing(
    loop: Any,
    other: Any,  # noqa: F811
    client_as: Any,
    person: str,
    values: dict[str, str],
    sent: dict[str, str],
    status: int,
) -> None:
    item = other("SP-NEW", **values)
    before = Revision.objects.count()
    answer = client_as(person).post(check_url(loop, item), {"_version": str(loop.version)} | sent)
    assert answer.status_code == status
    assert (Revision.objects.count(), Notice.objects.count()) == (before, 0)
    assert Loop.objects.get(pk=loop.pk).version == loop.version


def test_a_planner_does_not_get_at_anything_else_of_a_loop(loop: Any, client_as: Any) -> None:
    """To propose is not to edit: the editor and the API stay closed to the planner."""
    client = client_as("planner")
    assert client.get(reverse("loop_edit", args=[loop.pk])).status_code == 403
    assert client.post(reverse("loop_submit", args=[loop.pk]), {"_version": loop.version}).status_code == 403


@pytest.mark.parametrize("way", ["0", "x", "1-", "99999999999999999999", "-1"])
def test_ways_that_do_not_fit_are_not_there(loop: Any, client_as: Any, way: str) -> None:
    url = reverse("suits_check", args=[loop.pk, member(loop).pk, way])
    assert client_as("planner").get(url).status_code == 404


def test_a_source_does_not_stand_in_place_of_a_device(loop: Any, source: Any, client_as: Any) -> None:
    assert client_as("planner").get(check_url(loop, source)).status_code == 404


def test_the_page_of_a_sheet_leads_here(loop: Any, client_as: Any) -> None:
    page = client_as("planner").get(reverse("loop", args=[loop.pk])).content.decode()
    assert reverse("suits_loop", args=[loop.pk]) in page


def test_other_loops_with_the_same_item_are_named(
    make_loop: Any,
    loop_data: Any,
    other: Any,  # noqa: F811
    people: Any,
    client_as: Any,
) -> None:
    """A module of several channels under one tag: what is replaced for one loop is replaced for all of them."""
    from loops.services.loops import save_loop
    from registry.services.records import Author

    loop = make_loop()
    text = loop_data(tag="PT-2")
    text["circuits"][0]["members"][1]["tag"] = "PT-1101"
    second = save_loop(text, Author(people["designer"]))
    page = client_as("planner").get(check_url(loop, other("SP-NEW"))).content.decode()
    assert reverse("suits_item", args=[second.pk, member(second).pk]) in page


@pytest.mark.parametrize("typed", ["pt1101", "PT 1101", "pt.1101"])
def test_a_tag_is_found_as_a_thumb_types_it(typed: str, make_loop: Any, client_as: Any) -> None:
    loop = make_loop()
    make_loop(tag="PT-11012")
    answer = client_as("planner").get("/suits/", {"q": typed})
    assert (answer.status_code, answer["Location"]) == (302, f"/suits/loops/{loop.pk}/")
    nothing = client_as("planner").get("/suits/", {"q": "pt9999"})
    assert "has the tag “pt9999”" in nothing.content.decode()
