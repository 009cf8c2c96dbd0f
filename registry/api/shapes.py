"""The shapes that the API documents, made from the entries that read them. They describe; the entries decide."""

from __future__ import annotations

from functools import cache
from typing import Any

from django import forms
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from registry.api.bodies import choices_of, is_relation
from registry.reading import EXAMPLES, EntryForm, ReadingField, RecordField

RELATION = {"oneOf": [{"type": "string"}, {"type": "integer", "minimum": 1}]}
REASON = "Why; it stands in the history. Needed where something that was issued rests on the record."


class ConflictShape(serializers.Serializer):
    """What stands and what was sent, where a change rested on an older version."""

    version = serializers.IntegerField(help_text="The version that stands: send it as If-Match.")
    theirs = serializers.DictField(help_text="The text that stands.")
    yours = serializers.DictField(help_text="What was sent.")
    differing = serializers.ListField(child=serializers.CharField(), help_text="Paths at which the two differ.")


class ProblemShape(serializers.Serializer):
    """Every refusal."""

    code = serializers.CharField(help_text="A word for programs.")
    message = serializers.CharField(help_text="A sentence for people.")
    errors = serializers.DictField(  # type: ignore[assignment]
        child=serializers.ListField(child=serializers.CharField()),
        help_text="Messages by dotted path, terminals.0.uo_v, each with its cure.",
    )
    conflict = ConflictShape(required=False, help_text="With status 412.")


class EntryShape(serializers.Serializer):
    """The nested text of a record; the subclasses are made from entries."""

    strict = True


@extend_schema_field(RELATION)
class RelationField(serializers.JSONField):
    """Another record, by the name that people call it or by its key."""


@cache
def shape_of(entry: type[EntryForm], name: str, child: bool = False) -> type[EntryShape]:
    """The shape of the text that an entry reads, with all rows below it."""
    fields: dict[str, Any] = {"__doc__": (entry.__doc__ or "").strip(), "__module__": __name__}
    if child:
        fields["id"] = serializers.IntegerField(
            required=False, min_value=1, help_text="Key of the row, where it stands already."
        )
    for key, reader in entry.base_fields.items():
        fields[key] = field_of(reader)
    for key, below in entry.children.items():
        fields[key] = shape_of(below, below.__name__.removesuffix("Entry") + "Text", True)(many=True, required=False)
    return type(name, (EntryShape,), fields)


def field_of(reader: forms.Field) -> serializers.Field:
    """One value."""
    words = sentence(reader)
    if isinstance(reader, ReadingField):
        example = EXAMPLES.get(reader.kind, "")
        text = f"{words} A value with its unit, for example {example}; empty: unknown; “not stated”."
        return serializers.CharField(required=False, allow_blank=True, help_text=text.strip())
    if isinstance(reader, forms.BooleanField):
        return serializers.BooleanField(required=False, help_text=words)
    if isinstance(reader, forms.IntegerField):
        bounds: Any = {"min_value": reader.min_value, "max_value": reader.max_value}
        return serializers.IntegerField(required=False, help_text=words, **bounds)
    if is_relation(reader):
        return RelationField(required=reader.required, help_text=f"{words} The name or the key of a record.".strip())
    if isinstance(reader, forms.ChoiceField):
        pairs = [(code, code) for code in choices_of(reader)]
        return serializers.ChoiceField(pairs, required=reader.required, help_text=words)
    if isinstance(reader, forms.DateField):
        text = f"{words} A day, for example 2026-11-25, or empty.".strip()
        return serializers.CharField(required=reader.required, allow_blank=True, help_text=text)
    longest: Any = getattr(reader, "max_length", None)
    return serializers.CharField(
        required=reader.required,
        allow_blank=not reader.required or isinstance(reader, RecordField),
        max_length=longest,
        help_text=words,
    )


def sentence(reader: forms.Field) -> str:
    """What the form says of a value."""
    label = str(reader.label or "")
    return ". ".join(part.rstrip(".") for part in (label, str(reader.help_text or "")) if part) + ("." if label else "")


class HeadShape(serializers.Serializer):
    """What every record has beside its text."""

    id = serializers.IntegerField(help_text="Key in addresses.")
    version = serializers.IntegerField(help_text="Counts saves; the ETag of the record.")
    revision = serializers.IntegerField(help_text="Number of the newest revision; 0 where there is none yet.")
    digest = serializers.CharField(allow_blank=True, help_text="SHA-256 of that revision.")
    archived = serializers.BooleanField()
    created_at = serializers.DateTimeField()
    changed_at = serializers.DateTimeField()


@cache
def record_shape(entry: type[EntryForm], name: str) -> type[serializers.Serializer]:
    """A record in full."""
    fields = {"__doc__": (entry.__doc__ or "").strip(), "record": shape_of(entry, f"{name}Text")()}
    return type(name, (HeadShape,), fields | {"__module__": __name__})


@cache
def sent_shape(entry: type[EntryForm], name: str) -> type[serializers.Serializer]:
    """A record as it is sent: its text, and the reason."""
    reason = serializers.CharField(required=False, allow_blank=True, max_length=400, help_text=REASON)
    return type(
        name, (shape_of(entry, name.removesuffix("Sent") + "Text"),), {"reason": reason, "__module__": __name__}
    )


@cache
def page_shape(item: type[serializers.Serializer], name: str) -> type[serializers.Serializer]:
    """One page of a list."""
    after = serializers.IntegerField(
        allow_null=True, help_text="Send this as “cursor” for the page after this one; null on the last."
    )
    return page_with(after, item, name, "One page of a list, in the order of the keys.")


@extend_schema_field({"type": ["integer", "string", "null"]})
class CursorField(serializers.Field):
    """Where a list that can be sorted goes on."""


def sorted_page_shape(item: type[serializers.Serializer], name: str) -> type[serializers.Serializer]:
    """One page of a list that can be sorted."""
    after = CursorField(
        help_text="Send this as “cursor”, with the same “sort”, for the page after this one; null on the last. A "
        "number in the order of the keys, else a text."
    )
    return page_with(after, item, name, "One page of a list, in the order of the keys or the one that was asked for.")


def page_with(
    after: serializers.Field, item: type[serializers.Serializer], name: str, about: str
) -> type[serializers.Serializer]:
    """A page with what its “next” is."""
    fields: dict[str, Any] = {"__doc__": about, "__module__": __name__, "next": after, "results": item(many=True)}
    return type(name, (serializers.Serializer,), fields)


class RevisionHeadShape(serializers.Serializer):
    """One save of a record."""

    number = serializers.IntegerField()
    digest = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    author = serializers.CharField(help_text="Printed name.")
    origin = serializers.CharField(help_text="page, api, import, demo or log_in")
    reason = serializers.CharField(allow_blank=True)
    created_at = serializers.DateTimeField()


class RevisionShape(RevisionHeadShape):
    """One save of a record with its whole content: quantities as {"text", "si"}, si in SI units as exact decimals."""

    snapshot = serializers.DictField()


class ArchivedShape(serializers.Serializer):
    """Whether a record is archived."""

    archived = serializers.BooleanField(help_text="True archives it, false brings it back.")
    reason = serializers.CharField(required=False, allow_blank=True, max_length=400, help_text=REASON)
