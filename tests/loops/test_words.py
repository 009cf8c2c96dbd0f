"""Loops are found by a part of their tag, their service or the tag of anything in them, by indexes on PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from loops.models import Loop, Member
from loops.selectors import containing
from registry.text_search import index_name

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("text", "tags"),
    [
        ("pt-1", ["PT-1101", "PT-12"]),
        ("1101-b", ["PT-1101"]),
        ("  actor   PRESS", ["PT-1101", "PT-12"]),
        ("zzz", []),
        ("%", []),
        ("", ["PT-1101", "PT-12"]),
    ],
)
def test_what_is_found(text: str, tags: list[str], make_loop: Callable[..., Any]) -> None:
    make_loop()
    make_loop(tag="PT-12")
    found = containing(Loop.objects.filter(archived_at=None), text)
    assert list(found.order_by("tag").values_list("tag", flat=True)) == tags
    assert found.count() == len(tags)


@pytest.mark.postgresql
def test_it_is_found_by_indexes() -> None:
    """What is asked must be, word for word, what the indexes of the migration hold."""
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL")
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off; SET LOCAL enable_indexscan = off")
    plan = containing(Loop.objects.all(), "x-0012").explain()
    assert index_name(Loop) in plan and index_name(Member) in plan
