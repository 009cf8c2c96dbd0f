"""The order of a list: one queryset for tables of all of it, or parts that an index serves each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet

from registry.models import Site
from registry.views.pages import Column, KindPage

BY_SITE = "site__code"
MOST_SITES = 6
"""Up to so many sites are read one after the other: no index has the codes of one table and the tags of another."""


def parts_of(kind: KindPage, found: QuerySet[Any], sort: str, sites: Sequence[Site] = ()) -> list[QuerySet[Any]]:
    """Records in the order that is asked for, in parts that an index serves each: what has no value comes last.

    `sites` are those that the records can belong to, in their order, where that is known.
    """
    column = sorted_by(kind, sort)
    if column is None:
        first, *rest = kind.ordering or kind.model._meta.ordering or ("pk",)
        if first == BY_SITE and 0 < len(sites) <= MOST_SITES:
            return [found.filter(site=site).order_by(*rest, "pk") for site in sites]
        return [unsorted(kind, found)]
    descending = sort.startswith("-")
    first = column.order[0]
    names = signed((*column.order, "pk"), descending)
    if first in kind.counted:
        counting = {first: kind.counted[first]}
        if first not in kind.counted_in:
            return [found.annotate(**counting).order_by(*names)]
        own = kind.model._default_manager.filter(pk=OuterRef("pk"), **{f"{kind.counted_in[first]}__isnull": False})
        # The count reuses the joins of this filter, which begin at what is counted.
        some = found.filter(**{f"{kind.counted_in[first]}__isnull": False}).annotate(**counting).order_by(*names)
        none = found.filter(~Exists(own)).order_by(*names[1:])
        return [some, none] if descending else [none, some]
    if may_be_null(kind, first):
        parts = (found.filter(**{f"{first}__isnull": empty}) for empty in (False, True))
        return [part.order_by(*names) for part in parts]
    return [found.order_by(*names)]


def ordered(kind: KindPage, found: QuerySet[Any], sort: str) -> QuerySet[Any]:
    """All records in the same order as one queryset."""
    column = sorted_by(kind, sort)
    if column is None:
        return unsorted(kind, found)
    descending = sort.startswith("-")
    first, *rest = column.order
    if first in kind.counted:
        found = found.annotate(**{first: kind.counted[first]})
    nulls_last = may_be_null(kind, first) or None
    order = F(first).desc(nulls_last=nulls_last) if descending else F(first).asc(nulls_last=nulls_last)
    return found.order_by(order, *signed((*rest, "pk"), descending))


def sorted_by(kind: KindPage, sort: str) -> Column | None:
    """The column that a list is sorted by; None for the order of its kind."""
    return next((one for one in kind.columns if one.sort and one.sort == sort.removeprefix("-")), None)


def unsorted(kind: KindPage, found: QuerySet[Any]) -> QuerySet[Any]:
    """Records in the order of their kind."""
    return found.order_by(*(kind.ordering or kind.model._meta.ordering or ()), "pk")


def signed(names: Sequence[str], descending: bool) -> list[str]:
    """Names of columns as `order_by` takes them."""
    return [f"-{name}" if descending else name for name in names]


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
