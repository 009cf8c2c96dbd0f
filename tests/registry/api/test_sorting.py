"""Lists of the API in the orders of the pages: page after page they are the whole list, whatever happens meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

import pytest

from loops.models import Loop
from loops.views.kind import LOOP
from registry.api.listing import sorts_of
from registry.models import CableType, Certificate, User
from registry.views.kinds import KINDS
from registry.views.listing import asked_of, found_records
from registry.views.ordering import may_be_null, ordered
from tests.registry.api.asking import BASE, check_refusal, token_client

pytestmark = pytest.mark.django_db
PAGES = [*KINDS.values(), LOOP]
ORDERS = [(page, turn + sort) for page in PAGES for sort in sorts_of(page) for turn in ("", "-")]


def walk(client: Any, address: str, limit: int, between: Callable[[int], Any] = lambda number: None) -> list[int]:
    """The keys of all pages, one after the other."""
    seen: list[int] = []
    after = ""
    for number in range(500):
        rest = urlencode({"limit": limit} | ({"cursor": after} if after else {}))
        answer = client.get(f"{address}&{rest}")
        assert answer.status_code == 200, answer.content
        body = answer.json()
        assert len(body["results"]) <= limit
        seen += [row["id"] for row in body["results"]]
        between(number)
        if body["next"] is None:
            return seen
        after = body["next"]
    raise AssertionError("it never ends")


@pytest.fixture
def stock(
    loop: Any, failing_loop: Any, make_loop: Any, save: Callable[..., Any], source_data: dict[str, Any], people: Any
) -> None:
    """Records in loops and in none, with values and without, many of them alike."""
    for number in range(6):
        save("equipment", source_data | {"type_name": f"T-{number}", "function": "supply" if number % 2 else ""})
        end = "" if number % 3 else f"203{number}-01-01"
        save("certificate", {"scheme": "NQ", "number": f"N {number}", "issue": "0", "valid_to": end})
        save("cable_type", {"name": f"C {number}", "maker": f"M {number % 2}"})
        make_loop(tag=f"LT-{number}", service="Level" if number % 2 else "")
        text = {"site": "NORTH", "name": f"Bay {number}", "zone": "1", "group": "IIC", "temperature_class": "T4"}
        save("area", text, by="designer")
    Loop.objects.filter(tag="LT-3").update(verification=None)


@pytest.mark.parametrize("limit", [1, 2, 5, 200])
def test_pages_after_cursors_are_the_whole_list(limit: int, stock: None, people: Any) -> None:
    user = people["designer"]
    program = token_client(User.objects.get(pk=user.pk), "read")
    for page, sort in ORDERS:
        found = found_records(page, user, asked_of(page, "archived=all", user))
        whole = list(ordered(page, found, sort).values_list("pk", flat=True))
        assert len(whole) > 1 or page.kind == "site"
        assert walk(program, f"{BASE}{page.path}/?archived=all&sort={sort}", limit) == whole, (page.kind, sort)


def test_only_the_first_column_of_an_order_may_be_empty() -> None:
    """What comes behind an empty value in a later column would be left out."""
    for page in PAGES:
        for column in page.columns:
            assert not [name for name in column.order[1:] if may_be_null(page, name)], (page.kind, column.sort)


def test_values_that_differ_in_the_last_digit_are_told_once(people: Any) -> None:
    """SQLite holds them as binary numbers, whose shortest text has up to 17 digits (IEEE 754)."""
    values = [f"0.0000000{number:017d}" for number in (10**16 + 7, 10**16 + 8, 10**16 + 9, 3, 3, 123456789012345678)]
    for number, value in enumerate(values):
        CableType.objects.create(name=f"C {number}", capacitance_f_per_m=value[:26], capacitance_f_per_m_text="x")
    program = token_client(User.objects.get(pk=people["designer"].pk), "read")
    for sort in ("c", "-c"):
        whole = list(ordered(KINDS["cable_type"], CableType.objects.all(), sort).values_list("pk", flat=True))
        assert len(whole) == len(values)
        assert walk(program, f"{BASE}cable-types/?sort={sort}", 1) == whole


@pytest.mark.parametrize("sort", ["number", "-number", "end", "-end", "changed", "equipment"])
def test_what_stays_is_told_once_whatever_comes_and_goes(sort: str, people: Any) -> None:
    rows = [
        Certificate(scheme="NQ", number=f"N {10 + number}", issue="0", valid_to=f"20{31 + number % 4}-01-01")
        for number in range(20)
    ]
    staying = [row.pk for row in Certificate.objects.bulk_create(rows)]
    program = token_client(User.objects.get(pk=people["designer"].pk), "read")
    page = KINDS["certificate"]
    order = list(ordered(page, Certificate.objects.all(), sort).values_list("pk", flat=True))

    def stir(number: int) -> None:
        """Add one at each end, and move one that was told to the place behind."""
        for text in ("A", "Z"):
            Certificate.objects.create(scheme="NQ", number=f"{text} {number}", issue="0", valid_to="2033-06-01")
        Certificate.objects.filter(number__startswith="A").delete()

    seen = walk(program, f"{BASE}certificates/?sort={sort}", 3, stir)
    assert [key for key in seen if key in staying] == order
    assert len(set(seen)) == len(seen)


def test_the_last_record_of_a_page_may_change_or_go(people: Any) -> None:
    rows = Certificate.objects.bulk_create(
        Certificate(scheme="NQ", number=f"N {number}", issue="0") for number in range(6)
    )
    program = token_client(User.objects.get(pk=people["designer"].pk), "read")

    def move(number: int) -> None:
        if number == 0:
            Certificate.objects.filter(pk=rows[1].pk).update(number="N 9")

    seen = walk(program, f"{BASE}certificates/?sort=number", 2, move)
    assert seen == [row.pk for row in rows] + [rows[1].pk]


def test_a_cursor_goes_with_its_order(stock: None, people: Any) -> None:
    program = token_client(User.objects.get(pk=people["designer"].pk), "read")
    after = program.get(f"{BASE}equipment/?sort=maker&limit=2").json()["next"]
    for query in ({"sort": "type", "cursor": after}, {"sort": "maker", "cursor": after[:-2]}, {"cursor": after}):
        assert "cursor" in check_refusal(program.get(f"{BASE}equipment/", query), 400, "invalid")["errors"]
    # One list's place in another list of the same order.
    check_refusal(program.get(f"{BASE}cable-types/", {"sort": "maker", "cursor": after}), 400)


def test_a_page_asks_as_often_at_fifty_as_at_ten(people: Any, django_assert_max_num_queries: Any) -> None:
    program = token_client(User.objects.get(pk=people["designer"].pk), "read")
    Certificate.objects.bulk_create(Certificate(scheme="NQ", number=f"N {n}", issue="0") for n in range(60))
    for sort in sorts_of(KINDS["certificate"]):
        with django_assert_max_num_queries(15):
            program.get(f"{BASE}certificates/?sort={sort}&limit=50")
