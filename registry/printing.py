"""Lists on paper: what is printed of a list, and who makes the pages. The register does not know the PDF writer."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from registry.exchange.csv_xlsx import Table
from registry.models import User

MOST_ROWS = 1_000
"""A print of more rows would take longer than somebody waits, and nobody reads it."""


class PrintRefused(Exception):
    """A list is not printed; the text says why and what to do instead."""


@dataclass(frozen=True)
class Printed:
    """A list to be printed: its title, the filters in force in words, its cells, for whom, and when."""

    title: str
    asked: tuple[str, ...]
    table: Table
    person: User
    made_at: dt.datetime


PRINTERS: dict[str, Callable[[Printed], bytes]] = {}
"""Who prints a list, by the ending of the file; other packages put themselves in here when they are ready."""


def require_short(rows: int) -> None:
    """Raise PrintRefused for more rows than are printed."""
    if rows > MOST_ROWS:
        raise PrintRefused(
            _("A PDF holds at most %(most)s rows and this list has %(rows)s: filter it, or take XLSX or CSV.")
            % {"most": f"{MOST_ROWS:,}", "rows": f"{rows:,}"}
        )
