"""One page of a long list: its records in order by way of an index, and how many there are, as far as they are counted.

A page takes as long at its end as at its beginning: the keys alone are read in order, from the nearer end.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Count, Max, QuerySet

from registry.asking import Asked
from registry.models import User
from registry.views.listing import found_records
from registry.views.pages import KindPage

FEW = 20_000
"""Where a list has so few records, what is found is counted to its end, whatever is asked."""

COUNTED = 1_000
"""So far it is counted among more."""

WHOLE = 10_000
"""So far a list is counted that is not narrowed, by indexes alone."""


LAST = "last"
"""How an address asks for the last page."""


class Counted(Paginator[Any]):
    """How many records a list shows on how many pages; `is_open` where there are more than were counted."""

    def __init__(self, size: int, count: int, is_open: bool) -> None:
        super().__init__([], size)
        self.count = count
        self.is_open = is_open


class Portion(Page[Any]):
    """A page of a list that may be open at its end."""

    paginator: Counted

    def __init__(self, records: Sequence[Any], number: int, paginator: Counted, further: bool) -> None:
        super().__init__(records, number, paginator)
        self.further = further

    def has_next(self) -> bool:
        return self.further

    def next_page_number(self) -> int:
        return self.number + 1

    def previous_page_number(self) -> int:
        return self.number - 1

    @property
    def last_page(self) -> str:
        """The last page as an address names it, where it is further on than the next one; else empty.

        Of a list that is open at its end nobody has counted the pages: it is read from its other end.
        """
        if not self.further:
            return ""
        if self.paginator.is_open:
            return LAST
        return str(self.paginator.num_pages) if self.paginator.num_pages > self.number + 1 else ""

    def end_index(self) -> int:
        return self.start_index() + len(self.object_list) - 1

    def start_index(self) -> int:
        return (self.number - 1) * self.paginator.per_page + 1 if self.object_list else 0


# --------------------------------------------------------------------------------------------------------------- count


def most_counted(kind: KindPage, asked: Asked) -> int | None:
    """How far the records that are asked for are counted; None where to their end, because there are few."""
    newest = kind.model._default_manager.aggregate(newest=Max("pk"))["newest"] or 0
    if newest <= FEW:
        return None
    tabs = kind.tabs.names() if kind.tabs else ()
    is_whole = not asked.text and all(item.names in ((), tabs) for item in asked.conditions)
    return WHOLE if is_whole else COUNTED


def number_of(found: QuerySet[Any], most: int | None) -> int:
    """How many records there are, at most one more than are counted."""
    return found.order_by().count() if most is None else found.order_by()[: most + 1].count()


def tab_counts(kind: KindPage, user: User, asked: Asked, most: int | None) -> dict[str, int] | None:
    """How many records each tab would show under the other filters; None where there are more than are counted."""
    assert kind.tabs is not None
    found = found_records(kind, user, asked, tabs=False).order_by()
    if most is None:
        return dict(found.values_list(kind.tabs.name).annotate(Count("pk")))
    counts = {
        value: Count("pk", filter=kind.tabs.choose(value, user))
        for value, _ in asked.asking.offered(kind.tabs)  # type: ignore[union-attr]
    }
    numbers: dict[str, int] = found[: most + 1].aggregate(**counts)
    return numbers if sum(numbers.values()) <= most else None


# ---------------------------------------------------------------------------------------------------------------- page


def keys_between(parts: Sequence[QuerySet[Any]], start: int, stop: int) -> list[int]:
    """The keys of the records from one place to another over all parts."""
    found: list[int] = []
    for index, part in enumerate(parts):
        keys = list(part.values_list("pk", flat=True)[start:stop])
        found += keys
        if len(keys) == stop - start or index == len(parts) - 1:
            break
        length = start + len(keys) if keys else part.count()
        start, stop = max(0, start - length), stop - length
    return found


def page_number(text: str) -> int:
    """The page that an address asks for; the first where it asks for none."""
    return max(1, int(text)) if text.isascii() and text.isdigit() and len(text) < 10 else 1


def portion(parts: Sequence[QuerySet[Any]], count: int, most: int | None, size: int, wanted: int) -> tuple[Any, ...]:
    """The keys of a page, its number, the pages, and whether there are further ones."""
    is_open = most is not None and count > most
    pages = Counted(size, min(count, most) if most is not None else count, is_open)
    number = wanted if is_open else min(wanted, pages.num_pages)
    start = (number - 1) * size
    if not is_open and start > count // 2:
        turned = [part.reverse() for part in reversed(parts)]
        keys = keys_between(turned, max(0, count - start - size), count - start)[::-1]
        return keys, number, pages, start + size < count
    keys = keys_between(parts, start, start + size + 1)
    if not keys and number > pages.num_pages:
        return portion(parts, count, most, size, pages.num_pages)
    return keys[:size], number, pages, len(keys) > size
