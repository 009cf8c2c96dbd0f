"""The records that a list shows: what its address asks for, narrowed and in order."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Count, F, QuerySet

from registry import access
from registry.asking import Asked, Query, read_asked
from registry.exchange.csv_xlsx import Table, table
from registry.filters import Filter, narrowed
from registry.models import User
from registry.services.views import layout_of
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


def ordered(kind: KindPage, found: QuerySet[Any], sort: str) -> QuerySet[Any]:
    """In the order asked for; what has no value comes last either way."""
    for column in kind.columns:
        if column.sort and column.sort == sort.removeprefix("-"):
            first, *rest = column.order
            if first in kind.counted:
                found = found.annotate(**{first: kind.counted[first]})
            descending = sort.startswith("-")
            # An index serves an order only where it is asked for as it stands.
            nulls_last = may_be_null(kind, first) or None
            order = F(first).desc(nulls_last=nulls_last) if descending else F(first).asc(nulls_last=nulls_last)
            return found.order_by(order, *rest, "pk")
    return found.order_by(*(kind.ordering or kind.model._meta.ordering or ()), "pk")


def may_be_null(kind: KindPage, column: str) -> bool:
    """Whether a column that a list is sorted by may be empty in the database; a count never is."""
    if column in kind.counted:
        return False
    model: Any = kind.model
    for name in column.split("__"):
        field = model._meta.get_field(name)
        if getattr(field, "null", False):
            return True
        model = field.related_model
    return False


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


def filled(kind: KindPage, records: QuerySet[Any], columns: list[Column]) -> list[Any]:
    """Records with all that their cells show, in a constant number of queries."""
    needs = [name for column in columns for name in column.needs]
    found = list(kind.rows(records).prefetch_related(*needs))
    kind.fill(found)
    return found


def tab_counts(kind: KindPage, user: User, asked: Asked) -> dict[str, int]:
    """How many records each tab would show under the other filters."""
    assert kind.tabs is not None
    rows = found_records(kind, user, asked, tabs=False).order_by().values_list(kind.tabs.name)
    return dict(rows.annotate(Count("pk")))


def seen_table(kind: KindPage, user: User, asked: Asked, columns: list[Column]) -> Table:
    """What a list shows, on all its pages, as a table of texts; the note below a name has a column of its own."""
    records = shown_records(kind, user, asked)
    rows: list[list[str]] = []
    for start in range(0, records.count(), PORTION):
        for record in filled(kind, records[start : start + PORTION], columns):
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
        words = "Not judged" if verdict == "none" else in_words(verdict)
        return "; ".join(filter(None, (words, cell.get("failing"))))
    shown = cell.get("full", cell.get("text", ""))
    parts = [str(shown) if shown is not None else "", in_words(cell.get("state") or ""), cell.get("open", "")]
    return "; ".join(filter(None, parts)).replace("\u00a0", " ")


def in_words(code: str) -> str:
    return code.replace("_", " ").capitalize()
