"""The PDF of a sheet against the standards that it states: judged by other programs where there are any.

pdfua (package index) checks the part of PDF/UA-1 that it knows; pikepdf reads what PDF/A-3 asks for.
"""

from __future__ import annotations

import io
import json

import pdfua
import pikepdf
import pytest

from reports.services import draft_pdf

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheet(loop):
    return draft_pdf(loop)


def test_a_checker_of_accessible_pdf_finds_nothing(sheet, tmp_path):
    file = tmp_path / "sheet.pdf"
    file.write_bytes(sheet)
    found = pdfua.validate(file)
    assert [str(finding) for finding in found.findings] == []


def test_it_states_accessibility_and_archiving(sheet):
    with pikepdf.open(io.BytesIO(sheet)) as found:
        with found.open_metadata() as metadata:
            assert metadata.pdfa_status == "3A"
            assert metadata["pdfuaid:part"] == "1"
        assert found.Root.MarkInfo.Marked
        assert found.Root.Lang == "en"
        assert found.Root.ViewerPreferences.DisplayDocTitle
        assert found.Root.OutputIntents[0].S == pikepdf.Name.GTS_PDFA1
        assert "/ID" in found.trailer


def test_every_font_is_in_the_file(sheet):
    with pikepdf.open(io.BytesIO(sheet)) as found:
        descriptors = [
            item
            for item in found.objects
            if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == pikepdf.Name.FontDescriptor
        ]
        assert descriptors
        assert all(any(name in item for name in ("/FontFile", "/FontFile2", "/FontFile3")) for item in descriptors)


def test_the_record_travels_with_the_sheet(sheet, loop):
    with pikepdf.open(io.BytesIO(sheet)) as found:
        assert list(found.attachments) == ["PT-1101_A.json"]
        record = json.loads(found.attachments["PT-1101_A.json"].get_file().read_bytes())
        assert found.Root.AF[0].AFRelationship == pikepdf.Name.Source
    revision, verification = loop.verification.revision, loop.verification
    assert record["revision"] == {"number": 1, "sha256": revision.digest, "content": revision.snapshot}
    assert record["verification"]["cases"] == verification.inputs
    assert record["verification"]["results"] == verification.results


def test_every_head_cell_says_what_it_heads(sheet):
    with pikepdf.open(io.BytesIO(sheet)) as found:
        cells = [
            item for item in found.objects if isinstance(item, pikepdf.Dictionary) and item.get("/S") == pikepdf.Name.TH
        ]
        scopes = {str(part.get("/Scope")) for cell in cells for part in cell["/A"] if "/Scope" in part}
    assert len(cells) > 40 and scopes == {"/Column", "/Row"}
