"""The records that a list shows: what its address asks for, narrowed and in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from registry import access
from registry.asking import Asked, Query, read_asked
from registry.exchange.csv_xlsx import Table, table
from registry.filters import Filter, narrowed
from registry.models import User
from registry.services.views import layout_of
from registry.views.ordering import ordered
from registry.views.pages import Column, KindPage

PAGE_SIZE = 50
PORTION = 1_000


def filters_of(kind: KindPage) -> tuple[Filter, ...]:
    """All filters of a list, that of its tabs included."""
    return (*([kind.tabs] if kind.tabs else []), *kind.filters)


def asked_of(kind: KindPage, query: Query, user: User) -> Asked:
    """What an address asks of the list of a kind. Raises PermissionDenied where the list itself does not narrow."""
    if kind.seen is None:
        access.require(user, kind.view_action)
    sorts = {column.sort for column in kind.columns if column.sort}
    return read_asked(query, filters_of(kind), user, sorts, [column.name for column in kind.columns])


def found_records(kind: KindPage, user: User, asked: Asked, tabs: bool = True) -> QuerySet[Any]:
    """The records that meet what is asked, in no order; none where a part of it was not understood.

    Without `tabs`, those of all tabs.
    """
    found = kind.visible(user)
    if asked.is_faulty:
        return found.none()
    left_out = () if tabs or not kind.tabs else kind.tabs.names()
    conditions = [item for item in asked.conditions if tabs or item.names != left_out]
    return narrowed(kind.containing(found, asked.text), conditions)


def shown_records(kind: KindPage, user: User, asked: Asked) -> QuerySet[Any]:
    """The records that a list shows on all its pages, in its order."""
    return ordered(kind, found_records(kind, user, asked), asked.sort)


def columns_of(kind: KindPage, chosen: tuple[str, ...]) -> list[Column]:
    """The columns that are shown: those chosen, and the first one always, for it leads to the record."""
    first, *rest = kind.columns
    return [first, *(column for column in rest if (column.name in chosen if chosen else column.shown))]


def with_layout(kind: KindPage, user: User, asked: Asked) -> tuple[list[Column], int]:
    """The columns and the page size of a list: those of the address, else those that the person chose once."""
    own = layout_of(user, kind.kind)
    chosen = tuple(own.columns.split(",")) if own and own.columns else ()
    return columns_of(kind, asked.columns or chosen), asked.size or (own.page_size if own else None) or PAGE_SIZE


def filled(kind: KindPage, keys: Sequence[int], columns: list[Column], user: User) -> list[Any]:
    """The records with some keys, in their order, with all that their cells show, in a constant number of queries."""
    needs = [name for column in columns for name in column.needs]
    records = kind.rows(kind.visible(user).filter(pk__in=keys).order_by()).prefetch_related(*needs)
    by_key = {record.pk: record for record in records}
    found = [by_key[key] for key in keys if key in by_key]
    kind.fill(found)
    for column in columns:
        if column.fill:
            column.fill(found)
    return found


def seen_table(kind: KindPage, user: User, asked: Asked, columns: list[Column]) -> Table:
    """What a list shows, on all its pages, as a table of texts; the note below a name has a column of its own."""
    keys = list(shown_records(kind, user, asked).values_list("pk", flat=True))
    rows: list[list[str]] = []
    for start in range(0, len(keys), PORTION):
        for record in filled(kind, keys[start : start + PORTION], columns, user):
            cells = [column.cell(record) for column in columns]
            name, *others = cells
            note = "; ".join(filter(None, (name.get("note"), in_words(name.get("state") or ""))))
            rows.append([str(name["text"]), note, *map(cell_text, others)])
    first, *rest = (column.label for column in columns)
    return table([first, kind.note, *rest], rows)


def cell_text(cell: Mapping[str, Any]) -> str:
    """A cell of a list as a text alone."""
    if "lines" in cell:
        return "; ".join(" ".join(filter(None, (line.get("label"), cell_text(line)))) for line in cell["lines"])
    if verdict := cell.get("verdict"):
        words = _("Not judged") if verdict == "none" else in_words(verdict)
        return "; ".join(filter(None, (words, cell.get("failing"))))
    shown = cell.get("full", cell.get("text", ""))
    parts = [str(shown) if shown is not None else "", in_words(cell.get("state") or ""), cell.get("open", "")]
    return "; ".join(filter(None, parts)).replace("\u00a0", " ")


def in_words(code: str) -> str:
    return code.replace("_", " ").capitalize()
