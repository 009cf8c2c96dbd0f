"""Lists as PDF: the same cells that the page shows, on landscape paper."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import get_language

from registry.context import CAUTION
from registry.exchange.csv_xlsx import Table
from registry.printing import Printed
from reports import pdf
from reports.sheets.content import Moment
from reports.sheets.paper import print_css

NARROWEST, WIDEST, LONGEST_WORD = 5, 40, 24
"""Of the letters of a cell that decide how wide its column is: longer texts and words are broken."""
PORTRAIT, LANDSCAPE = 135.0, 200.0
"""How many usual letters stand in a row of a page."""
WIDE, BOLD, PADDING = 1.4, 1.1, 2.0
"""A capital or figure, a letter of the first column, and the space between columns, in usual letters."""


def list_pdf(printed: Printed, paper: pdf.PageSize = pdf.PageSize.A4_LANDSCAPE) -> bytes:
    """A list as PDF bytes. Raises reports.pdf.PdfError."""
    context = table_context(printed.table) | {
        "title": printed.title,
        "asked": printed.asked,
        "person": str(printed.person),
        "made": moment_utc(printed.made_at),
        "count": len(printed.table.rows),
        "caution": CAUTION,
        "language": get_language() or "en",
    }
    html = render_to_string("reports/print/list.html", context)
    return pdf.render(pdf.Document(html, list_css(), printed.made_at, {}, paper))


def list_css() -> str:
    """The style sheet of lists, with a class for each width of a column in per cent."""
    widths = "\n".join(f".w{width} {{ width: {width}%; }}" for width in range(1, 101))
    return f"{print_css('base', 'list')}\n{widths}"


def table_context(table: Table, letters: float = LANDSCAPE) -> dict[str, Any]:
    """What reports/print/list_table.html shows of a table on pages whose rows hold so many letters."""
    rows = [row.cells for row in table.rows]
    widths = column_widths(table.headings, rows, letters)
    return {
        "headings": [{"text": text, "width": width} for text, width in zip(table.headings, widths, strict=True)],
        "rows": rows,
    }


def column_widths(headings: Sequence[str], rows: Sequence[Sequence[str]], letters: float = LANDSCAPE) -> list[int]:
    """Widths in whole per cent of a row that holds so many letters.

    Every column has room for its longest word, so that no tag is broken; what is left goes by what nine of ten cells of
    a column need.

    >>> column_widths(("Tag", "Service"), [("PT-1", "Suction pressure of the compressor")])
    [17, 83]
    """
    least, wanted = [], []
    for index, heading in enumerate(headings):
        lengths = sorted(len(row[index]) for row in rows) or [0]
        usual = lengths[math.ceil(0.9 * len(lengths)) - 1]
        words = [word for text in (heading, *(row[index] for row in rows)) for word in text.split()]
        longest = max((room_of(word) for word in words), default=0.0) * (BOLD if index == 0 else 1)
        least.append(min(LONGEST_WORD, longest) + PADDING)
        wanted.append(max(least[-1], min(WIDEST, max(NARROWEST, usual)) + PADDING))
    more = sum(wanted) - sum(least)
    share = min(1.0, max(0.0, letters - sum(least)) / more) if more else 0.0
    needs = [low + share * (high - low) for low, high in zip(least, wanted, strict=True)]
    widths = [max(1, int(100 * need / sum(needs))) for need in needs]
    widths[needs.index(max(needs))] += 100 - sum(widths)
    return widths


def room_of(word: str) -> float:
    """How many usual letters a word is as wide as: capitals and figures are wider.

    >>> room_of("bar"), room_of("PT-11")
    (3.0, 6.6)
    """
    return round(sum(WIDE if letter.isupper() or letter.isdigit() else 1.0 for letter in word), 1)


def moment_utc(moment: dt.datetime) -> Moment:
    utc = f"{moment.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"
    return Moment(utc, utc)
