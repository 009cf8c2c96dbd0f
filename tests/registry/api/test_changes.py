"""The change feed: in order, from a cursor on, no more than the caller may see."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from loops.models import Loop
from registry.models import Change, Revision
from registry.selectors import record_text
from tests.registry.api.asking import BASE, check_refusal, token_client

pytestmark = pytest.mark.django_db
CHANGES = f"{BASE}changes/"


def test_everything_in_its_order_once(api: Any, loop: Loop, save: Any, source: Any) -> None:
    seen: list[dict[str, Any]] = []
    cursor, more = 0, True
    while more:
        body = api.get(f"{CHANGES}?limit=3&cursor={cursor}").json()
        seen += body["results"]
        cursor, more = body["next"], body["more"]
    visible = Change.objects.exclude(kind="person").exclude(site__code="SOUTH").order_by("number")
    assert [row["number"] for row in seen] == list(visible.values_list("number", flat=True))
    last = next(row for row in seen if row["kind"] == "loop")
    revision = Revision.objects.get(kind="loop", record_id=loop.pk)
    assert (last["record_id"], last["site"], last["verb"], last["digest"], last["revision"]) == (
        loop.pk,
        "NORTH",
        "add",
        revision.digest,
        1,
    )
    later = api.get(f"{CHANGES}?cursor={cursor}").json()
    assert later == {"next": cursor, "more": False, "results": []}
    save("equipment", record_text(source) | {"notes": "Seen"}, record_id=source.pk)
    fresh = api.get(f"{CHANGES}?cursor={cursor}").json()["results"]
    assert [(row["kind"], row["verb"], row["revision"]) for row in fresh if row["kind"] == "equipment"] == [
        ("equipment", "change", 2)
    ]


def test_other_sites_and_people_are_left_out(people: Any, loop: Loop) -> None:
    rows = token_client(people["neighbour"]).get(f"{CHANGES}?limit=200").json()["results"]
    assert rows and {row["site"] for row in rows} <= {"", "SOUTH"}
    rows = token_client(people["administrator"]).get(f"{CHANGES}?limit=200").json()["results"]
    assert "person" not in {row["kind"] for row in rows}, "people are kept on the pages alone"
    check_refusal(token_client(people["outsider"]).get(CHANGES), 403)


def test_a_cursor_of_a_log_that_was_longer_is_refused(api: Any, loop: Loop) -> None:
    """Where an older backup was put back, who follows must not wait where nothing comes for long."""
    end = Change.objects.order_by("number").values_list("number", flat=True).last()
    assert api.get(f"{CHANGES}?cursor={end}").json() == {"next": end, "more": False, "results": []}
    told = check_refusal(api.get(f"{CHANGES}?cursor={end + 1}"), 400, "invalid")["errors"]["cursor"][0]
    assert f"ends at {end}" in told and "anew" in told


def test_filters_and_since(api: Any, loop: Loop) -> None:
    kinds = api.get(f"{CHANGES}?kind=loop").json()["results"]
    assert {row["kind"] for row in kinds} == {"loop"}
    soon = (timezone.now() + dt.timedelta(hours=1)).isoformat().replace("+", "%2B")
    before = (timezone.now() - dt.timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert api.get(f"{CHANGES}?since={soon}").json()["results"] == []
    assert len(api.get(f"{CHANGES}?since={before}&limit=200").json()["results"]) > 3
    for query in ("since=yesterday", "since=2026-11-25T08:00:00", "since=", "sinse=x", "verb=fly", "cursor=x"):
        check_refusal(api.get(f"{CHANGES}?{query}"), 400, "invalid")


def test_queries(api: Any, save: Any) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert api.get(f"{CHANGES}?limit=200").status_code == 200
        return len(captured)

    for number in range(10):
        save("cable_type", {"name": f"Pair {number}"})
    queries()
    few = queries()
    for number in range(40):
        save("cable_type", {"name": f"Triad {number}"})
    assert queries() == few <= 8
