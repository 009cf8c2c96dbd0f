"""Tables in files: CSV and XLSX, read into text cells and written from them.

Shape only. A cell is text as it stands; what it means is for the entries. In both formats a text that begins with
``=``, ``+``, ``-`` or ``@`` stays text: in XLSX every cell is written as a string; in CSV, where spreadsheets would
take it for a formula, such a text gets an apostrophe in front (and so does one that begins with an apostrophe), which
is taken off again when the file is read. A negative temperature with its unit (``-20 degC``) is no formula and stays.
"""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import xlsxwriter  # type: ignore[import-untyped]

from registry.exchange.archives import ArchiveError, member, opened

MAX_BYTES = 20_000_000
MAX_ROWS = 20_000
MAX_COLUMNS = 400
MAX_CELL = 10_000
MAX_SECONDS = 60
READER = Path(__file__).with_name("xlsx_reader.py")
XLSX = "XLSX file"
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
DATE_MARK = "\ue001"
"""Stands before a date that a spreadsheet holds as a date, so that it can be told from text."""


class TableError(ValueError):
    """The file is not read; `str(error)` is one sentence with the cure."""


@dataclass(frozen=True)
class Row:
    """One row: its number as a spreadsheet counts (the heading is row 1), and its cells, as many as headings."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A heading and rows. `notes` says in sentences what was assumed when the file was read."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


def table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """A table to be written; words that wait for their language become text."""
    return Table(
        tuple(map(str, headings)), tuple(Row(number, tuple(map(str, cells))) for number, cells in enumerate(rows, 2))
    )


# --- reading ----------------------------------------------------------------------------------------------------------


def read_table(content: bytes, sheet: str = "") -> Table:
    """The table of a CSV or XLSX file, told apart by content; of a workbook the sheet of this name, else the first.

    Raises TableError.
    """
    if len(content) > MAX_BYTES:
        raise TableError(f"This file is larger than {MAX_BYTES // 1_000_000} MB: divide it.")
    if content.startswith(OLE):
        if "EncryptedPackage".encode("utf-16-le") in content:
            raise TableError("This workbook is protected by a password: save it without one.")
        raise TableError("This is a workbook of the old XLS format: save it as XLSX or CSV.")
    if content[:2] == b"PK":
        return _from_workbook(content, sheet)
    return _from_csv(content)


def _checked(rows: Iterator[tuple[int, list[str]]], notes: Sequence[str]) -> Table:
    """Heading and rows within the limits; empty rows and empty columns at the end are left out."""
    headings: tuple[str, ...] | None = None
    kept: list[Row] = []
    for number, cells in rows:
        if len(cells) > MAX_COLUMNS:
            raise TableError(f"Row {number} has more than {MAX_COLUMNS} columns: remove what does not belong here.")
        while cells and not cells[-1].strip():
            cells.pop()
        if headings is None:
            if not cells:
                raise TableError("The first row is empty: it holds the headings, as the template shows.")
            headings = tuple(" ".join(cell.split()) for cell in cells)
            continue
        if not cells:
            continue
        if len(kept) >= MAX_ROWS:
            raise TableError(f"This file has more than {MAX_ROWS} rows: divide it.")
        if len(cells) > len(headings):
            raise TableError(f"Row {number} has more cells than there are headings: remove them or head the columns.")
        if any(len(cell) > MAX_CELL for cell in cells):
            raise TableError(f"Row {number} has a cell with more than {MAX_CELL} characters: shorten it.")
        kept.append(Row(number, (*cells, *[""] * (len(headings) - len(cells)))))
    if headings is None:
        raise TableError("This file is empty: fill in the template.")
    return Table(headings, tuple(kept), tuple(notes))


# --- CSV --------------------------------------------------------------------------------------------------------------

_ESCAPED = re.compile(r"^'(?=[=+\-@\t\r'])")
_RISKY = re.compile(r"^[=+\-@\t\r']")
_NEGATIVE_TEMPERATURE = re.compile(r"^-[0-9]{1,3}(?:[.,][0-9]{1,4})? ?(?:deg|°)?[CFK]?$")


def _from_csv(content: bytes) -> Table:
    text, notes = _decoded(content)
    if "\0" in text:
        raise TableError("This is not a table: give a CSV or XLSX file.")
    first, _, _ = text.lstrip("\r\n").partition("\n")
    delimiter = _delimiter(first)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        return _checked(((number, [_plain(cell) for cell in cells]) for number, cells in enumerate(reader, 1)), notes)
    except csv.Error as error:
        raise TableError(
            f"Near line {reader.line_num} a quotation mark is not closed or a cell is far too long: save the CSV again."
        ) from error


def _decoded(content: bytes) -> tuple[str, list[str]]:
    """The text, and a sentence where the encoding was assumed."""
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if content.startswith(mark):
            try:
                return content.decode(encoding), []
            except UnicodeDecodeError as error:
                raise TableError("The text of this file is damaged: save the CSV again as UTF-8.") from error
    try:
        return content.decode("utf-8"), []
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError as error:
        raise TableError("The letters of this file are in an unknown encoding: save the CSV as UTF-8.") from error
    if any(ord(character) < 32 and character not in "\t\r\n" for character in text):
        raise TableError("This is not a table: give a CSV or XLSX file.")
    return text, ["The file is not UTF-8 and was read as Windows-1252: check letters such as µ, Ω and °."]


def _delimiter(first: str) -> str:
    """The delimiter that stands most often outside of quotation marks in the first line."""
    outside = re.sub(r'"[^"]*"', "", first)
    return max(",;\t", key=outside.count)


def _plain(cell: str) -> str:
    return _ESCAPED.sub("", cell)


def escaped(cell: str) -> str:
    """A cell as it stands in CSV; :func:`read_table` gives back the same cell.

    >>> escaped("=1+2"), escaped("+/-"), escaped("'x"), escaped("-20 degC")
    ("'=1+2", "'+/-", "''x", '-20 degC')
    """
    return f"'{cell}" if _RISKY.match(cell) and not _NEGATIVE_TEMPERATURE.match(cell) else cell


def write_csv(content: Table, delimiter: str = ",") -> bytes:
    """The table as CSV: UTF-8 with a byte order mark, which spreadsheets need to know it by."""
    target = io.StringIO(newline="")
    writer = csv.writer(target, delimiter=delimiter)
    writer.writerow([escaped(heading) for heading in content.headings])
    writer.writerows([escaped(cell) for cell in row.cells] for row in content.rows)
    return target.getvalue().encode("utf-8-sig")


# --- XLSX -------------------------------------------------------------------------------------------------------------

_FAULTS = {
    "broken": "This workbook is broken: save it again as XLSX.",
    "empty": "This workbook has no sheet with a table: fill in the template.",
    "wide": f"This sheet has more than {MAX_COLUMNS} columns: remove what does not belong here.",
    "long": f"This sheet has more than {MAX_ROWS} rows: divide it.",
    "error": "This sheet has cells with an error, such as #REF!: correct them first.",
}


def _from_workbook(content: bytes, sheet: str) -> Table:
    try:
        archive = opened(content, XLSX)
        names = set(archive.namelist())
        if "mimetype" in names and b"opendocument" in member(archive, "mimetype", XLSX):
            raise TableError("This is an OpenDocument file: save it as XLSX or CSV.")
    except ArchiveError as error:
        raise TableError(str(error)) from error
    if "xl/workbook.bin" in names:
        raise TableError("This is a binary workbook (XLSB): save it as XLSX or CSV.")
    if "xl/workbook.xml" not in names:
        raise TableError("This is not a workbook: give a CSV or XLSX file.")
    command = [sys.executable, "-I", str(READER), sheet, str(MAX_ROWS + 1), str(MAX_COLUMNS)]
    try:
        done = subprocess.run(command, input=content, capture_output=True, timeout=MAX_SECONDS, check=False)  # noqa: S603
        answer = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, ValueError) as error:
        raise TableError("This workbook is too large to be read: save the one sheet as CSV.") from error
    if "fault" in answer:
        place = f" {answer['place']}" if answer.get("place") else ""
        raise TableError(f"{_FAULTS[answer['fault']]}{place}")
    return _checked(((number, cells) for number, cells in answer["rows"]), answer["notes"])


def write_table(content: Table, suffix: str, sheet: str) -> bytes:
    """The table in the format that a file with the suffix has: "csv", else XLSX with one sheet of this name."""
    return write_csv(content) if suffix == "csv" else write_xlsx(content, sheet)


def write_xlsx(
    content: Table, sheet: str, choices: Mapping[str, Sequence[str]] | None = None, spare_rows: int = 0
) -> bytes:
    """The table as XLSX. Every cell is text, and so are `spare_rows` below: a typed "1-2" does not become a date.

    `choices` gives the texts that may be chosen by heading; they are offered as a list in the cells.
    """
    target = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(target, options)
    page = book.add_worksheet(sheet)
    text = book.add_format({"num_format": "@", "valign": "top"})
    head = book.add_format({"num_format": "@", "bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    last = len(content.rows) + spare_rows
    for column, heading in enumerate(content.headings):
        widest = max([len(heading), *(len(row.cells[column]) for row in content.rows[:200])])
        page.set_column(column, column, min(max(widest + 2, 8), 40), text)
        page.write_string(0, column, heading, head)
        if choices and heading in choices and last:
            page.data_validation(
                1, column, last, column,
                {"validate": "list", "source": [name for name in choices[heading] if name], "error_type": "warning"},
            )  # fmt: skip
    for index, row in enumerate(content.rows, 1):
        for column, cell in enumerate(row.cells):
            if cell:
                page.write_string(index, column, cell, text)
    page.freeze_panes(1, 0)
    if content.rows:
        page.autofilter(0, 0, len(content.rows), len(content.headings) - 1)
    book.close()
    return target.getvalue()
