"""The text of PDF files: read ones that WeasyPrint and pypdf wrote, refuse broken, locked, heavy and empty ones."""

import io
import zlib

import pypdf
import pytest
import weasyprint

from registry.exchange import pdf
from registry.exchange.pasted_text import read_pasted_text
from registry.exchange.pdf import PdfError, pdf_text

CERTIFICATE = """<h1>Schedule</h1><p>Certificate EXA 21 ATEX 0101 X</p><p>Terminals 1-2</p>
<p>U<sub>i</sub> = 30 V, I<sub>i</sub> = 100 mA, P<sub>i</sub> = 0.9 W</p><p>Ci = 5 nF, Li = negligible</p>"""


def written(html: str = CERTIFICATE) -> bytes:
    content = weasyprint.HTML(string=html).write_pdf()
    assert isinstance(content, bytes)
    return content


def rewritten(change: object) -> bytes:
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(written()))
    change(writer)  # type: ignore[operator]
    target = io.BytesIO()
    writer.write(target)
    return target.getvalue()


def raw(stream: bytes, entry: bytes = b"") -> bytes:
    """The smallest PDF with one page of the given content stream."""
    head = b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
    page = b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]/Contents 4 0 R>>endobj\n"
    body = b"4 0 obj<</Length %d%s>>stream\n%s\nendstream endobj\n" % (len(stream), entry, stream)
    return head + page + body + b"trailer<</Root 1 0 R/Size 5>>\n"


def test_the_parameters_of_a_pdf_are_found() -> None:
    found = read_pasted_text(pdf_text(written()))
    assert [value.text for value in found.certificates] == ["EXA 21 ATEX 0101 X"]
    assert [(value.column, value.text) for value in found.terminals[0].values] == [
        ("ui_v", "30 V"),
        ("ii_a", "100 mA"),
        ("pi_w", "0.9 W"),
        ("ci_f", "5 nF"),
        ("li_h", "0 H"),
    ]
    assert found.terminals[0].name == "1-2"


def test_one_that_only_its_owner_may_change_is_read() -> None:
    content = rewritten(lambda writer: writer.encrypt("", "owner", algorithm="RC4-128"))
    assert "30 V" in pdf_text(content)


def page_after_page(writer: pypdf.PdfWriter) -> None:
    for _ in range(pdf.MAX_PAGES):
        writer.add_blank_page(100, 100)


REFUSED = [
    ("password", lambda: rewritten(lambda writer: writer.encrypt("secret", algorithm="RC4-128"))),
    ("pages", lambda: rewritten(page_after_page)),
    ("empty", lambda: written("<p></p>")),
    ("broken", lambda: b"no PDF at all"),
    ("broken", lambda: b""),
    ("broken", lambda: b"%PDF-1.7\n" + bytes(range(256)) * 40),
    ("broken", lambda: written()[:300]),
    ("large", lambda: b"%PDF-" + bytes(pdf.MAX_BYTES)),
    ("long", lambda: written("<p>" + "Ui = 30 V " * 30_000)),
]


@pytest.mark.parametrize("fault, content", REFUSED, ids=lambda value: value if isinstance(value, str) else "")
def test_what_cannot_be_read_is_refused_with_the_cure(fault: str, content: object) -> None:
    with pytest.raises(PdfError) as refused:
        pdf_text(content())  # type: ignore[operator]
    assert str(refused.value) == pdf.FAULTS[fault]


def test_a_page_that_unpacks_to_very_much_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "MAX_SECONDS", 4)
    content = raw(zlib.compress(b"0 0 m 1 1 l S\n" * 6_000_000, 9), b"/Filter/FlateDecode")
    assert len(content) < 400_000
    with pytest.raises(PdfError):
        pdf_text(content)


def test_a_page_tree_that_holds_itself_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "MAX_SECONDS", 4)
    content = raw(b"").replace(b"/Kids[3 0 R]", b"/Kids[2 0 R]")
    with pytest.raises(PdfError):
        pdf_text(content)
