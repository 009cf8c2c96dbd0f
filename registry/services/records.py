"""Saving, archiving and restoring a record of the register: one gait, one transaction, one revision each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.db.models import Max, ProtectedError
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import access
from registry.digests import digest
from registry.entries import ENTRIES
from registry.fields import QuantityField, Reading, TypedTextField, set_reading
from registry.models import Certificate, Deed, Origin, Revision, Scheme, Site, User
from registry.models.base import Child, Record
from registry.prepared import PreparedAmong, PreparedRead
from registry.reading import read_entry
from registry.services.changes import Told, recorded, site_of, tell
from registry.services.rows import rows_at_hand, stored_rows
from registry.services.second_factors import refusal_to_require
from registry.uses import issued
from registry.words import lazily

R = TypeVar("R", bound=Record)
SKIPPED = frozenset({"version", "archived_at", "created_at", "changed_at", "position"})
ROW_NAMES = ("name", "tag", "group", "temperature_class")
REASON = "reason"
"""The path of a message about the reason for a change."""
REASON_WANTING = lazily(
    "Say why in a few words: a loop was issued with this, and whoever signed it must be told the reason."
)
ACTIONS = {"site": "site.edit", "area": "area.edit", "scheme": "scheme.edit"}


class EntryRefused(Exception):
    """The text cannot be true or cannot be read; `errors` holds messages by dotted path."""

    def __init__(self, errors: Mapping[str, list[str]]) -> None:
        self.errors = dict(errors)
        super().__init__("; ".join(f"{path}: {' '.join(map(str, messages))}" for path, messages in self.errors.items()))

    @property
    def messages(self) -> list[str]:
        """The messages without their paths, for where no field is shown that they belong to."""
        return [message for messages in self.errors.values() for message in messages]


class StaleRecord(Exception):
    """Somebody else saved the record since it was opened; `record` is how it stands now."""

    def __init__(self, record: Record, opened_version: int) -> None:
        self.record = record
        self.opened_version = opened_version
        super().__init__(f"{record.label()} was changed by somebody else since you opened it.")


CAME_WITH_PROGRAM = "As it came with the program, recorded before its first change."


@dataclass(frozen=True)
class Author:
    """Who changes something, through which door, and why."""

    user: User
    origin: Origin = Origin.PAGE
    reason: str = ""


# ---------------------------------------------------------------------------------------------------------- snapshots


def snapshot(
    record: models.Model, rows_of: Callable[[models.Model, str], Iterable[models.Model]] = stored_rows
) -> dict[str, Any]:
    """The whole content of a record as plain data: quantities as {"text", "si"}, relations by key and name.

    The exact Decimal is written as text; a judgement made from a snapshot loses nothing. `rows_of` gives the rows of a
    record where they are at hand already.
    """
    content: dict[str, Any] = {"id": record.pk}
    for field in snapshot_fields(type(record)):
        if isinstance(field, QuantityField):
            text = getattr(record, f"{field.name}_text")
            content[field.name] = plain_reading(Reading.of(text, field.kind)) if text else None
        elif field.is_relation:
            content[field.name] = relation(record, field)
        else:
            value = getattr(record, field.name)
            content[field.name] = value.isoformat() if isinstance(value, dt.date) else value
    for name in getattr(record, "revision_children", ()):
        content[name] = [snapshot(child, rows_of) for child in rows_of(record, name)]
    return content


@cache
def snapshot_fields(model: type[models.Model]) -> tuple[models.Field[Any, Any], ...]:
    """The columns that a snapshot holds: what people edit, and the revisions that are pinned."""
    parent = model.parent_field if issubclass(model, Child) else ""
    return tuple(
        field
        for field in model._meta.concrete_fields
        if not (field.primary_key or field.name in SKIPPED or field.name == parent)
        and not isinstance(field, TypedTextField)
        and (field.editable or isinstance(field, QuantityField) or field.name.endswith("_revision"))
    )


def plain_reading(value: Reading) -> dict[str, str] | None:
    """A reading as plain data; None where it is unknown."""
    if value.state == "unknown":
        return None
    return {"text": value.text} | ({"si": plain_decimal(value.value_si)} if value.value_si is not None else {})


def plain_decimal(value: Decimal) -> str:
    """A Decimal as normalised text without an exponent that hides equal values: 0.10 and 0.1 write the same."""
    return format(value.normalize() if value else Decimal(0), "f")


def relation(record: models.Model, field: models.Field[Any, Any]) -> dict[str, Any] | None:
    related = getattr(record, field.name)
    return None if related is None else {"id": related.pk, "name": str(related)}


def record_revision(record: Record, author: Author, *, anew: bool = False) -> Revision | None:
    """Write the next revision of a record and tell the change log; None where nothing differs from the last one, unless
    it is to be recorded `anew`.

    Raises EntryRefused without a reason where something that was issued rests on the record.
    """
    content = snapshot(record) | {"archived": record.is_archived}
    mark = digest(content)
    last = latest_revision(record)
    if last is not None and last.digest == mark and not anew:
        return None
    if last is not None and not author.reason.strip() and issued(record.record_kind, [record.pk]):
        raise EntryRefused({REASON: [REASON_WANTING]})
    revision = revision_of(record, content, (last.number if last else 0) + 1, author)
    revision.save(force_insert=True)
    tell(deed_of(record, revision, author, last))
    return revision


def record_start(record: Record, author: Author) -> None:
    """What came with the program has no revision: before its first change, what it said goes first into its history.

    It is recorded by whoever changes it, for a revision has an author; its reason says how it came.
    """
    if record.record_kind == "scheme" and record.pk and latest_revision(record) is None:
        record_revision(record, replace(author, reason=CAME_WITH_PROGRAM))


def deed_of(record: Record, revision: Revision, author: Author, last: Revision | None) -> Told:
    """What the change log says of a revision that follows `last`."""
    verb = Deed.CHANGE if last else Deed.ADD
    if last and last.snapshot["archived"] != revision.snapshot["archived"]:
        verb = Deed.ARCHIVE if record.is_archived else Deed.RESTORE
    return told(revision, verb, author, site_of(record))


def told(revision: Revision, verb: Deed, author: Author, site_id: int | None) -> Told:
    """What the change log says of a revision."""
    detail = {"revision": revision.number, "origin": str(revision.origin)}
    return Told(
        verb=verb,
        kind=revision.kind,
        record_id=revision.record_id,
        label=revision.label,
        actor=author.user,
        site_id=site_id,
        digest=revision.digest,
        detail=detail | ({"reason": revision.reason} if revision.reason else {}),
    )


def revision_of(record: Record, content: dict[str, Any], number: int, author: Author) -> Revision:
    """A revision, not yet saved, with the content of a record as its snapshot."""
    return Revision(
        kind=record.record_kind,
        record_id=record.pk,
        number=number,
        label=record.label()[:240],
        snapshot=content,
        digest=digest(content),
        author=author.user,
        origin=author.origin,
        reason=author.reason[:400],
    )


def latest_revision(record: Record) -> Revision | None:
    """The newest revision of a record."""
    return LATEST.first(record.record_kind, record.pk)


LATEST: PreparedRead[Revision] = PreparedRead(
    lambda kind, pk: Revision.objects.filter(kind=kind, record_id=pk).order_by("-number")[:1], models.CharField()
)


def latest_revision_ids(kind: str, record_ids: list[int]) -> dict[int, int]:
    """Newest revision key for each of several records of one kind."""
    return latest_revisions({kind: record_ids})[kind]


def latest_revisions(records: Mapping[str, Iterable[int]]) -> dict[str, dict[int, int]]:
    """Newest revision key for each of several records of several kinds, by kind and key; in a query for each kind."""
    return {kind: dict(newest_read(kind)(keys)) for kind, keys in records.items()}


@cache
def newest_read(kind: str) -> PreparedAmong[tuple[int, int]]:
    """The read of the newest revisions of some records of a kind: keys of records and of revisions."""
    return PreparedAmong(
        lambda keys: (
            Revision.objects.filter(kind=kind, record_id__in=keys)
            .order_by()
            .values_list("record_id")
            .annotate(newest=Max("pk"))
        )
    )


# ------------------------------------------------------------------------------------------------------------- saving


def save_text(
    kind: str,
    data: Mapping[str, Any],
    author: Author,
    *,
    record_id: int | None = None,
    opened_version: int | None = None,
) -> Record:
    """Read nested text and save it as a record of the register.

    Raises EntryRefused, StaleRecord, PermissionDenied; then nothing is saved.
    """
    cleaned, errors = read_entry(ENTRIES[kind], data)
    if errors:
        raise EntryRefused(errors)
    model: type[Record] = ENTRIES[kind].model  # type: ignore[assignment]
    with recorded():
        if record_id is None:
            record = model()
        else:
            record = lock(model, record_id, opened_version)
        site = cleaned.get("site") if kind == "area" else record if kind == "site" and record.pk else None
        action = "site.add" if kind == "site" and record_id is None else ACTIONS.get(kind, "register.edit")
        access.require(author.user, action, site)  # type: ignore[arg-type]
        if record_id is not None and kind == "area":
            access.require(author.user, action, record.site)  # type: ignore[attr-defined]
        if isinstance(record, Site) and (refusal := refusal_to_require(record, cleaned["second_factor"], author.user)):
            raise EntryRefused({"second_factor": [refusal]})
        if kind == "scheme":
            refuse_rename(record, cleaned)
            record_start(record, author)
        write(record, cleaned)
        record_revision(record, author)
    return record


def refuse_rename(scheme: Record, cleaned: Mapping[str, Any]) -> None:
    """A scheme that certificates or sites name keeps its name: they name it by that."""
    assert isinstance(scheme, Scheme)
    if scheme.pk and cleaned["name"] != scheme.name and named_by(scheme):
        raise EntryRefused(
            {"name": [_("Certificates or sites name this scheme: keep the name, or add another scheme.")]}
        )


def named_by(scheme: Scheme) -> bool:
    """Whether a certificate or a site names a scheme."""
    sites = Site.objects.filter(schemes__icontains=scheme.name)
    accepted = any(scheme.name in site.accepted_schemes for site in sites)
    return accepted or Certificate.objects.filter(scheme=scheme.name).exists()


def lock(model: type[R], record_id: int, opened_version: int | None) -> R:
    """Take a record for writing; raises StaleRecord when it was saved since `opened_version`."""
    record = model._default_manager.select_for_update().get(pk=record_id)
    refuse_stale(record, opened_version)
    return record


def refuse_stale(record: Record, opened_version: int | None) -> None:
    """Raise StaleRecord when a record that is held for writing was saved since `opened_version`."""
    if opened_version is not None and record.version != opened_version:
        raise StaleRecord(record, opened_version)


def write(record: Record, cleaned: Mapping[str, Any], prepare: Callable[[models.Model], None] | None = None) -> None:
    """Write cleaned values into a record and the rows that belong to it; `prepare` may set what no text gives."""
    assign(record, cleaned)
    record.version += 1
    if prepare:
        prepare(record)
    save_checked(record, "")
    write_children(record, cleaned, prepare, "")


def assign(record: models.Model, cleaned: Mapping[str, Any]) -> None:
    for name, value in cleaned.items():
        if name == "id" or isinstance(value, list):
            continue
        if isinstance(value, Reading):
            set_reading(record, name, value)
        else:
            setattr(record, name, value)


def write_children(
    parent: models.Model, cleaned: Mapping[str, Any], prepare: Callable[[models.Model], None] | None, path: str
) -> None:
    for name in getattr(parent, "revision_children", ()):
        manager = getattr(parent, name)
        rows: list[dict[str, Any]] = cleaned.get(name, [])
        standing = {child.pk: child for child in rows_at_hand(parent, name)}
        kept = match_rows(rows, standing)
        try:
            for key in set(standing) - set(kept.values()):
                standing[key].delete()
        except ProtectedError as error:
            users = ", ".join(sorted({str(item) for item in list(error.protected_objects)[:3]}))
            raise EntryRefused(
                {path + name: [(_("A row that you removed is in use by %(users)s: keep it.") % {"users": users})]}
            ) from error
        park_names(standing, {key: rows[index] for index, key in kept.items()})
        for index, row in enumerate(rows):
            child = standing[kept[index]] if index in kept else manager.model(**{manager.field.name: parent})
            before = columns_of(child) if child.pk else {}
            assign(child, row)
            child.position = index
            if prepare:
                prepare(child)
            row_path = f"{path}{name}.{index}"
            if columns_of(child) != before:
                save_checked(child, row_path)
            write_children(child, row, prepare, f"{row_path}.")
        getattr(parent, "_prefetched_objects_cache", {}).pop(name, None)


def match_rows(rows: list[dict[str, Any]], standing: Mapping[int, models.Model]) -> dict[int, int]:
    """Which standing row each incoming row continues: by key where it was sent, else by its name, tag, group or class.

    Else an import that sends no keys would make all rows anew, and a revision although nothing changed.
    """
    kept: dict[int, int] = {}
    for index, row in enumerate(rows):
        if row.get("id") in standing and row["id"] not in kept.values():
            kept[index] = row["id"]
    for index, row in enumerate(rows):
        column = next((column for column in ROW_NAMES if row.get(column)), "")
        if index in kept or not column:
            continue
        for key, child in standing.items():
            if key not in kept.values() and getattr(child, column, None) == row[column]:
                kept[index] = key
                break
    return kept


def park_names(standing: Mapping[int, models.Model], rows: Mapping[int, Mapping[str, Any]]) -> None:
    """Two rows may exchange their names in one save: give each that gets another one a passing name first, so that none
    collides. `rows` are the values that standing rows get, by key."""
    for key, row in rows.items():
        child = standing[key]
        for column in ("name", "tag"):
            if column in row and row[column] != getattr(child, column):
                type(child)._default_manager.filter(pk=key).update(**{column: f"\u2026{key}"})


def columns_of(row: models.Model) -> dict[str, Any]:
    """What stands in the columns of a row."""
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}


def save_checked(record: models.Model, path: str) -> None:
    """Save, and say in words at which field a rule of the database would be broken."""
    try:
        record.validate_constraints()
    except ValidationError as error:
        raise EntryRefused({unique_path(record, path): [unique_message(record)]}) from error
    try:
        with transaction.atomic():
            record.save()
    except IntegrityError as error:
        raise EntryRefused({unique_path(record, path): [unique_message(record)]}) from error


def unique_path(record: models.Model, path: str) -> str:
    name = next((n for n in ("number", "tag", "type_name", "code", "name") if hasattr(record, n)), "")
    return f"{path}.{name}" if path and name else path or name


def unique_message(record: models.Model) -> str:
    return _("There is already a %(verbose_name)s with this name here: choose another, or edit that one.") % {
        "verbose_name": record._meta.verbose_name
    }


def set_archived(record: Record, archived: bool, author: Author, *, opened_version: int | None = None) -> Record:
    """Archive a record (it stays readable, but is offered no more) or bring it back."""
    site = getattr(record, "site", None) or (record if record.record_kind == "site" else None)
    access.require(author.user, ACTIONS.get(record.record_kind, "register.edit"), site)  # type: ignore[arg-type]
    with recorded():
        record = lock(type(record), record.pk, opened_version)
        record_start(record, author)
        record.archived_at = timezone.now() if archived else None
        record.version += 1
        record.save()
        record_revision(record, author)
    return record
