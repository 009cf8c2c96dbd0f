"""One page of a long list: its records in order by way of an index, and how many there are, as far as they are counted.

A page takes as long at its end as at its beginning: the keys alone are read in order, from the nearer end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Count, Max, QuerySet, Subquery

from registry.asking import Asked
from registry.models import User
from registry.views.listing import found_records
from registry.views.pages import KindPage

FEW = 20_000
"""Where a list has so few records, what is found is counted to its end, whatever is asked."""

COUNTED = 1_000
"""So far it is counted among more."""

WHOLE = FEW
"""So far a list is counted that is not narrowed, by indexes alone: few are counted in one query."""


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


def most_counted(kind: KindPage, asked: Asked) -> int:
    """How far the records that are asked for are counted, unless there are few in all."""
    tabs = kind.tabs.names() if kind.tabs else ()
    is_whole = not asked.text and all(item.names in ((), tabs) for item in asked.conditions)
    return WHOLE if is_whole else COUNTED


def numbers_of(
    kind: KindPage, found: QuerySet[Any], most: int, counts: Mapping[str, Count]
) -> tuple[dict[str, int], bool]:
    """Some counts over the first of what was found, one more than are counted, and whether there are few in all."""
    newest = Subquery(kind.model._default_manager.order_by("-pk").values("pk")[:1])
    numbers = found.order_by().annotate(key=newest)[: most + 1].aggregate(newest=Max("key"), **counts)
    return numbers, (numbers.pop("newest") or 0) <= FEW


def number_of(kind: KindPage, found: QuerySet[Any], most: int) -> tuple[int, int | None]:
    """How many records there are, at most one more than are counted, and how far they were counted; None where to
    their end, because there are few."""
    numbers, are_few = numbers_of(kind, found, most, {"number": Count("*")})
    number = numbers["number"]
    if not are_few:
        return number, most
    return found.order_by().count() if number > most else number, None


def tab_counts(kind: KindPage, user: User, asked: Asked, most: int) -> tuple[dict[str, int] | None, int | None]:
    """How many records each tab would show under the other filters, None where there are more than are counted; and
    how far they were counted."""
    assert kind.tabs is not None and asked.asking is not None
    found = found_records(kind, user, asked, tabs=False).order_by()
    counts = {value: Count("pk", filter=kind.tabs.choose(value, user)) for value, _ in asked.asking.offered(kind.tabs)}
    numbers, are_few = numbers_of(kind, found, most, counts)
    if sum(numbers.values()) <= most:
        return numbers, None if are_few else most
    if are_few:
        return dict(found.values_list(kind.tabs.name).annotate(Count("pk"))), None
    return None, most


# ---------------------------------------------------------------------------------------------------------------- page


def keys_between(parts: Sequence[QuerySet[Any]], start: int, stop: int) -> list[int]:
    """The keys of the records from one place to another over all parts."""
    found: list[int] = []
    for index, part in enumerate(parts):
        keys = list(part.values_list("pk", flat=True)[start:stop])
        found += keys
        if len(keys) == stop - start or index == len(parts) - 1:
            break
        length = start + len(keys) if keys or not start else part.count()
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
