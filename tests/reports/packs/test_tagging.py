"""A bound document is tagged as its parts are: read by pikepdf, by pypdf and by a checker of accessible PDF."""

from __future__ import annotations

import datetime as dt
import io
import re
from collections import Counter
from typing import Any

import pdfua
import pikepdf
import pytest
from django.utils import translation

from reports.packs.binding import Bound, bind
from reports.pdf import Document, render

DAY = dt.datetime(2026, 11, 25, 14, 3, tzinfo=dt.UTC)
BODY = """<h1>Sheet {0}</h1><p><a href="https://unlit.example/">There</a></p><table><thead><tr><th>Tag</th></tr></thead>
<tbody><tr><td>PT-{0}</td></tr></tbody></table><p style="page-break-before: always">Second page of {0}</p>"""


def part(number: int) -> Bound:
    html = f'<html lang="en"><head><title>Sheet {number}</title></head><body>{BODY.format(number)}</body></html>'
    return Bound(f"Sheet {number}", render(Document(html, "", DAY)))


@pytest.fixture(scope="module")
def parts() -> list[Bound]:
    return [part(number) for number in range(1, 4)]


def kinds(element: Any) -> Counter[str]:
    """How many elements of each kind a structure has."""
    found: Counter[str] = Counter()
    if isinstance(element, pikepdf.Array):
        return sum((kinds(kid) for kid in element), found)
    if isinstance(element, pikepdf.Dictionary) and "/S" in element:
        found[str(element.S)] += 1
        found += kinds(element.get("/K", pikepdf.Array()))
    return found


def test_the_elements_of_the_whole_are_those_of_its_parts(parts: list[Bound]) -> None:
    of_parts: Counter[str] = Counter()
    for one in parts:
        with pikepdf.open(io.BytesIO(one.data)) as found:
            of_parts += kinds(found.Root.StructTreeRoot.K)
    with pikepdf.open(io.BytesIO(bind(parts, "Whole", DAY))) as whole:
        tree = whole.Root.StructTreeRoot
        assert [str(element.S) for element in tree.K] == ["/Document"]
        assert [str(element.T) for element in tree.K[0].K] == ["Sheet 1", "Sheet 2", "Sheet 3"]
        assert all(tree.K[0] == element.P for element in tree.K[0].K)
        found_kinds = kinds(tree.K)
    of_parts["/Sect"] += of_parts.pop("/Document")
    assert found_kinds == of_parts + Counter({"/Document": 1, "/Part": 3})
    assert found_kinds["/TH"] == 3 and found_kinds["/Link"] == 3


def test_the_content_of_each_page_leads_to_elements_of_that_page(parts: list[Bound]) -> None:
    """ISO 32000-1:2008, 14.7.4.4: the parent tree has for each page its elements by the number of their mark."""
    with pikepdf.open(io.BytesIO(bind(parts, "Whole", DAY))) as whole:
        pairs = list(whole.Root.StructTreeRoot.ParentTree.Nums)
        entries = {int(pairs[index]): pairs[index + 1] for index in range(0, len(pairs), 2)}
        assert list(entries) == sorted(entries) and len(entries) == len(pairs) // 2
        assert int(whole.Root.StructTreeRoot.ParentTreeNextKey) == max(entries) + 1
        used = []
        for page in whole.pages:
            number = int(page.obj.StructParents)
            used.append(number)
            content = pikepdf.unparse_content_stream(pikepdf.parse_content_stream(page))
            marks = {int(mark) for mark in re.findall(rb"/MCID (\d+)", content)}
            assert marks == set(range(len(entries[number])))
            for mark in marks:
                element = entries[number][mark]
                assert element.Pg.objgen == page.obj.objgen
                assert mark in list(element.K)
            for link in page.obj.get("/Annots", []):
                used.append(int(link.StructParent))
                element = entries[int(link.StructParent)]
                assert str(element.S) == "/Link"
                assert any(isinstance(kid, pikepdf.Dictionary) and kid.get("/Obj") == link for kid in element.K)
        assert sorted(used) == sorted(entries)


def test_a_checker_of_accessible_pdf_finds_that_it_claims_nothing_and_no_more(
    parts: list[Bound], tmp_path: Any
) -> None:
    """The line at the foot is in a font that is not in the file, so that the whole does not claim PDF/UA."""
    file = tmp_path / "whole.pdf"
    file.write_bytes(bind(parts, "Whole", DAY))
    assert [finding.rule_id for finding in pdfua.validate(file).findings] == ["UA-28-004"]


def test_a_part_that_is_not_tagged_leaves_the_whole_untagged(parts: list[Bound]) -> None:
    """Half a tree would be worse than none: whoever listens would not learn that something is left out."""
    bare = pikepdf.new()
    bare.add_blank_page()
    target = io.BytesIO()
    bare.save(target)
    for order in ([*parts, Bound("Bare", target.getvalue())], [Bound("Bare", target.getvalue()), *parts]):
        with pikepdf.open(io.BytesIO(bind(order, "Whole", DAY))) as whole:
            assert "/StructTreeRoot" not in whole.Root and "/MarkInfo" not in whole.Root
            assert len(whole.pages) == 7


def test_the_same_parts_give_the_same_bytes(parts: list[Bound]) -> None:
    assert bind(parts, "Whole", DAY) == bind(parts, "Whole", DAY)


def test_whatever_the_language_the_bookmarks_lead_to_the_same_pages(parts: list[Bound]) -> None:
    """Names of the format are no words."""
    with translation.override("de"):
        data = bind(parts, "Whole", DAY)
    with pikepdf.open(io.BytesIO(data)) as whole, whole.open_outline() as outline:
        assert [(str(item.title), item.destination[1]) for item in outline.root] == [
            (one.title, "/Fit") for one in parts
        ]
