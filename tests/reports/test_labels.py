"""Labels: what stands on them is what was issued, and they lie where the numbers of the sheet say."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pypdf
import pytest

from loops.models import Loop
from reports.labels import GRIDS, Grid, Label, LabelsRefused, fitting_pt, labels_of, own_grid, placed

pytestmark = pytest.mark.django_db
PT_MM = 25.4 / 72


def some(count: int) -> list[Label]:
    return [Label(f"PT-{number}", f"PT-{number}", "", "", "") for number in range(1, count + 1)]


@pytest.mark.parametrize("grid", GRIDS.values(), ids=str)
def test_every_sheet_fits_on_its_paper(grid: Grid) -> None:
    """ISO 216: A4 is 210 × 297 mm; Letter is 8.5 × 11 in."""
    grid.check()


@pytest.mark.parametrize(
    "sizes", [{"width": 5.0}, {"columns": 4.0}, {"rows": 9.0}, {"left": 30.0}, {"columns": 0.0}, {"height": 400.0}]
)
def test_numbers_that_do_not_fit_are_refused(sizes: dict[str, float]) -> None:
    with pytest.raises(LabelsRefused):
        own_grid(GRIDS["a4-3x8"], sizes).check()


def test_a_sheet_that_was_begun_is_filled_from_its_first_free_label() -> None:
    grid = GRIDS["a4-3x8"]
    pages = placed(some(25), grid, 5, False, {})
    assert [len(page) for page in pages] == [20, 5]
    first = pages[0][0]
    assert (first.left, first.top) == (f"{7.2 + 1 * 66:.2f}mm", f"{12.9 + 33.9:.2f}mm")
    assert (pages[1][0].left, pages[1][0].top) == ("7.20mm", "12.90mm")


def test_a_long_tag_is_written_smaller() -> None:
    assert fitting_pt("PT-1", 40, 20, 6) == 20
    assert 6 < fitting_pt("PT-1101-LONG-NAME", 40, 20, 6) < 20
    assert fitting_pt("X" * 80, 40, 20, 6) == 6


def test_an_issued_loop_has_level_and_code(sheet: Any) -> None:
    """The level is that of the circuit as issued: ia IIC of an ia IIC source and an ia IIC device."""
    found = list(labels_of(Loop.objects.all(), ["loops", "items", "cables"]))
    assert [(label.tag, label.level) for label in found] == [
        ("PT-1101", "Ex ia IIC"),
        ("PT-1101-B", "Ex ia IIC"),
        ("PT-1101", "Ex ia IIC"),
        ("W-PT-1101", "Ex ia IIC"),
    ]
    assert all(label.link.endswith(f"/s/{sheet.approval.short_id}/") for label in found)
    assert found[3].note == "Cabinet 1 – PT-1101"


def test_a_loop_without_an_issue_has_neither_level_nor_code(loop: Any) -> None:
    label = next(labels_of(Loop.objects.all(), ["loops"]))
    assert (label.tag, label.level, label.link) == ("PT-1101", "", "")


def test_a_withdrawn_issue_gives_no_code(sheet: Any, people: Any) -> None:
    from loops.services import approvals

    approvals.withdraw(sheet.approval_id, people["approver"], text="The device was recalled.")
    label = next(labels_of(Loop.objects.all(), ["loops"]))
    assert (label.level, label.link) == ("", "")


def test_the_label_rests_on_the_issue_and_not_on_a_later_save(
    sheet: Any, loop_data: Callable[..., dict[str, Any]], people: Any
) -> None:
    from loops.services.loops import save_loop
    from registry.services.records import Author

    loop = sheet.approval.loop
    changed = loop_data(service="Another service", length="5000 m")
    save_loop(changed, Author(people["designer"], reason="Longer"), loop_id=loop.pk)
    label = next(labels_of(Loop.objects.all(), ["loops"]))
    assert (label.note, label.level) == ("Reactor pressure", "Ex ia IIC")


def test_the_pdf_says_what_the_record_says(sheet: Any, client_as: Any, words_of: Any) -> None:
    loop = sheet.approval.loop
    answer = client_as("reader").get(
        "/labels/labels.pdf", {"loop": loop.pk, "what": ["loops", "items", "cables"], "stripe": "1", "start": "2"}
    )
    assert answer["Content-Type"] == "application/pdf"
    words = words_of(answer.content)
    for text in (
        "PT-1101-B",
        "W-PT-1101",
        "Loop PT-1101",
        "Ex ia IIC",
        "Intrinsically safe circuit",
        "Reactor pressure",
    ):
        assert text in words
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert (round(float(box.width) * PT_MM), round(float(box.height) * PT_MM)) == (210, 297)


@pytest.mark.parametrize(
    ("grid", "size", "pages"),
    [("single-62x29", (62, 29), 3), ("letter-3x10", (216, 279), 1), ("a4-5x13", (210, 297), 1)],
)
def test_paper_and_pages(
    grid: str, size: tuple[int, int], pages: int, sheet: Any, client_as: Any, words_of: Any
) -> None:
    asked = {"loop": sheet.approval.loop_id, "what": ["loops", "cables"], "copies": "1", "grid": grid}
    if grid.startswith("single"):
        asked["what"] = ["items", "cables"]
    reader = pypdf.PdfReader(io.BytesIO(client_as("reader").get("/labels/labels.pdf", asked).content))
    box = reader.pages[0].mediabox
    assert (round(float(box.width) * PT_MM), round(float(box.height) * PT_MM)) == size
    assert len(reader.pages) == pages


def test_all_that_the_list_shows(make_loop: Any, client_as: Any, words_of: Any) -> None:
    make_loop(tag="PT-7"), make_loop(tag="TT-8")
    client = client_as("reader")
    words = words_of(client.get("/labels/labels.pdf", {"which": "all", "query": "q=PT"}).content)
    assert "PT-7" in words and "TT-8" not in words


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "There is nothing to print labels for"),
        ({"start": "99"}, "The first free label is one of 1 to 24"),
        ({"start": "x"}, "whole numbers"),
        ({"width": "a"}, "two decimals"),
        ({"width": "150"}, "the sheet has 210"),
        ({"copies": "21"}, "1 to 20 copies"),
        ({"which": "all", "query": "nonsense=1"}, "There is nothing"),
    ],
)
def test_what_cannot_be_printed_is_told_in_words(asked: dict[str, str], words: str, loop: Any, client_as: Any) -> None:
    ticked = {"loop": loop.pk} if asked and "which" not in asked else {}
    page = client_as("reader").get("/labels/labels.pdf", {**ticked, **asked}, follow=True)
    assert words in page.content.decode()


def test_nobody_labels_the_loops_of_others(loop: Any, client_as: Any) -> None:
    page = client_as("neighbour").get("/labels/labels.pdf", {"loop": loop.pk}, follow=True)
    assert "There is nothing to print labels for" in page.content.decode()


def test_the_choice_says_what_gets_no_code(sheet: Any, make_loop: Any, client_as: Any) -> None:
    make_loop(tag="PT-7")
    page = client_as("reader").get("/labels/").content.decode()
    assert page.count("none: not issued") == 1 and 'name="loop"' in page
