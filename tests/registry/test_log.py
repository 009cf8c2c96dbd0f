"""The change log as a page and a table, and any two revisions of a record side by side."""

import csv
import datetime as dt
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone

from registry.models import Change, Deed
from registry.services.changes import Told, append
from registry.views.log import PAGE_SIZE

pytestmark = pytest.mark.django_db


def page(client: Any, query: str = "") -> str:
    answer = client.get(f"/log/{query}")
    assert answer.status_code == 200
    return str(answer.content.decode())


def table(client: Any, query: str = "") -> list[dict[str, str]]:
    answer = client.get(f"/log/export.csv{query}")
    assert answer.status_code == 200 and answer["Content-Disposition"].startswith("attachment")
    content = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(content)))


@pytest.fixture
def deeds(source: Any, source_data: Any, save: Callable[..., Any], people: Any) -> None:
    from registry.services.records import Author, save_text

    author = Author(people["designer"], reason="=issue 2 of the certificate")
    rows = source_data["terminals"]
    rows[0] |= {"id": source.terminals.get().pk, "uo_v": "26 V"}
    save_text("equipment", source_data, author, record_id=source.pk)


@pytest.mark.parametrize(
    ("query", "seen", "hidden"),
    [
        ("?record=NB-28", ["NB-28"], ["EXA 21 ATEX 0101 issue 0"]),
        ("?who=designer", ["NB-28"], ["EXA 21 ATEX 0101 issue 0"]),
        ("?kind=certificate", ["EXA 21 ATEX 0101 issue 0"], ["NB-28"]),
        ("?verb=change", ["issue 2 of the certificate"], ["EXA 21 ATEX 0101 issue 0"]),
        ("?why=ISSUE+2+of", ["NB-28"], ["EXA 21 ATEX 0101 issue 0"]),
        ("?site=NORTH", ["North works"], ["NB-28"]),
        ("?first=2031-01-01", ["Nothing matches"], ["NB-28"]),
        ("?last=2001-01-01", ["Nothing matches"], ["NB-28"]),
    ],
)
def test_the_log_is_narrowed_by_who_what_when_and_why(
    deeds: None, client_as: Callable[[str], Any], query: str, seen: list[str], hidden: list[str]
) -> None:
    client = client_as("reader")
    text = page(client, query)
    body = text[text.index('<form class="filter-bar"') :]
    body = body[body.index("</form>") :]
    assert all(words in body for words in seen) and not any(words in body for words in hidden)
    rows = table(client, query)
    assert bool(rows) is ("Nothing matches" not in seen)


@pytest.mark.parametrize(
    ("query", "name", "words"),
    [
        ("verb=none", "verb", "pick one"),
        ("kind=apples", "kind", "pick one"),
        ("site=SOUTH", "site", "pick one"),
        ("first=x", "first", "year, month, day"),
        ("last=2026-02-30", "last", "no day"),
        ("last=9999-12-31", "last", "a year from"),
        ("first=2026-02-02&last=2026-02-01", "last", "exchange"),
        ("who=" + "x" * 101, "who", "at most 100"),
        ("who=a&who=b", "who", "twice"),
        ("recrod=NB-28", "", "Did you mean “record”?"),
        ("q=NB-28", "", "no filter named “q”"),
    ],
)
def test_what_is_not_understood_is_told_beside_its_field(
    deeds: None, client_as: Callable[[str], Any], query: str, name: str, words: str
) -> None:
    for address in ("/log/", "/log/export.csv"):
        answer = client_as("reader").get(f"{address}?{query}")
        assert answer.status_code == 400 and answer.context["rows"] == []
        (fault,) = answer.context["faults"]
        assert (fault["id"], words in fault["text"]) == (f"filter-{name}" if name else "", True), fault
        assert "Nothing matches" not in answer.content.decode()


def test_a_page_without_a_number_is_told(deeds: None, client_as: Callable[[str], Any]) -> None:
    assert "“x” is no number of a line: the newest are shown." in page(client_as("reader"), "?before=x")


def test_days_are_whole_days_of_the_time_zone(deeds: None, client_as: Callable[[str], Any]) -> None:
    today = timezone.localdate()
    assert (
        len(table(client_as("reader"), f"?first={today}&last={today}"))
        == Change.objects.exclude(site__code="SOUTH").count() - Change.objects.filter(kind="person").count()
    )
    assert table(client_as("reader"), f"?first={today + dt.timedelta(days=2)}") == []


def test_the_table_holds_what_the_page_shows_and_no_formula(deeds: None, client_as: Callable[[str], Any]) -> None:
    """A text that a spreadsheet would take for a formula has an apostrophe before it."""
    row = table(client_as("reader"), "?verb=change")[0]
    assert row["record"] == "Northlight Barriers NB-28" and row["revision"] == "2" and row["by way of"] == "page"
    assert row["why"] == "'=issue 2 of the certificate"
    assert row["when"].endswith("+00:00") and len(row["digest"]) == 64


def test_other_sites_and_people_are_not_shown(people: Any, client_as: Callable[[str], Any]) -> None:
    append([Told(Deed.PASSWORD, "person", 1, "The reader", people["superuser"])])
    assert "SOUTH" not in page(client_as("reader")) and "The reader</th>" not in page(client_as("reader"))
    assert not [row for row in table(client_as("designer")) if row["kind"] == "person" or row["site"] == "SOUTH"]
    assert [row for row in table(client_as("administrator")) if row["kind"] == "person"]
    assert client_as("outsider").get("/log/").status_code == 403
    assert client_as("outsider").get("/log/export.csv").status_code == 403


def test_pages_go_by_number_and_do_not_shift_while_others_work(people: Any, client_as: Callable[[str], Any]) -> None:
    append([Told(Deed.ADD, "cable_type", number, f"Cable {number:03}") for number in range(120)])
    client = client_as("reader")
    first = client.get("/log/?kind=cable_type").context
    older = first["older_url"]
    assert len(first["rows"]) == PAGE_SIZE and not first["newer_url"]
    before = [row["change"].label for row in client.get(f"/log/{older}").context["rows"]]
    append([Told(Deed.ADD, "cable_type", 999, "Cable of somebody else")])
    second = client.get(f"/log/{older}").context
    assert [row["change"].label for row in second["rows"]] == before
    third = client.get(f"/log/{second['older_url']}").context
    assert len(third["rows"]) == 20 and not third["older_url"]
    assert [row["change"].label for row in client.get(f"/log/{third['newer_url']}").context["rows"]] == before
    assert client.get("/log/?before=x&after=99999999999999999999").status_code == 200


def test_the_number_of_queries_does_not_grow(
    people: Any, client_as: Callable[[str], Any], django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = client_as("reader")
    counts = []
    for _ in range(2):
        append([Told(Deed.ADD, "cable_type", number, "Cable", people["keeper"]) for number in range(1, 21)])
        with CaptureQueriesContext(connection) as queries:
            page(client)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_any_two_revisions_are_compared(
    source: Any, source_data: Any, save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    rows = source_data["terminals"]
    for uo in ("26 V", "24 V"):
        rows[0] |= {"id": source.terminals.get().pk, "uo_v": uo}
        save("equipment", source_data, record_id=source.pk)
    client = client_as("reader")
    address = f"/equipment/{source.pk}/compare/"
    found = client.get(f"{address}?from=1&to=3").context["rows"]
    assert [(row["label"], row["before"], row["after"]) for row in found] == [("Terminals 1-2, Uo", "28 V", "24 V")]
    assert client.get(address).context["rows"][0]["before"] == "26 V"
    assert client.get(f"{address}?from=3&to=1").context["rows"][0]["after"] == "28 V"
    assert client.get(f"{address}?from=1&to=9").status_code == 404
    assert client.get(f"{address}?from=x&to=2").status_code == 200
    assert "Compare any two" in client.get(f"/equipment/{source.pk}/history/").content.decode()


def test_two_saves_of_a_loop_are_compared(
    loop: Any, loop_data: Callable[..., Any], people: Any, client_as: Callable[[str], Any]
) -> None:
    from loops.services.loops import save_loop
    from registry.selectors import record_text
    from registry.services.records import Author

    text = record_text(loop)
    save_loop(text | {"service": "Level of tank 7"}, Author(people["designer"]), loop_id=loop.pk)
    client = client_as("reader")
    answer = client.get(f"/loops/{loop.pk}/compare/?from=1&to=2")
    assert answer.status_code == 200 and [row["after"] for row in answer.context["rows"]] == ["Level of tank 7"]
    assert f"/loops/{loop.pk}/compare/" in client.get(f"/loops/{loop.pk}/").content.decode()
    assert client_as("neighbour").get(f"/loops/{loop.pk}/compare/").status_code == 404
