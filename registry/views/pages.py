"""How one kind of record appears in the browser: its addresses, its rights, the columns and filters of its list."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.urls import get_script_prefix, reverse
from django.utils import timezone

from registry import access, querysets
from registry.entries import ENTRIES
from registry.filters import Choice, Choices, Filter
from registry.language import in_fixed_language
from registry.models import Site, User
from registry.models.base import Record
from registry.parameters import parameter_of
from registry.reading import EntryForm
from registry.showing import day, quantity
from registry.words import lazily


@dataclass(frozen=True)
class Column:
    """A column of a list: label, what the cell shows (cells.py), how it sorts, and alignment.

    `shown` is false for a column that only those see who choose it; `needs` are lists that are read for it alone, and
    `fill` writes into the records of a page what it alone shows.
    """

    label: str
    cell: Callable[[Any], dict[str, Any]]
    sort: str = ""
    order: tuple[str, ...] = ()
    number: bool = False
    wide: bool = False
    shown: bool = True
    needs: tuple[str, ...] = ()
    fill: Callable[[list[Any]], None] | None = None

    @cached_property
    def name(self) -> str:
        """What it is called in addresses and stored choices, in every language."""
        with in_fixed_language():
            return re.sub(r"[^a-z0-9]+", "-", self.label.casefold()).strip("-")


@dataclass(frozen=True)
class KindPage:
    """How one kind of record appears in the browser.

    Of its list: `rows` reads what belongs to the records of a page, `fill` writes what is counted beside them into
    those records; `counted` are the annotations that an order by such a number needs, and `counted_in` names the
    relation without which it is 0 (so that only what is there is counted, where most records have none). `seen` gives
    the records that a person may see and `found` those that hold a text, where the general way does not do. `note`
    heads what stands below the name in the first column. `ordering` is the order of a list that nobody sorts, where it
    is not that of the model. A list without an `add_action` shows parts of other records, and nothing is added or
    edited there.
    """

    kind: str
    path: str
    title: str
    noun: str
    singular: str
    plural: str
    section: str
    model: type[Model]
    edit_action: str
    add_action: str
    searched: tuple[str, ...]
    search_label: str
    columns: tuple[Column, ...]
    filters: tuple[Filter, ...]
    note: str
    key_fields: tuple[str, ...]
    empty_text: str
    view_action: str = "register.view"
    tabs: Choice | None = None
    loaded: Callable[[QuerySet[Any]], QuerySet[Any]] = field(default=lambda queryset: queryset)
    rows: Callable[[QuerySet[Any]], QuerySet[Any]] = field(default=lambda queryset: queryset)
    counted: Mapping[str, Any] = field(default_factory=dict)
    counted_in: Mapping[str, str] = field(default_factory=dict)
    fill: Callable[[list[Any]], None] = field(default=lambda records: None)
    seen: Callable[[User], QuerySet[Any]] | None = None
    found: Callable[[QuerySet[Any], str], QuerySet[Any]] | None = None
    ordering: tuple[str, ...] = ()

    @property
    def entry(self) -> type[EntryForm]:
        """The reader of this kind."""
        return ENTRIES[self.kind]

    @property
    def list_url(self) -> str:
        return plain_url(f"{self.kind}_list", get_script_prefix())

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

    def visible(self, user: User) -> QuerySet[Any]:
        """The records of this kind that a person may see."""
        return self.seen(user) if self.seen else querysets.visible(self.model, user)

    def containing(self, queryset: QuerySet[Any], words: str) -> QuerySet[Any]:
        """Those of some records that hold a text."""
        return self.found(queryset, words) if self.found else querysets.containing(queryset, words, self.searched)

    def may_edit(self, user: User, record: Record | None = None) -> bool:
        """Whether the person may edit the record, or add one of this kind somewhere."""
        if not self.add_action:
            return False
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


LISTS: dict[str, KindPage] = {}
"""All lists by kind; other packages put theirs in here when they are ready."""


def text(shown: Any, **more: Any) -> dict[str, Any]:
    return {"text": shown} | more


def titled(record: Record, title: str, note: str) -> dict[str, Any]:
    """The cell that leads to a record: what it is called, and a note below."""
    state = "archived" if record.is_archived else ""
    return text(title, url=url_of(record.record_kind, record.pk), note=note, state=state)


def url_of(name: str, key: int) -> str:
    """The address of one record of many; that of the first is asked of the table of addresses, the others are alike."""
    return pattern_of(name, get_script_prefix()).replace("/0/", f"/{key}/")


@lru_cache(maxsize=64)
def plain_url(name: str, prefix: str) -> str:
    return reverse(name)


@lru_cache(maxsize=64)
def pattern_of(name: str, prefix: str) -> str:
    return reverse(name, args=[0])


def measured(column: str) -> Callable[[Any], dict[str, Any]]:
    """A cell with a quantity in one of its three states."""

    def cell(record: Any) -> dict[str, Any]:
        parameter = parameter_of(type(record), column)
        assert parameter is not None
        found = quantity(record, parameter)
        return text(found["value"], soft=found["state"] != "value")

    return cell


def ambient(item: Any) -> dict[str, Any]:
    """A cell with an ambient range."""
    low, high = (measured(name)(item) for name in ("ambient_min_degc", "ambient_max_degc"))
    return text(f"{low['text']} to {high['text']}")


def fixed(pairs: Sequence[tuple[str, str]]) -> Callable[[User], Choices]:
    return lambda user: list(pairs)


def same(column: str) -> Callable[[str, User], Q]:
    return lambda value, user: Q(**{column: value})


def distinct(model: type[Record], column: str) -> Callable[[User], Choices]:
    """All values of a column of the shared register that are in use."""
    return lambda user: [(value, value) for value in querysets.in_use(model, column)]


def in_use(model: type[Record], column: str) -> Choice:
    """Whether a record is used anywhere; `column` leads to what uses it."""

    def choose(value: str, user: User) -> Q:
        q = Q(pk__in=model._default_manager.filter(**{f"{column}__isnull": False}).order_by().values("pk"))
        return q if value == "yes" else ~q

    return Choice(
        "use", lazily("Used"), fixed([("yes", lazily("In use")), ("no", lazily("Nowhere"))]), choose, more=True
    )


ARCHIVED = Choice(
    "archived",
    lazily("Archived"),
    fixed([("only", lazily("Only archived")), ("all", lazily("Archived too"))]),
    lambda value, user: Q() if value == "all" else Q(archived_at__isnull=False),
    nothing=lazily("Left out"),
    default=Q(archived_at=None),
)

CHANGED = Column(
    lazily("Changed"),
    lambda item: text(day(timezone.localdate(item.changed_at))),
    "changed",
    ("changed_at",),
    shown=False,
)
