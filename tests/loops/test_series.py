"""Many loops like one: the list, what would come of it, and that all of them are made or none."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from loops.models import Loop, Verification
from loops.services.series import like, make_series, read_lines, renamed, runs_of
from registry.models import Change, Origin, Revision
from registry.services.records import Author

pytestmark = pytest.mark.django_db


def url(loop: Loop) -> str:
    return reverse("loop_series", args=[loop.pk])


def counts() -> tuple[int, ...]:
    return tuple(model.objects.count() for model in (Loop, Revision, Verification, Change))


def test_lines_are_read_with_tabs_and_semicolons() -> None:
    lines = read_lines("PT-2; 120 m; 4 m; Purge\n\nPT-3\t130 m\t5 m\n", 2)
    assert [(line.number, line.tag, line.lengths, line.service, line.faults) for line in lines] == [
        (1, "PT-2", ["120 m", "4 m"], "Purge", []),
        (3, "PT-3", ["130 m", "5 m"], "", []),
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("; 120 m", "tag is missing"),
        ("PT-2", "0 of 1 lengths"),
        ("PT-2; 1 m; a; b", "take “b” out"),
        ("PT-2; 1 m\npt-2; 2 m", "Line 1 has the same tag"),
    ],
)
def test_faults_of_a_line_are_told_at_it(text: str, words: str) -> None:
    assert words in read_lines(text, 1)[-1].faults[0]


@pytest.mark.parametrize(
    ("name", "expected"), [("pt-1-W1", "PT.2-W1"), ("JB-PT-1/PT-1", "JB-PT.2/PT.2"), ("JB-7", "JB-7"), ("", "")]
)
def test_the_tag_is_replaced_wherever_it_stands(name: str, expected: str) -> None:
    assert renamed(name, "PT-1", "PT.2") == expected


def test_each_loop_has_the_parts_of_the_typical_and_its_own_length(loop: Any, people: Any) -> None:
    lines = read_lines(f"NEW-1; 120 m; Purge\nNEW-2; 9000 m; {loop.service}", len(runs_of(loop)))
    assert make_series(loop, lines, Author(people["designer"], Origin.PAGE, "Row of pumps"), commit=True)
    made = {found.tag: found for found in Loop.objects.filter(tag__startswith="NEW")}
    assert set(made) == {"NEW-1", "NEW-2"}
    assert made["NEW-1"].service == "Purge"
    assert made["NEW-1"].verification.verdict == loop.verification.verdict == "complies"
    assert made["NEW-2"].verification.verdict == "does_not_comply"
    for found in made.values():
        circuit, typical = found.circuits.get(), loop.circuits.get()
        pairs = zip(circuit.members.all(), typical.members.all(), strict=True)
        assert all((new.terminals_id, new.area_id) == (old.terminals_id, old.area_id) for new, old in pairs)
        assert found.owner == people["designer"]
        assert found.state == "draft"
    assert [run.length_m_text for run in made["NEW-1"].circuits.get().cables.all()] == ["120 m"]


def test_a_check_saves_nothing_and_shows_every_verdict(loop: Any, client_as: Any) -> None:
    before = counts()
    answer = client_as("designer").post(url(loop), {"lines": "NEW-1; 120 m\nNEW-2; 9000 m", "_check": ""})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert counts() == before
    assert "Make 2 loops" in page
    assert page.count("Does not comply") == 1
    assert "licensed practice decide" in page
    assert "NEW-1; 120 m\nNEW-2; 9000 m" in page


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "Write a line for each loop first"),
        ("NEW-1; 120 m\nNEW-2; a mile", "Line 2"),
        ("NEW-1; 120 m\nNEW-1; 130 m", "Line 1 has the same tag"),
        ("NEW-1; -3 m", "Line 1"),
        ("\n".join(f"NEW-{n}; 1 m" for n in range(201)), "at most 200 loops"),
        ("x" * 60_001, "too long"),
        ("\0; \0", "Line 1"),
    ],
)
def test_one_bad_line_makes_no_loop_and_loses_nothing(loop: Any, client_as: Any, text: str, words: str) -> None:
    before = counts()
    answer = client_as("designer").post(url(loop), {"lines": text, "_save": ""})
    assert answer.status_code == 400
    assert words in answer.content.decode()
    assert counts() == before


def test_a_tag_that_is_taken_is_told(loop: Any, client_as: Any) -> None:
    answer = client_as("designer").post(url(loop), {"lines": f"NEW-1; 120 m\n{loop.tag}; 130 m", "_save": ""})
    assert answer.status_code == 400
    assert "Line 2" in answer.content.decode()
    assert not Loop.objects.filter(tag="NEW-1").exists()


def test_saving_leads_to_the_list(loop: Any, client_as: Any) -> None:
    client = client_as("designer")
    answer = client.post(url(loop), {"lines": "NEW-1; 120 m", "_save": "", "reason": "Row of pumps"}, follow=True)
    assert "1 loop like" in answer.content.decode()
    made = Loop.objects.get(tag="NEW-1")
    assert Revision.objects.get(kind="loop", record_id=made.pk).reason == "Row of pumps"


def test_names_without_the_tag_stay(loop: Any) -> None:
    from loops import selectors

    typical = selectors.record_names(loop)
    typical["circuits"][0]["cables"][0]["tag"] = "SHARED-9"
    data = like(typical, loop.tag, read_lines("NEW-1; 1 m", 1)[0])
    assert data["circuits"][0]["cables"][0]["tag"] == "SHARED-9"
    assert "id" not in data["circuits"][0]
