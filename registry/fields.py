"""Model fields for quantities: the typed text is the truth, a Decimal beside it is for searching and sorting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar

from django.db import models

from registry.quantities import NOT_STATED, Kind, read


@dataclass(frozen=True)
class Reading:
    """What somebody typed for one quantity, in one of three states.

    `text` is what was typed; `value_si` its exact SI value, or None. An empty text is *unknown* (nobody has looked);
    the text "not stated" says that the certificate does not give the value; all else is a value. Zero is a value.
    """

    text: str = ""
    value_si: Decimal | None = None

    @property
    def state(self) -> str:
        """One of "unknown", "not stated", "value"."""
        if self.value_si is not None:
            return "value"
        return NOT_STATED if self.text == NOT_STATED else "unknown"

    @classmethod
    def of(cls, text: str, kind: Kind) -> Reading:
        """Read `text` in the quantity `kind`; raises registry.quantities.QuantityError."""
        text = text.strip()
        if not text:
            return UNKNOWN
        if " ".join(text.lower().split()) == NOT_STATED:
            return cls(NOT_STATED)
        return cls(text, read(text, kind))


UNKNOWN = Reading()
"""Most columns of most records: made once."""


class QuantityField(models.DecimalField):
    """A quantity in the SI unit of its kind, with the typed text in the column `<name>_text` beside it.

    The database column serves searching (SQLite keeps 15 digits of it); judgements read the text.
    """

    description = "Quantity of kind %(kind)s"
    kind: Kind

    def __init__(self, kind: Kind | str = Kind.VOLTAGE, **options: Any) -> None:
        self.kind = Kind(kind)
        options.setdefault("max_digits", 44)
        options.setdefault("decimal_places", 24)
        options.setdefault("null", True)
        options.setdefault("blank", True)
        super().__init__(**options)

    def deconstruct(self) -> tuple[str, str, Sequence[Any], dict[str, Any]]:
        name, path, args, options = super().deconstruct()
        options["kind"] = self.kind.value
        for key in ("max_digits", "decimal_places", "null", "blank"):
            options.pop(key, None)
        return name, path, args, options

    @property
    def text_name(self) -> str:
        """Name of the column that holds the typed text."""
        return f"{self.name}_text"


class TypedTextField(models.CharField):
    """The text of a quantity as typed; empty is unknown."""

    SIZE: ClassVar[int] = 60

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", self.SIZE)
        options.setdefault("blank", True)
        options.setdefault("default", "")
        super().__init__(**options)


def quantity_fields(model: type[models.Model]) -> list[QuantityField]:
    """All quantity columns of a model."""
    return [field for field in model._meta.concrete_fields if isinstance(field, QuantityField)]


def reading(record: models.Model, name: str) -> Reading:
    """The reading held in the columns `name` and `<name>_text` of a record, read anew from its text."""
    field = record._meta.get_field(name)
    assert isinstance(field, QuantityField)
    return Reading.of(getattr(record, field.text_name), field.kind)


def set_reading(record: models.Model, name: str, value: Reading) -> None:
    """Write a reading into both of its columns."""
    setattr(record, name, value.value_si)
    setattr(record, f"{name}_text", value.text)
