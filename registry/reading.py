"""How incoming text is read: the base of every entry.

An entry reads `{"maker": "…", "terminals": [{"name": "1-2", "uo_v": "25.2 V", "permitted": [{…}]}]}` and gives either
cleaned values in the same shape or errors by dotted path (`terminals.0.uo_v`). A page, the API and an import row each
hand over the same nested mapping of text. Nothing is saved here.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cache
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F
from django.utils.translation import gettext as _

from registry.choices import memory_of
from registry.fields import QuantityField, Reading, TypedTextField
from registry.plain import one_line, plain_text
from registry.prepared import PreparedRead
from registry.quantities import Kind, QuantityError
from registry.stored import said
from registry.words import lazily

MAX_ROWS = 200
MOST_WAYS = 32
"""A name that can be taken apart in more ways than any real one is looked for among all: a database has no room for a
condition of thousands."""


class TextField(forms.CharField):
    """A text as typed, without hidden characters; of one line unless `lines` says otherwise."""

    default_error_messages = {"required": lazily("This is required: fill it in.")}

    def __init__(self, *, lines: bool = False, **options: Any) -> None:
        self.lines = lines
        super().__init__(**options)

    def to_python(self, value: Any) -> str:
        if value is not None and not isinstance(value, str | int | float):
            raise ValidationError(_("Give a text here."))
        return super().to_python(value) or ""

    def run_validators(self, value: str) -> None:
        (plain_text if self.lines else one_line)(value)
        super().run_validators(value)


class ReadingField(forms.Field):
    """A quantity in one of three states: a value with its unit, "not stated", or empty for unknown."""

    def __init__(self, kind: Kind, example: str = "", **options: Any) -> None:
        self.kind = kind
        self.example = example
        self.allow_not_stated = options.pop("allow_not_stated", True)
        super().__init__(**options)

    def to_python(self, value: Any) -> Reading:
        if value in self.empty_values:
            return Reading()
        if not isinstance(value, str):
            raise ValidationError(
                _("Give a text with its unit, for example %(example)s.") % {"example": self.example or "text"}
            )
        try:
            found = Reading.of(value, self.kind)
        except QuantityError as error:
            raise ValidationError(said(str(error))) from error
        if found.state == "not stated" and not self.allow_not_stated:
            raise ValidationError(_("Give a value here, for example %(example)s.") % {"example": self.example})
        return found

    def validate(self, value: Reading) -> None:
        if self.required and value.state == "unknown":
            raise ValidationError(_("Give a value with its unit, for example %(example)s.") % {"example": self.example})


class DayField(forms.DateField):
    """A calendar day as text."""

    def to_python(self, value: Any) -> Any:
        if value not in self.empty_values and not isinstance(value, str | dt.date):
            raise ValidationError(_("Give a day as text, for example 2026-11-25."))
        return super().to_python(value)


YES = frozenset({"true", "on", "yes", "1"})
NO = frozenset({"false", "off", "no", "0", ""})


class PlainValue(forms.Widget):
    """Hands a value to its reader as it was sent."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        return data.get(name)


class YesNoField(forms.BooleanField):
    """Yes or no, as a box that is ticked or not, as JSON or in words; nothing else is taken for a yes."""

    widget = PlainValue

    def to_python(self, value: Any) -> bool:
        if value is None or isinstance(value, bool):
            return bool(value)
        word = str(value).strip().lower()
        if word in YES or word in NO:
            return word in YES
        raise ValidationError(_("Say yes or no here."))


def any_way(columns: Sequence[str], ways: Iterable[Sequence[Any]]) -> models.Q:
    """Records whose columns have the values of one of some ways."""
    found = models.Q(pk__in=[])
    for way in ways:
        found |= models.Q(**dict(zip(columns, way, strict=True)))
    return found


class RecordField(forms.Field):
    """Another record: by its name as people call it, or by its key. A number is a key; a text of digits first a name.

    `queryset` gives what is read; `name_of` is the expression of the name that people type and see (a column or an
    annotation). `offered` narrows what the lists offer: a record that is archived is offered no more, but is still read
    where it stands already; the service that saves refuses it elsewhere. Where the name is made of several columns,
    `near` gives the values that the columns `near_by`, which have an index, can have for a name.
    """

    default_error_messages = {"required": lazily("This is required: choose one that is in the register.")}

    def __init__(
        self,
        queryset: Callable[[], models.QuerySet[Any]],
        name_of: str | models.expressions.Combinable,
        offered: models.Q | None = None,
        *,
        near: Callable[[str], Sequence[tuple[str, ...]]] | None = None,
        near_by: Sequence[str] = (),
        **options: Any,
    ):
        self.queryset = queryset
        self.offered = offered or models.Q()
        self.near = near
        self.near_by = near_by
        self.by_key: PreparedRead[Any] = PreparedRead(lambda key: self.readable().filter(pk=key))
        self.by_name: dict[int, PreparedRead[Any]] = {}
        self.name_of = F(name_of) if isinstance(name_of, str) else name_of
        super().__init__(**options)

    def named(self) -> models.QuerySet[Any]:
        """What the lists offer, each with its `picked_name`."""
        return self.readable().filter(self.offered)

    def readable(self) -> models.QuerySet[Any]:
        """What is read, each with its `picked_name`."""
        return self.queryset().annotate(picked_name=self.name_of)

    def name_for(self, key: str) -> str:
        """The name of the record with this key, archived ones included; the text itself where it is no key."""
        if not (key.isascii() and key.isdigit() and len(key) < 19):
            return key
        model = self.queryset().model
        found = model._default_manager.annotate(picked_name=self.name_of).filter(pk=int(key)).first()
        return found.picked_name if found else key

    def called(self, name: str) -> list[Any]:
        """The records with this name."""
        memory = memory_of(self)
        return self.asked(name) if memory is None else memory.called(name, self.asked, self.readable)

    def asked(self, name: str) -> list[Any]:
        """The records with this name, of the database; two where there are more."""
        ways = self.near(name) if self.near else ()
        if self.near and not ways:
            return []
        if len(ways) > MOST_WAYS:
            ways = ()
        values = (name, *(value for way in ways for value in way))
        if len(ways) not in self.by_name:
            self.by_name[len(ways)] = PreparedRead(self.with_name, *[models.TextField[Any, Any]()] * len(values))
        return self.by_name[len(ways)](*values)

    def with_name(self, name: Any, *values: Any) -> models.QuerySet[Any]:
        """The first two records with a name; `values` are what the columns `near_by` can have, one way after the
        other."""
        width = len(self.near_by) or 1
        ways = [values[start : start + width] for start in range(0, len(values), width)]
        near = any_way(self.near_by, ways) if ways else models.Q()
        return self.readable().filter(near, picked_name=name)[:2]

    def keyed(self, key: int) -> list[Any]:
        """The record with this key, in a list."""
        memory = memory_of(self)
        return self.by_key(key) if memory is None else memory.keyed(key, self.by_key, self.readable)

    def to_python(self, value: Any) -> models.Model | None:
        if value in self.empty_values:
            return None
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise ValidationError(_("Name a record here."))
        text = " ".join(plain_text(str(value)).split())
        found = [] if isinstance(value, int) else self.called(text)
        if len(found) != 1 and text.isascii() and text.isdigit() and len(text) < 19:
            found = self.keyed(int(text))
        if len(found) != 1:
            raise ValidationError(
                _(
                    "There is no %(label)s called “%(text)s” in the register: choose a whole name, or add it "
                    "there first."
                )
                % {"label": self.label or "record", "text": f"{text:.80}"}
            )
        return found[0]


class NamedField(RecordField):
    """Another record by its name in capital or small letters; what is kept is the name as that record spells it."""

    def to_python(self, value: Any) -> str:  # type: ignore[override]
        if value in self.empty_values:
            return ""
        if not isinstance(value, str):
            raise ValidationError(_("Give a name here."))
        text = " ".join(plain_text(value).split())
        found = self.called(text) or self.spelled_alike(text)
        if len(found) != 1:
            raise ValidationError(self.unknown(text))
        name: str = found[0].picked_name
        return name

    def spelled_alike(self, text: str) -> list[Any]:
        """The records whose name differs from a text by capital and small letters alone."""
        memory = memory_of(self)
        if memory is None:
            return list(self.readable().filter(picked_name__iexact=text)[:2])
        return memory.spelled_alike(text, self.readable)

    def unknown(self, text: str) -> str:
        names = ", ".join(self.named().order_by("picked_name").values_list("picked_name", flat=True)[:30])
        return _("There is no %(label)s “%(text)s”: choose one of %(names)s, or add it first.") % {
            "label": self.label or "record",
            "text": f"{text:.80}",
            "names": names,
        }


class EntryForm(forms.Form):
    """One level of an entry. `children` names the entry class of each nested list; `model` the record it fills."""

    model: ClassVar[type[models.Model]]
    children: ClassVar[dict[str, type[EntryForm]]] = {}
    use_required_attribute = False

    def __init__(self, *arguments: Any, context: Mapping[str, Any] | None = None, **options: Any) -> None:
        self.context = dict(context or {})
        super().__init__(*arguments, **options)

    def cross_check(
        self, cleaned: dict[str, Any], children: dict[str, list[dict[str, Any]]]
    ) -> Iterator[tuple[str, str]]:
        """Faults that only show when all fields of this level and the rows below it are read: (path, message)."""
        return iter(())


def read_entry(
    form_class: type[EntryForm], data: Any, context: Mapping[str, Any] | None = None, path: str = ""
) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """Read nested text with an entry class.

    Returns (cleaned, errors): cleaned values in the shape of the data, and messages by dotted path. Cleaned values may
    only be used when there are no errors. Unknown keys are an error that names the key.
    """
    errors: dict[str, list[str]] = {}
    if not isinstance(data, Mapping):
        return {}, {path or "record": [_("Give an object with named values here.")]}
    known = known_names(form_class)
    for key in data:
        if key not in known:
            near = difflib.get_close_matches(str(key), known, n=1)
            hint = (_(" Did you mean %(near)s?") % {"near": near[0]}) if near else ""
            errors[join(path, str(key))] = [
                (_("There is no value named %(key)s here.%(hint)s") % {"key": f"{key!s:.60}", "hint": hint})
            ]
    form, faults = read_level(form_class, data, context)
    for name, messages in faults.items():
        errors[join(path, name)] = messages
    cleaned: dict[str, Any] = dict(form.cleaned_data)
    identity = data.get("id")
    cleaned["id"] = read_key(identity)
    rows_by_name: dict[str, list[dict[str, Any]]] = {}
    for name, child_class in form_class.children.items():
        rows = data.get(name) or []
        if not isinstance(rows, list | tuple):
            errors[join(path, name)] = [_("Give a list here.")]
            continue
        if len(rows) > MAX_ROWS:
            errors[join(path, name)] = [
                (_("At most %(MAX_ROWS)s rows are read here: divide the record.") % {"MAX_ROWS": MAX_ROWS})
            ]
            continue
        rows_by_name[name] = []
        for index, row in enumerate(rows):
            child, child_errors = read_entry(child_class, row, context, join(path, f"{name}.{index}"))
            errors |= child_errors
            rows_by_name[name].append(child)
    if not faults:
        for field, message in form.cross_check(cleaned, rows_by_name):
            errors.setdefault(join(path, field), []).append(message)
    cleaned |= rows_by_name
    return cleaned, errors


Step = tuple[
    str, forms.Field, Callable[[Any, Any, str], Any] | None, tuple[Any, ...], Callable[[EntryForm], Any] | None
]


@cache
def known_names(form_class: type[EntryForm]) -> frozenset[str]:
    """The names that the text of one level may have."""
    return frozenset(form_class.base_fields) | frozenset(form_class.children) | {"id"}


@cache
def steps(form_class: type[EntryForm]) -> list[Step]:
    """How the fields of an entry are read, worked out once: name, reader, how its widget takes the value if it does so
    in its own way, what an empty value becomes (in a tuple; an empty tuple where it is refused), and `clean_<name>`."""
    found: list[Step] = []
    for name, reader in form_class.base_fields.items():
        own_way = type(reader.widget).value_from_datadict is not forms.Widget.value_from_datadict
        empty: tuple[Any, ...] = ()
        with suppress(ValidationError):
            empty = (reader.clean(None),)
        takes = reader.widget.value_from_datadict if own_way else None
        found.append((name, reader, takes, empty, getattr(form_class, f"clean_{name}", None)))
    return found


def read_level(
    form_class: type[EntryForm], data: Mapping[str, Any], context: Mapping[str, Any] | None
) -> tuple[EntryForm, dict[str, list[str]]]:
    """The fields of one level as Django's form reads them, with the messages by name.

    A form of its own would copy every field for every row: most of the time of an import. The fields hold no state.
    """
    form = form_class.__new__(form_class)
    form.context = dict(context or {})
    form.cleaned_data = cleaned = {}
    faults: dict[str, list[str]] = {}
    for name, reader, takes, empty, hook in steps(form_class):
        value = takes(data, {}, name) if takes else data.get(name)
        try:
            cleaned[name] = empty[0] if empty and (value is None or value == "") else reader.clean(value)
            if hook:
                cleaned[name] = hook(form)
        except ValidationError as error:
            cleaned.pop(name, None)
            faults[name] = [str(message) for message in error.messages]
    return form, faults


def read_key(identity: Any) -> int | None:
    """The key of a stored row that an incoming row says it continues, or None."""
    text = str(identity) if isinstance(identity, str | int) else ""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def join(path: str, name: str) -> str:
    """`terminals.0` and `uo_v` make `terminals.0.uo_v`."""
    return f"{path}.{name}" if path and name else path or name


EXAMPLES: dict[Kind, str] = {
    Kind.VOLTAGE: "28 V",
    Kind.CURRENT: "93 mA",
    Kind.POWER: "650 mW",
    Kind.CAPACITANCE: "83 nF",
    Kind.INDUCTANCE: "4.2 mH",
    Kind.RESISTANCE: "300 ohm",
    Kind.INDUCTANCE_PER_RESISTANCE: "55 uH/ohm",
    Kind.LENGTH: "300 m",
    Kind.CAPACITANCE_PER_LENGTH: "110 nF/km",
    Kind.INDUCTANCE_PER_LENGTH: "0.65 mH/km",
    Kind.RESISTANCE_PER_LENGTH: "12.1 ohm/km",
    Kind.TEMPERATURE: "40 degC",
    Kind.AREA: "250 mm2",
    Kind.THERMAL_RESISTANCE: "37 K/W",
    Kind.TIME: "65 us",
}


def form_field(field: models.Field[Any, Any]) -> forms.Field:
    """The reader of one column: quantities as readings, texts without hidden characters, the rest as Django does."""
    if isinstance(field, QuantityField):
        return ReadingField(field.kind, EXAMPLES[field.kind], required=False, label=field.verbose_name)
    if isinstance(field, models.CharField | models.TextField) and not field.choices:
        return TextField(
            lines=isinstance(field, models.TextField),
            required=not field.blank,
            max_length=field.max_length,
            label=field.verbose_name,
            help_text=field.help_text,
        )
    if isinstance(field, models.DateField):
        return DayField(required=not field.blank, label=field.verbose_name, help_text=field.help_text)
    if isinstance(field, models.BooleanField):
        return YesNoField(required=False, label=field.verbose_name, help_text=field.help_text)
    built = field.formfield()
    assert built is not None, field
    if isinstance(built, forms.TypedChoiceField):
        known = [str(code) for code, _ in field.flatchoices if code != ""]
        codes = ", ".join(known)
        built.valid_value = frozenset(known).__contains__  # type: ignore[method-assign, assignment]
        built.error_messages["invalid_choice"] = _("“%%(value)s” is not a valid choice: write one of %(codes)s.") % {
            "codes": codes
        }
        built.error_messages["required"] = _("This is required: write one of %(codes)s.") % {"codes": codes}
    if isinstance(built, forms.TypedChoiceField) and not field.blank:
        built.required = not field.has_default()
        built.empty_value = field.get_default() if field.has_default() else ""
    return built


def fields_of(model: type[models.Model], *names: str) -> dict[str, forms.Field]:
    """Readers for the named columns of a model; without names for all of its editable plain columns."""
    chosen = [
        field
        for field in model._meta.concrete_fields
        if field.editable
        and not field.primary_key
        and not field.is_relation
        and not isinstance(field, TypedTextField)
        and field.name not in {"position", "version", "archived_at"}
        and (not names or field.name in names)
    ]
    return {field.name: form_field(field) for field in chosen}
