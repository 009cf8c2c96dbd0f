"""A plant at a glance: every number is the length of the list that it leads to."""

from __future__ import annotations

import itertools
import re
from decimal import Decimal as D
from html import unescape
from typing import Any

import pytest
from django.urls import reverse

from loops.models import Loop
from loops.views.overview import BUCKETS, counted, histogram, percent

pytestmark = pytest.mark.django_db
URL = "/overview/"


def test_address() -> None:
    assert reverse("overview") == URL


def test_the_buckets_leave_no_margin_out_and_count_none_twice() -> None:
    """Margins are stored in steps of 0.0001: each bucket begins one step above the end of the one before."""
    assert BUCKETS[0].low is None
    assert BUCKETS[-1].high is None
    for before, after in itertools.pairwise(BUCKETS):
        assert before.high is not None
        assert after.low == before.high + D("0.0001")


def test_every_number_leads_to_a_list_of_that_length(make_loop: Any, failing_loop: Any, client_as: Any) -> None:
    for number, length in enumerate(("10 m", "400 m", "600 m", "680 m", "705 m"), 1):
        make_loop(tag=f"NEW-{number}", length=length)
    client = client_as("designer")
    page = client.get(URL).content.decode()
    links = re.findall(r'<a href="(/loops/\?[^"]+)">(\d+)<', page)
    assert len(links) > 10
    for address, number in links:
        answer = client.get(unescape(address))
        listed = set(re.findall(r'href="(/loops/\d+/)"', answer.content.decode()))
        assert len(listed) == int(number), address


def test_all_loops_are_in_the_histogram(make_loop: Any, failing_loop: Any) -> None:
    make_loop(tag="NEW-1", length="705 m")
    rows = histogram(counted(Loop.objects.all()))
    assert sum(row["count"] for row in rows) == Loop.objects.count()
    assert max(row["length"] for row in rows) == 100


def test_the_nearest_to_its_limit_is_first(make_loop: Any, client_as: Any) -> None:
    for number, length in enumerate(("10 m", "705 m", "400 m"), 1):
        make_loop(tag=f"NEW-{number}", length=length)
    found = [row["loop"].tag for row in client_as("reader").get(URL).context["nearest"]]
    assert found.index("NEW-2") == 0
    margins = [row["loop"].verification.least_margin for row in client_as("reader").get(URL).context["nearest"]]
    assert margins == sorted(margins)


def test_margins_are_cut_towards_less() -> None:
    assert [percent(D(text)) for text in ("0.0799", "-0.0001", "1")] == ["7.9\u202f%", "-0.1\u202f%", "100.0\u202f%"]


def test_other_sites_are_not_counted(loop: Any, client_as: Any) -> None:
    assert client_as("outsider").get(URL).context["total"] == 0
    assert loop.tag not in client_as("outsider").get(URL).content.decode()


def test_the_number_of_queries_does_not_grow(
    make_loop: Any, client_as: Any, django_assert_max_num_queries: Any
) -> None:
    client = client_as("reader")
    make_loop(tag="NEW-0")
    client.get(URL)
    for number in range(1, 8):
        make_loop(tag=f"NEW-{number}")
    with django_assert_max_num_queries(16):
        client.get(URL)


def test_an_empty_plant(client_as: Any) -> None:
    page = client_as("reader").get(URL).content.decode()
    assert "No loop complies yet" in page
    assert "licensed practice decide" in page
