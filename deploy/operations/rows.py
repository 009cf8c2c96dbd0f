"""Rows of any table as plain JSON, exact and the same for every database.

The first line of a table names its columns, each line after it holds the values of one row in that order. Decimals and
UUIDs are texts, moments are ISO 8601 in UTC with microseconds, bytes are base 64, JSON is itself.
"""

from __future__ import annotations

import base64
import binascii
import datetime as dt
import uuid
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Field, Model
from django.utils.duration import duration_iso_string

from deploy.operations.archive import ArchiveRefused
from registry.fields import QuantityField, reading
from registry.quantities import QuantityError

EXACT_DIGITS = 15
"""What SQLite keeps of a number; the text beside a quantity keeps all of it."""
PORTION = 200

AnyField = Field[Any, Any]


def columns_of(model: type[Model]) -> list[AnyField]:
    """The columns of a table that are written, in their order."""
    return [field for field in model._meta.local_concrete_fields if not getattr(field, "generated", False)]


def lines_of(model: type[Model]) -> Iterator[list[Any]]:
    """The names of the columns of a table, then its rows by key."""
    fields = columns_of(model)
    yield [field.attname for field in fields]
    for row in model._base_manager.order_by("pk").iterator(PORTION):
        yield [plain(field, row) for field in fields]


def plain(field: AnyField, row: Model) -> Any:
    """The value of a column of a row for JSON. Raises TypeError for a type that none of our columns has."""
    value = getattr(row, field.attname)
    if isinstance(field, models.JSONField) or value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, Decimal):
        return str(exact(field, row, value))
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat() if value.tzinfo else value.isoformat()
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    if isinstance(value, uuid.UUID):
        return str(value)
    if isinstance(value, dt.timedelta):
        return duration_iso_string(value)
    raise TypeError(f"{field}: {type(value).__name__}")


def exact(field: AnyField, row: Model, value: Decimal) -> Decimal:
    """A number with all its digits: SQLite cuts a quantity, its text does not."""
    if isinstance(field, QuantityField) and len(value.normalize().as_tuple().digits) >= EXACT_DIGITS:
        try:
            return reading(row, field.attname).value_si or value
        except QuantityError:
            return value
    return value


def row_of(model: type[Model], fields: Sequence[AnyField], values: Any, place: str) -> Model:
    """A row from the values of a line, not saved. Raises ArchiveRefused, naming the place."""
    if not isinstance(values, list) or len(values) != len(fields):
        raise ArchiveRefused(f"{place} does not have the {len(fields)} values of a row.")
    row = model()
    for field, value in zip(fields, values, strict=True):
        try:
            setattr(row, field.attname, full(field, value))
        except (ValueError, TypeError, ArithmeticError, binascii.Error, ValidationError) as error:
            raise ArchiveRefused(f"{place}: {field.attname} holds what such a column cannot.") from error
    return row


def full(field: AnyField, value: Any) -> Any:
    """The value of a column from that of JSON."""
    if value is None:
        if not field.null and not isinstance(field, models.JSONField):
            raise ValueError("empty")
        return None
    if isinstance(field, models.JSONField):
        return value
    if isinstance(value, list | dict):
        raise TypeError("nested")
    if isinstance(field, models.BinaryField):
        return base64.b64decode(value, validate=True)
    return field.to_python(value)


def fields_named(model: type[Model], names: Any, place: str) -> list[AnyField]:
    """The columns by their names, which must be all that the table has. Raises ArchiveRefused."""
    fields = {field.attname: field for field in columns_of(model)}
    if not isinstance(names, list) or sorted(map(str, names)) != sorted(fields):
        raise ArchiveRefused(f"{place} does not have the columns that its table had in that version.")
    return [fields[name] for name in names]
