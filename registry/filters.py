"""Filters of lists: what may be asked in the address of a list, how it is read, and which records it leaves.

A list declares its filters in a table. Each reads its own parameters of the address; what it cannot read is a fault
with its cure, told beside what was typed, and a list with a fault shows nothing rather than something else.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property, reduce
from itertools import groupby
from operator import or_
from typing import Any, Protocol

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.html import escape, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from registry.models import User
from registry.quantities import NOT_STATED, Kind, QuantityError, read
from registry.stored import said
from registry.words import lazily

LONGEST = 100
"""How many characters one parameter may have."""

FIRST_YEAR, LAST_YEAR = 1900, 9000

RANGES = 6
"""How many ranges of quantities may be asked at the same time."""

Choices = list[tuple[str, str]]
UNKNOWN = "unknown"


@dataclass(frozen=True)
class Condition:
    """What one filter asks: on the record itself, or on one row of a list that belongs to it.

    `within` is the way to that row, by the names of the lists; conditions with the same way hold on the same row. A
    mark behind a colon tells ways apart that lead to the same list: ``("terminals", "permitted:IIC")``. `words` says it
    for people; `names` are the parameters that it comes from.
    """

    q: Q
    within: tuple[str, ...] = ()
    words: str = ""
    names: tuple[str, ...] = ()


@dataclass
class Asking:
    """The parameters of an address while filters read them: what is typed, not empty, and faults by parameter."""

    user: User
    typed: Mapping[str, str]
    faults: dict[str, str] = field(default_factory=dict)
    _offered: dict[str, Choices] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """What is typed for a parameter; empty where nothing is, or where a fault was found in it already."""
        return "" if name in self.faults else self.typed.get(name, "")

    def offered(self, item: Choice) -> Choices:
        """What a filter offers to this person, read once."""
        if item.name not in self._offered:
            self._offered[item.name] = item.choices(self.user)
        return self._offered[item.name]


class Filter(Protocol):
    """A filter of a list. `more` puts it behind the button for further filters."""

    @property
    def name(self) -> str: ...

    @property
    def more(self) -> bool: ...

    def names(self) -> tuple[str, ...]:
        """The parameters that it reads."""

    def read(self, asking: Asking) -> Iterator[Condition]:
        """What is asked. Faults go to `asking.faults`."""

    def fields(self, asking: Asking) -> list[dict[str, Any]]:
        """Its form fields, as components/filter_field.html shows them, with what is typed and what is wrong with it."""


def form_field(asking: Asking, name: str, label: str, kind: str, **more: Any) -> dict[str, Any]:
    """One field of a filter with what is typed in it and what is wrong with that."""
    fault = asking.faults.get(name, "")
    return {
        "name": name,
        "id": f"filter-{name}",
        "label": label,
        "kind": kind,
        "value": asking.typed.get(name, ""),
        "fault": fault,
    } | more


def excerpt(text: str) -> str:
    """A typed text as messages name it."""
    return text if len(text) <= 40 else f"{text[:39]}…"


@dataclass(frozen=True)
class Choice:
    """One of several values. `choose` makes the condition of a value; `default` holds where nothing is chosen.

    `choices` is read for the person who looks; what is not among them is a fault.
    """

    name: str
    label: str
    choices: Callable[[User], Choices]
    choose: Callable[[str, User], Q]
    within: tuple[str, ...] = ()
    more: bool = False
    nothing: str = lazily("Any")
    default: Q | None = None

    def names(self) -> tuple[str, ...]:
        return (self.name,)

    def read(self, asking: Asking) -> Iterator[Condition]:
        value = asking.text(self.name)
        if not value:
            if self.default is not None:
                yield Condition(self.default)
            return
        words = dict(asking.offered(self)).get(value)
        if words is None:
            asking.faults[self.name] = _("“%(value)s” is not among what can be chosen here: pick one of the list.") % {
                "value": excerpt(value)
            }
            return
        yield Condition(self.choose(value, asking.user), self.within, f"{self.label}: {words}", self.names())

    def fields(self, asking: Asking) -> list[dict[str, Any]]:
        offered = asking.offered(self)
        value = asking.typed.get(self.name, "")
        strange = [(value, excerpt(value))] if value and value not in dict(offered) else []
        choices = [("", self.nothing), *strange, *offered]
        return [form_field(asking, self.name, self.label, "select", choices=choices)]


@dataclass(frozen=True)
class Contains:
    """A text that a column contains, or one of several."""

    name: str
    label: str
    column: str | tuple[str, ...]
    within: tuple[str, ...] = ()
    more: bool = True
    placeholder: str = lazily("Part of it")

    def names(self) -> tuple[str, ...]:
        return (self.name,)

    def read(self, asking: Asking) -> Iterator[Condition]:
        if text := asking.text(self.name):
            words = _("%(label)s contains “%(text)s”") % {"label": self.label, "text": excerpt(text)}
            columns = (self.column,) if isinstance(self.column, str) else self.column
            q = reduce(or_, (Q(**{f"{column}__icontains": text}) for column in columns))
            yield Condition(q, self.within, words, self.names())

    def fields(self, asking: Asking) -> list[dict[str, Any]]:
        return [form_field(asking, self.name, self.label, "search", placeholder=self.placeholder)]


@dataclass(frozen=True)
class Days:
    """A column with a day, from one day to another, both included.

    `moments` is true for a column with a time: days are those of the time zone in force then. `ends` names the two
    parameters where they are not called after the filter.
    """

    name: str
    label: str
    column: str
    within: tuple[str, ...] = ()
    more: bool = True
    moments: bool = False
    ends: tuple[str, str] | None = None

    def names(self) -> tuple[str, str]:
        return self.ends or (f"{self.name}_from", f"{self.name}_to")

    def read(self, asking: Asking) -> Iterator[Condition]:
        first, last = (day_of(asking, name) for name in self.names())
        if first and last and first > last:
            asking.faults[self.names()[1]] = _("The last day lies before the first: exchange the two.")
            return
        asked = [(word, end, day) for word, end, day in ((_("from"), "gte", first), (_("to"), "lte", last)) if day]
        if asked:
            q = Q(**dict(self.bound(end, day) for _, end, day in asked))
            words = " ".join([str(self.label), *(f"{word} {day.isoformat()}" for word, _, day in asked)])
            yield Condition(q, self.within, words, tuple(name for name in self.names() if asking.text(name)))

    def bound(self, end: str, day: dt.date) -> tuple[str, dt.date | dt.datetime]:
        """The lookup of one end and its value."""
        if not self.moments:
            return f"{self.column}__{end}", day
        if end == "gte":
            return f"{self.column}__gte", start_of(day)
        return f"{self.column}__lt", start_of(day + dt.timedelta(days=1))

    def fields(self, asking: Asking) -> list[dict[str, Any]]:
        # A browser's date field does not show what is no date: what was typed wrong stands in a text field.
        return [
            form_field(
                asking,
                name,
                f"{self.label}, {word}",
                "text" if name in asking.faults else "date",
                placeholder="2026-11-25",
            )
            for name, word in zip(self.names(), (_("from"), _("to")), strict=True)
        ]


def start_of(day: dt.date) -> dt.datetime:
    """The first moment of a day."""
    return timezone.make_aware(dt.datetime.combine(day, dt.time()))


def day_of(asking: Asking, name: str) -> dt.date | None:
    """A day as it is typed; what is none is a fault."""
    text = asking.text(name)
    if not text:
        return None
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            day = dt.date.fromisoformat(text)
            if FIRST_YEAR <= day.year <= LAST_YEAR:
                return day
            asking.faults[name] = _("Write a year from %(FIRST_YEAR)s to %(LAST_YEAR)s.") % {
                "FIRST_YEAR": FIRST_YEAR,
                "LAST_YEAR": LAST_YEAR,
            }
            return None
    except ValueError:
        asking.faults[name] = _("There is no day %(text)s in the calendar: check month and day.") % {"text": text}
        return None
    asking.faults[name] = _("Write the day as year, month, day, for example 2026-11-25.")
    return None


# ------------------------------------------------------------------------------------------------ ranges of quantities


@dataclass(frozen=True)
class Measure:
    """Something of a record that has a size: a quantity, a share or a number.

    `key` names it in the address, `heading` is the group of the list to choose from that it stands in. `also` must hold
    on the same row, for example the group that a Co is permitted for. `typed_column` holds the typed text of a
    quantity: it may be asked for "unknown" and "not stated" then.
    """

    key: str
    label: str
    heading: str
    column: str
    reader: Callable[[str], Decimal]
    example: str
    within: tuple[str, ...] = ()
    also: Q = field(default_factory=Q)
    typed_column: str = ""

    def condition(self, low: Decimal | None, high: Decimal | None) -> Q:
        """That it lies between two ends, both included."""
        ends = (("gte", low), ("lte", high))
        return self.also & Q(**{f"{self.column}__{end}": value for end, value in ends if value is not None})

    def state(self, word: str) -> Q:
        """That nobody has looked for it, or that the certificate does not state it."""
        return self.also & Q(**{self.typed_column: NOT_STATED if word == NOT_STATED else ""})


def quantity_reader(kind: Kind) -> Callable[[str], Decimal]:
    return lambda text: read(text, kind)


def share(text: str) -> Decimal:
    """A percentage as a share of one.

    >>> share("12.5 %"), share("-3")
    (Decimal('0.125'), Decimal('-0.03'))

    Raises ValueError.
    """
    match = re.fullmatch(r"([-\u2212]?)([0-9]{1,6}(?:[.,][0-9]{1,2})?) ?%?", text)
    if not match:
        raise ValueError(_("Write a percentage with at most two decimals, for example 10 %."))
    value = Decimal(match[2].replace(",", ".")) / 100
    return -value if match[1] else value


@dataclass(frozen=True)
class Ranges:
    """Ranges of what a record has in numbers: choose a quantity, say from and to, in any unit of it."""

    measures: tuple[Measure, ...]
    name: str = "quantity"
    more: bool = True

    def names(self) -> tuple[str, ...]:
        return tuple(name for number in range(1, RANGES + 1) for name in self.names_of(number))

    @cached_property
    def options(self) -> SafeString:
        """The measures to choose from, as options in groups. They are many and ever the same, so that they are kept."""
        groups = (
            (heading, format_html_join("", '<option value="{}">{}</option>', ((one.key, one.label) for one in group)))
            for heading, group in groupby(self.measures, key=lambda measure: measure.heading)
        )
        return format_html_join("", '<optgroup label="{}">{}</optgroup>', groups)

    def names_of(self, number: int) -> tuple[str, str, str]:
        """The parameters of one of the ranges."""
        return f"quantity{number}", f"from{number}", f"to{number}"

    def read(self, asking: Asking) -> Iterator[Condition]:
        by_key = {measure.key: measure for measure in self.measures}
        for number in range(1, RANGES + 1):
            name, low_name, high_name = names = self.names_of(number)
            key, low, high = (asking.typed.get(part, "") for part in names)
            if not (key or low or high) or any(part in asking.faults for part in names):
                continue
            measure = by_key.get(key)
            if measure is None:
                asking.faults[name] = (
                    (_("“%(key)s” is no quantity of this list: pick one.") % {"key": excerpt(key)})
                    if key
                    else _("Choose what this is about.")
                )
            elif not low and not high:
                asking.faults[low_name] = _("Say from, to or both, for example %(example)s.") % {
                    "example": measure.example
                }
            elif (found := read_range(asking, measure, low_name, high_name)) is not None:
                q, words = found
                used = tuple(part for part in names if asking.text(part))
                yield Condition(q, measure.within, f"{measure.label} {words}", used)

    def fields(self, asking: Asking) -> list[dict[str, Any]]:
        """Three fields for each range in use, and for one more."""
        used = [number for number in range(1, RANGES + 1) if any(asking.typed.get(n) for n in self.names_of(number))]
        free = [number for number in range(1, RANGES + 1) if number not in used][:1]
        rows = []
        for number in [*used, *free]:
            name, low, high = self.names_of(number)
            key = asking.typed.get(name, "")
            strange = [(key, excerpt(key))] if key and key not in {measure.key for measure in self.measures} else []
            options = SafeString(self.options.replace(f'"{escape(key)}">', f'"{escape(key)}" selected>', 1))
            rows.append(
                [
                    form_field(asking, name, _("Value"), "select", choices=[("", _("Any")), *strange], options=options),
                    form_field(asking, low, _("from"), "text", placeholder=self.measures[0].example),
                    form_field(asking, high, _("to"), "text"),
                ]
            )
        return [{"kind": "ranges", "rows": rows}]


def read_range(asking: Asking, measure: Measure, low_name: str, high_name: str) -> tuple[Q, str] | None:
    """The condition of a range and how it is said; None where something is wrong with it."""
    texts = {name: asking.typed.get(name, "") for name in (low_name, high_name)}
    word = " ".join(texts[low_name].lower().split())
    if measure.typed_column and word in (UNKNOWN, NOT_STATED):
        if texts[high_name]:
            asking.faults[high_name] = _("Leave this empty: “%(word)s” has no upper end.") % {"word": word}
            return None
        return measure.state(word), f"is {word}"
    values: dict[str, Decimal] = {}
    for name, text in texts.items():
        try:
            if text:
                values[name] = measure.reader(text)
        except (QuantityError, ValueError) as error:
            asking.faults[name] = said(str(error))
    if any(name in asking.faults for name in texts):
        return None
    low, high = values.get(low_name), values.get(high_name)
    if low is not None and high is not None and low > high:
        asking.faults[high_name] = _("The upper end is less than the lower: exchange the two.")
        return None
    if low is not None and low == high:
        return measure.condition(low, high), texts[low_name]
    parts = [f"{word} {texts[name]}" for word, name in ((_("from"), low_name), (_("to"), high_name)) if texts[name]]
    return measure.condition(low, high), " ".join(parts)


# ------------------------------------------------------------------------------------------------------ what is left


def matching(model: type[models.Model], conditions: Sequence[tuple[tuple[str, ...], Q]]) -> Q:
    """The conditions on records of a model, those on rows of its lists included; each row of a list is looked at alone.

    Rows are found by key, so that no record is found twice.
    """
    found = Q()
    for q in (q for within, q in conditions if not within):
        found &= q
    deeper = sorted((item for item in conditions if item[0]), key=lambda item: item[0][0])
    for step, group in groupby(deeper, key=lambda item: item[0][0]):
        relation = model._meta.get_field(step.partition(":")[0])
        child: type[models.Model] = relation.related_model  # type: ignore[assignment]
        parent: str = relation.field.attname  # type: ignore[union-attr]
        inner = matching(child, [(within[1:], q) for within, q in group])
        found &= Q(pk__in=child._default_manager.filter(inner).order_by().values(parent))
    return found


def narrowed(queryset: models.QuerySet[Any], conditions: Sequence[Condition]) -> models.QuerySet[Any]:
    """The records that meet all conditions."""
    return queryset.filter(matching(queryset.model, [(item.within, item.q) for item in conditions]))
