"""Pages of long lists: every page of every order shows what stands there in the whole list, from either end."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from loops.models import Loop
from registry import querysets
from registry.models import CableType, Certificate, Equipment, Site
from registry.text_search import SEARCHED, index_name
from registry.views import portions
from registry.views.kinds import KINDS
from registry.views.listing import asked_of, found_records
from registry.views.ordering import MOST_SITES, ordered, parts_of
from registry.views.pages import LISTS
from registry.views.portions import portion

pytestmark = pytest.mark.django_db
ORDERS = [
    (kind.kind, f"{turn}{column.sort}")
    for kind in KINDS.values()
    for column in kind.columns
    if column.sort
    for turn in ("", "-")
]


@pytest.fixture
def stock(loop: Any, save: Callable[..., Any], source_data: dict[str, Any], people: Any) -> None:
    """Items in loops and in none, with and without ends, alike in what they are sorted by."""
    for number in range(7):
        save("equipment", source_data | {"type_name": f"T-{number}", "function": "supply" if number % 2 else ""})
        end = "" if number % 3 else f"203{number}-01-01"
        save("certificate", {"scheme": "NQ", "number": f"N {number}", "issue": "0", "valid_to": end})
        save("cable_type", {"name": f"C {number}", "maker": f"M {number % 2}"})


@pytest.mark.parametrize("size", [1, 2, 3, 5, 100])
def test_pages_are_the_whole_list_in_its_order(size: int, stock: None, people: Any) -> None:
    user = people["administrator"]
    for name, sort in [*ORDERS, *((kind, "") for kind in KINDS)]:
        kind = KINDS[name]
        asked = asked_of(kind, f"sort={sort}&archived=all", user)
        assert asked.sort == sort
        found = found_records(kind, user, asked)
        whole = list(ordered(kind, found, sort).values_list("pk", flat=True))
        for most in (None, 1, 1_000):
            count = len(whole) if most is None else min(len(whole), most + 1)
            for number in range(1, -(-len(whole) // size) + 1):
                keys, shown, pages, further = portion(parts_of(kind, found, sort), count, most, size, number)
                assert (shown, keys) == (number, whole[(number - 1) * size : number * size]), (name, sort, number)
                assert further == (number * size < len(whole))
                assert pages.is_open == (most == 1 and len(whole) > 1)


def test_what_has_no_value_comes_last_either_way(stock: None, people: Any) -> None:
    kind = KINDS["certificate"]
    for sort in ("end", "-end"):
        found = Certificate.objects.filter(scheme="NQ")
        keys = portion(parts_of(kind, found, sort), 7, None, 100, 1)[0]
        ends = [Certificate.objects.get(pk=key).valid_to for key in keys]
        some = [end for end in ends if end]
        assert some == sorted(some, reverse=sort == "-end") and len(some) == 3
        assert ends[3:] == [None] * 4


def test_a_page_behind_the_last_is_the_last(stock: None, people: Any) -> None:
    found = Certificate.objects.filter(scheme="NQ")
    for most in (None, 3):
        count = 7 if most is None else 4
        keys, number, *_ = portion(parts_of(KINDS["certificate"], found, ""), count, most, 2, 999)
        assert keys and number == (4 if most is None else 2)


@pytest.fixture
def counted_to_three(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lists as if they were very long."""
    monkeypatch.setattr(portions, "FEW", 5)
    monkeypatch.setattr(portions, "COUNTED", 3)


def test_among_many_it_is_said_that_there_are_more(
    stock: None, counted_to_three: None, client_as: Callable[[str], Any]
) -> None:
    client = client_as("reader")
    answer = client.get("/equipment/", {"q": "t-"})
    assert "of more than 3 items of equipment" in answer.content.decode()
    assert {tab["count"] for tab in answer.context["tabs"]} == {None}, "no tab says a number that is not known"
    assert len(answer.context["rows"]) == 7
    for number in ("2", "4", "9999999"):
        far = client.get("/equipment/", {"q": "t-", "size": "25", "page": number})
        assert far.status_code == 200
    few = client.get("/equipment/", {"q": "t-3"})
    assert "1–1 of 1 items" in few.content.decode()
    assert [tab["count"] for tab in few.context["tabs"]] == [1, 1, 0, 0, 0]
    whole = client.get("/equipment/")
    assert whole.context["tabs"][0]["count"] == Equipment.objects.count(), "what is not narrowed is counted further"
    assert client.get("/equipment/", {"q": "t-", "kind": "source"}).context["page_obj"].paginator.is_open
    assert not client.get("/equipment/", {"q": "t-", "kind": "field_device"}).context["page_obj"].paginator.is_open


@given(st.lists(st.sampled_from(["", "a", "A", "Ä", "b c", "B", "ß", "'", "%", "10", "9"]), max_size=30))
def test_values_in_use_are_the_different_ones_in_order(makers: list[str]) -> None:
    CableType.objects.all().delete()
    CableType.objects.bulk_create(CableType(name=str(number), maker=maker) for number, maker in enumerate(makers))
    plain = CableType.objects.exclude(maker="").order_by("maker").values_list("maker", flat=True).distinct()
    assert querysets.in_use(CableType, "maker") == list(plain)
    assert querysets.in_use(CableType, "maker", 2) == list(plain[:2])


@pytest.mark.postgresql
@pytest.mark.parametrize("model", [Equipment, Certificate])
def test_a_part_of_a_word_is_found_by_an_index(model: Any) -> None:
    """What is asked must be, word for word, what the index of the migration holds."""
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL")
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off; SET LOCAL enable_indexscan = off")
    plan = querysets.containing(model.objects.all(), "x-0012", SEARCHED[model.record_kind]).explain()
    assert index_name(model) in plan


def test_a_page_far_behind_what_is_counted_is_shown_with_its_neighbours(
    people: Any, monkeypatch: pytest.MonkeyPatch, client_as: Callable[[str], Any]
) -> None:
    monkeypatch.setattr(portions, "FEW", 5)
    monkeypatch.setattr(portions, "COUNTED", 30)
    CableType.objects.bulk_create(CableType(name=f"Cable {number:03}") for number in range(160))
    answer = client_as("reader").get("/cable-types/", {"q": "cable", "size": "25", "page": "5"})
    assert answer.status_code == 200
    assert [row[0]["text"] for row in answer.context["rows"]] == [f"Cable {number}" for number in range(100, 125)]
    page = answer.content.decode()
    assert "page=4" in page and "page=6" in page and "101–125 of more than 30" in page


def test_the_end_of_a_list_that_is_not_counted_is_one_step_away(
    people: Any, monkeypatch: pytest.MonkeyPatch, client_as: Callable[[str], Any]
) -> None:
    monkeypatch.setattr(portions, "FEW", 5)
    monkeypatch.setattr(portions, "WHOLE", 30)
    CableType.objects.bulk_create(CableType(name=f"Cable {number:03}") for number in range(160))
    client = client_as("reader")
    assert "page=last" in client.get("/cable-types/", {"size": "25"}).content.decode()
    answer = client.get("/cable-types/", {"size": "25", "page": "last"})
    assert [row[0]["text"] for row in answer.context["rows"]] == [f"Cable {number}" for number in range(150, 160)]
    page = answer.content.decode()
    assert "151–160 of 160" in page and "Page 7 of 7" in page and "page=last" not in page
    assert "Nothing matches" in client.get("/cable-types/", {"q": "nothing", "page": "last"}).content.decode()


@pytest.mark.parametrize("size", [1, 2, 3, 100])
def test_loops_of_several_sites_are_one_list_in_the_order_of_sites_and_tags(
    size: int, make_loop: Callable[..., Any], site: Site, other_site: Site, people: Any
) -> None:
    kind = LISTS["loop"]
    empty = Site.objects.create(code="AAA", name="Nothing yet", basis=site.basis, time_zone="UTC")
    for tag in ("B-2", "A-1", "C-3"):
        make_loop(tag=tag)
    moved = make_loop(tag="A-0")
    Loop.objects.filter(pk=moved.pk).update(site=other_site)
    found = Loop.objects.all()
    whole = list(ordered(kind, found, "").values_list("pk", flat=True))
    sites = sorted([site, other_site, empty], key=lambda one: one.code)
    parts = parts_of(kind, found, "", sites)
    assert len(parts) == 3 and len(whole) == 4
    for number in range(1, -(-len(whole) // size) + 1):
        for most in (None, 1):
            count = len(whole) if most is None else 2
            keys, *_, further = portion(parts, count, most, size, number)
            assert keys == whole[(number - 1) * size : number * size]
            assert further == (number * size < len(whole))
    assert len(parts_of(kind, found, "", [site] * (MOST_SITES + 1))) == 1
