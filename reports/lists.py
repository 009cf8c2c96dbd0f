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

NARROWEST, WIDEST, LONGEST_WORD = 5, 40, 20
"""Of the letters of a cell that decide how wide its column is: longer texts and words are broken."""


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


def table_context(table: Table) -> dict[str, Any]:
    """What reports/print/list_table.html shows of a table."""
    rows = [row.cells for row in table.rows]
    widths = column_widths(table.headings, rows)
    return {
        "headings": [{"text": text, "width": width} for text, width in zip(table.headings, widths, strict=True)],
        "rows": rows,
    }


def column_widths(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    """Widths in whole per cent, by the letters that nine of ten cells of a column have, and by its longest word.

    >>> column_widths(("Tag", "Service"), [("PT-1", "Suction pressure of the compressor")])
    [14, 86]
    """
    needs = []
    for index, heading in enumerate(headings):
        lengths = sorted(len(row[index]) for row in rows) or [0]
        usual = lengths[math.ceil(0.9 * len(lengths)) - 1]
        words = [len(word) for text in (heading, *(row[index] for row in rows)) for word in text.split()]
        needs.append(max(min(WIDEST, max(NARROWEST, usual)), min(LONGEST_WORD, max(words, default=0))) + 1)
    whole = sum(needs)
    widths = [max(1, 100 * need // whole) for need in needs]
    widths[needs.index(max(needs))] += 100 - sum(widths)
    return widths


def moment_utc(moment: dt.datetime) -> Moment:
    utc = f"{moment.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"
    return Moment(utc, utc)
