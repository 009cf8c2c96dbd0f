"""Tables in CSV and XLSX files: what is written reads back the same, and hostile or unfit files are refused.

The XLSX that is written is judged by its own XML (no formula in it); the CSV by Python's csv module.
"""

import csv
import datetime as dt
import io
import re
import zipfile

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.exchange.csv_xlsx import DATE_MARK, TableError, read_table, table, write_csv, write_xlsx

TRICKY = [
    "=1+2",
    '=HYPERLINK("http://example.com")',
    "+1-2",
    "+/-",
    "-",
    "-20 degC",
    "-2+3",
    "@SUM(A1)",
    "'quoted",
    "''",
    "\tTab",
    "a,b;c\td",
    'say "so"',
    "two\nlines",
    "0.10",
    "1-2",
    "00012",
    "4–20 mA, µF Ω °C ≤",
    "TRUE",
    "1e5",
    "12345678901234567890",
]


def rows(content: bytes, sheet: str = "") -> list[tuple[str, ...]]:
    return [row.cells for row in read_table(content, sheet).rows]


@pytest.mark.parametrize("write", [write_csv, lambda t: write_xlsx(t, "equipment")], ids=["csv", "xlsx"])
def test_every_text_comes_back_as_it_was(write: object) -> None:
    written = write(table(["text", "more"], [[text, "x"] for text in TRICKY]))  # type: ignore[operator]
    assert rows(written) == [(text, "x") for text in TRICKY]


cells = st.text(st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="\ufeff\ue001"), max_size=12)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(cells, cells), max_size=8), st.sampled_from(",;\t"))
def test_any_text_comes_back_from_csv(content: list[tuple[str, str]], delimiter: str) -> None:
    written = write_csv(table(["first", "second", "last"], [[*pair, "."] for pair in content]), delimiter)
    assert rows(written) == [(*pair, ".") for pair in content]


def test_no_cell_of_a_csv_begins_as_a_formula() -> None:
    text = write_csv(table(["text"], [[text] for text in TRICKY])).decode("utf-8-sig")
    for (cell,) in csv.reader(io.StringIO(text, newline="")):
        assert not re.match(r"[=+@\t\r]", cell)
        assert not cell.startswith("-") or cell == "-20 degC"


def test_a_workbook_holds_strings_alone() -> None:
    content = write_xlsx(table(["text"], [[text] for text in TRICKY]), "equipment", {"text": ["a", "b"]}, 10)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet
    assert set(re.findall(r'<c [^>]*t="(\w+)"', sheet)) == {"s"}
    assert "dataValidation" in sheet


@pytest.mark.parametrize(
    "content, note",
    [
        ("maker;type\nÄrmel;µ".encode(), ""),
        ("\ufeffmaker,type\r\nÄrmel,µ\r\n".encode(), ""),
        ("maker\ttype\nÄrmel\tµ".encode("utf-16"), ""),
        ('maker;"ty,pe"\nÄrmel;µ'.encode(), ""),
        ("maker;type\nÄrmel;µ".encode("cp1252"), "Windows-1252"),
    ],
)
def test_encodings_and_delimiters(content: bytes, note: str) -> None:
    found = read_table(content)
    assert found.rows[0].cells == ("Ärmel", "µ")
    assert note in " ".join(found.notes)
    assert bool(note) == bool(found.notes)


def test_rows_are_counted_as_a_spreadsheet_counts_them() -> None:
    found = read_table(b'a,b\n1,"two\nlines"\n\n,,\n2,x\n')
    assert [(row.number, row.cells) for row in found.rows] == [(2, ("1", "two\nlines")), (5, ("2", "x"))]


def workbook(fill: object, **options: object) -> bytes:
    target = io.BytesIO()
    book = xlsxwriter.Workbook(target, options)
    fill(book)  # type: ignore[operator]
    book.close()
    return target.getvalue()


def test_cells_of_a_workbook_as_people_fill_them() -> None:
    def fill(book: xlsxwriter.Workbook) -> None:
        page = book.add_worksheet("Data")
        page.write_row(0, 0, ["a", "b", "c", "d", "e"])
        page.write_row(3, 0, [0, 1.5, "x", True])
        page.write_datetime(3, 4, dt.datetime(2021, 3, 1), book.add_format({"num_format": "yyyy-mm-dd"}))
        page.write_formula(4, 0, "=1+1", None, 2)
        book.add_worksheet("equipment").write_row(0, 0, ["other"])

    found = read_table(workbook(fill))
    assert [(row.number, row.cells) for row in found.rows] == [
        (4, ("0", "1.5", "x", "yes", f"{DATE_MARK}2021-03-01")),
        (5, ("2", "", "", "", "")),
    ]
    assert found.notes == ("Of 2 sheets the one called Data was read.",)
    assert read_table(workbook(fill), "equipment").headings == ("other",)


def test_an_error_in_a_cell_is_not_taken_for_an_empty_cell() -> None:
    def fill(book: xlsxwriter.Workbook) -> None:
        book.add_worksheet().write_column(0, 0, ["a", "b"])
        book.worksheets()[0].write_formula(2, 1, "=1/0", None, "#DIV/0!")

    with pytest.raises(TableError, match=r"correct them first\. B3"):
        read_table(workbook(fill))


def far_cells(*places: str) -> bytes:
    """A small workbook with cells far out, as no spreadsheet writes it."""
    content = workbook(lambda book: book.add_worksheet().write(0, 0, "maker"))
    cells = "".join(
        f'<row r="{re.sub("[A-Z]", "", place)}"><c r="{place}" t="inlineStr"><is><t>x</t></is></c></row>'
        for place in places
    )
    return changed(
        content, "xl/worksheets/sheet1.xml", lambda text: text.replace("</sheetData>", f"{cells}</sheetData>")
    )


def changed(content: bytes, name: str, change: object) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.namelist():
            text = old.read(item)
            new.writestr(item, change(text.decode()) if item == name else text)  # type: ignore[operator]
    return target.getvalue()


def bomb() -> bytes:
    content = workbook(lambda book: book.add_worksheet().write(0, 0, "maker"))
    return changed(content, "xl/worksheets/sheet1.xml", lambda text: text + " " * 50_000_000)


def zipped(**members: bytes) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "/").replace("_dot_", "."), content)
    return target.getvalue()


def only_a_chart(book: xlsxwriter.Workbook) -> None:
    page = book.add_worksheet("a")
    book.add_chartsheet("c").activate()
    page.hide()


OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
REFUSED = {
    "empty": (b"", "empty"),
    "only empty lines": (b"\n\n,,\n", "first row is empty"),
    "binary": (bytes(range(256)), "not a table|unknown encoding"),
    "nul": (b"a,b\n\0,\n", "not a table"),
    "damaged utf-16": (b"\xff\xfea\0b", "damaged"),
    "open quotation": (b'a,b\n"1,2\n' + b"x\n" * 20, "quotation mark"),
    "far too long a cell": (b"a\n" + b"x" * 200_000, "far too long"),
    "long cell": (b"a\n" + b"x" * 20_000, "10000 characters"),
    "wide": (b"a\n" + b"," * 1_000_000 + b"x", "400 columns"),
    "wide heading": (b",".join(b"a%d" % n for n in range(500)) + b"\n", "400 columns"),
    "more cells than headings": (b"a,b\n1,2,3\n", "more cells than there are headings"),
    "long": (b"a\n" + b"1\n" * 20_001, "20000 rows"),
    "large": (b"a" * 20_000_001, "20 MB"),
    "xls": (OLE + bytes(1000), "old XLS"),
    "password": (OLE + bytes(100) + "EncryptedPackage".encode("utf-16-le"), "password"),
    "broken xlsx": (b"PK\x03\x04" + bytes(200), "broken"),
    "other archive": (zipped(a=b"b"), "not a workbook"),
    "ods": (zipped(mimetype=b"application/vnd.oasis.opendocument.spreadsheet"), "OpenDocument"),
    "xlsb": (zipped(xl__workbook_dot_bin=b"x"), "XLSB"),
    "bad workbook": (zipped(xl__workbook_dot_xml=b"<x"), "broken"),
    "million columns": (far_cells("XFD2"), "400 columns"),
    "last cell of all": (far_cells("XFD1048576"), "too large|400 columns"),
    "last row": (far_cells("A1048576"), "20000 rows|too large"),
    "bomb": (bomb(), "very much more"),
    "no sheet to be seen": (workbook(only_a_chart), "no sheet"),
}  # fmt: skip


@pytest.mark.parametrize("content, reason", REFUSED.values(), ids=REFUSED)
def test_what_is_refused_and_why(content: bytes, reason: str) -> None:
    with pytest.raises(TableError, match=reason) as refused:
        read_table(content)
    assert len(str(refused.value)) < 200
