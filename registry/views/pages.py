"""How one kind of record appears in the browser: its addresses, its rights, the columns and filters of its list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse

from registry import access, querysets
from registry.entries import ENTRIES
from registry.models import Site, User
from registry.models.base import Record
from registry.parameters import parameter_of
from registry.reading import EntryForm
from registry.showing import quantity

Choices = list[tuple[str, str]]


@dataclass(frozen=True)
class Filter:
    """A filter of a list: its name in the address, its label, what may be chosen, and how it narrows the list.

    `choices` is read for the person who looks; a value that is not among them is left aside.
    """

    name: str
    label: str
    choices: Callable[[User], Choices]
    narrow: Callable[[QuerySet[Any], str], QuerySet[Any]]


@dataclass(frozen=True)
class Column:
    """A column of a list: label, what the cell shows ({text, note, url, state, soft}), how it sorts, and alignment."""

    label: str
    cell: Callable[[Any], dict[str, Any]]
    sort: str = ""
    order: tuple[str, ...] = ()
    number: bool = False


@dataclass(frozen=True)
class KindPage:
    """How one kind of record appears in the browser."""

    kind: str
    path: str
    title: str
    noun: str
    singular: str
    plural: str
    section: str
    model: type[Record]
    edit_action: str
    add_action: str
    searched: tuple[str, ...]
    search_label: str
    rows: Callable[[QuerySet[Any]], QuerySet[Any]]
    columns: tuple[Column, ...]
    filters: tuple[Filter, ...]
    key_fields: tuple[str, ...]
    empty_text: str
    view_action: str = "register.view"
    tabs: Filter | None = None
    loaded: Callable[[QuerySet[Any]], QuerySet[Any]] = field(default=lambda queryset: queryset)

    @property
    def entry(self) -> type[EntryForm]:
        """The reader of this kind."""
        return ENTRIES[self.kind]

    @property
    def list_url(self) -> str:
        return reverse(f"{self.kind}_list")

    @property
    def new_url(self) -> str:
        return reverse(f"{self.kind}_new")

    def url(self, record: Record, view: str = "") -> str:
        """Address of a record's page, or of one of its views: edit, duplicate, archive, restore, history."""
        return reverse(f"{self.kind}_{view}" if view else self.kind, args=[record.pk])

    def site_of(self, record: Record) -> Site | None:
        """The site that a role must be held at, None for the shared register."""
        found = record if self.kind == "site" else getattr(record, "site", None)
        return found if isinstance(found, Site) else None

    def may_edit(self, user: User, record: Record | None = None) -> bool:
        """Whether the person may edit the record, or add one of this kind somewhere."""
        if record is None:
            return access.may(user, self.add_action)
        return access.may(user, self.edit_action, self.site_of(record))

    def may_edit_at(self, user: User, site: Site) -> bool:
        """Whether the person may edit records of this kind that belong to a site."""
        return access.may(user, self.edit_action, site)

    def require_edit(self, user: User, record: Record | None = None) -> None:
        """Raise PermissionDenied unless the person may edit the record, or add one of this kind somewhere."""
        if record is None:
            access.require(user, self.add_action)
        else:
            access.require(user, self.edit_action, self.site_of(record))


def text(value: Any, **more: Any) -> dict[str, Any]:
    return {"text": value} | more


def measured(column: str) -> Callable[[Any], dict[str, Any]]:
    """A cell with a quantity in one of its three states."""

    def cell(record: Any) -> dict[str, Any]:
        parameter = parameter_of(type(record), column)
        assert parameter is not None
        found = quantity(record, parameter)
        return text(found["value"], soft=found["state"] != "value")

    return cell


def fixed(pairs: Sequence[tuple[str, str]]) -> Callable[[User], Choices]:
    return lambda user: list(pairs)


def same(column: str) -> Callable[[QuerySet[Any], str], QuerySet[Any]]:
    return lambda queryset, value: queryset.filter(**{column: value})


def within(model: type[Record], column: str) -> Callable[[QuerySet[Any], str], QuerySet[Any]]:
    """Narrow by a column of many rows, without doubling the records."""
    return lambda queryset, value: queryset.filter(pk__in=model._default_manager.filter(**{column: value}).values("pk"))


def distinct(model: type[Record], column: str) -> Callable[[User], Choices]:
    """All values of a column that are in use."""

    def choices(user: User) -> Choices:
        values = querysets.visible(model, user).exclude(**{column: ""}).order_by(column)
        return [(value, value) for value in values.values_list(column, flat=True).distinct()[:500]]

    return choices


def archived(queryset: QuerySet[Any], value: str) -> QuerySet[Any]:
    if value == "all":
        return queryset
    return queryset.filter(archived_at__isnull=value != "only")
