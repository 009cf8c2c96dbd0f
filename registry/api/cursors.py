"""Lists of the API in an order that is asked for: a page begins behind the values that the last one ended with.

The cursor holds those values and is signed. So nothing that stays as it is is left out or told twice, whatever is
added or changed meanwhile; what is moved in the order while somebody reads is told where it stands when its place is
read.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core import signing
from django.db import connection
from django.db.models import DecimalField, F, Field, FloatField, Q, QuerySet, Value
from django.db.models.functions import Cast

from registry.services.records import EntryRefused
from registry.views.ordering import parts_of
from registry.views.pages import KindPage

SALT = "registry.api.cursors"
LONGEST = 4_000
OTHER = "This is no cursor of this order: send “next” of the page before as it came, or begin without one."


def sorted_page(
    page: KindPage, found: QuerySet[Any], sort: str, cursor: str, limit: int
) -> tuple[list[int], str | None]:
    """The keys of one page in an order, and the cursor of the page after it. Raises EntryRefused for a cursor that
    belongs to another order, or that nobody was given."""
    first, values = place_of(cursor, f"{page.kind} {sort}")
    parts = parts_of(page, found, sort)
    if first >= len(parts):
        raise EntryRefused({"cursor": [OTHER]})
    rows: list[tuple[int, list[Any]]] = []
    for number, part in enumerate(parts[first:], start=first):
        names = [str(name) for name in part.query.order_by]
        behind_last = part.filter(behind(part, names, values)) if number == first and values else part
        columns = [exactly(part, name.removeprefix("-")) for name in names]
        for row in behind_last.values_list(*columns)[: limit + 1 - len(rows)]:
            rows.append((number, list(row)))
        if len(rows) > limit:
            break
    # A part is sorted by the key at last.
    keys = [int(row[-1]) for _number, row in rows[:limit]]
    if len(rows) <= limit:
        return keys, None
    number, row = rows[limit - 1]
    return keys, signing.dumps([f"{page.kind} {sort}", number, [plain(value) for value in row]], salt=SALT)


def place_of(cursor: str, sort: str) -> tuple[int, list[Any]]:
    """The part of a list that a cursor ended in, and the values that it ended with; none at the beginning."""
    if not cursor:
        return 0, []
    try:
        of, number, values = signing.loads(cursor if len(cursor) <= LONGEST else "", salt=SALT)
    except signing.BadSignature:
        raise EntryRefused({"cursor": [OTHER]}) from None
    if of != sort:
        raise EntryRefused({"cursor": [OTHER]})
    return int(number), list(values)


def plain(value: Any) -> Any:
    """A value as JSON has it, such that its column reads the same again."""
    return value if value is None or isinstance(value, int | float | str) else str(value)


def behind(part: QuerySet[Any], names: Sequence[str], values: Sequence[Any]) -> Q:
    """What comes after some values in the order of some columns."""
    (name, *others), (value, *rest) = names, values
    if value is None:
        # All of this part have no value there.
        return behind(part, others, rest)
    column = name.removeprefix("-")
    known = as_stored(part, column, value)
    further = Q(**{f"{column}__{'lt' if name.startswith('-') else 'gt'}": known})
    return further | (Q(**{column: known}) & behind(part, others, rest)) if others else further


def field_of(part: QuerySet[Any], column: str) -> Field[Any, Any] | None:
    """The field that a column of an order is; None for what is counted."""
    if column in part.query.annotations:
        return None
    model: Any = part.model
    field: Any = None
    for name in column.split("__"):
        field = model._meta.pk if name == "pk" else model._meta.get_field(name)
        model = field.related_model
    return field


def is_real(field: Field[Any, Any] | None) -> bool:
    """Whether the database holds a decimal as a binary number, which its text of 15 digits does not always meet."""
    return isinstance(field, DecimalField) and connection.vendor == "sqlite"


def exactly(part: QuerySet[Any], column: str) -> Any:
    """A column as it is read to be compared again."""
    return Cast(column, FloatField()) if is_real(field_of(part, column)) else F(column)


def as_stored(part: QuerySet[Any], column: str, value: Any) -> Any:
    """A value of a cursor as it is compared with its column."""
    field = field_of(part, column)
    if is_real(field):
        return Value(value, FloatField())
    return value if field is None else field.to_python(value)
