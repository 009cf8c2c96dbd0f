"""Changing one value of many records at once: looked at first, then saved as a whole or not at all.

The text of each record, with the new value in it, goes through the same entry and the same save as from its form.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import models, transaction

from registry import access
from registry.choices import remembered_choices
from registry.models.base import Record
from registry.parameters import label_of
from registry.selectors import record_text
from registry.services.bulk import BatchRefused, Incoming, unique_names
from registry.services.bulk_rows import row_lookups
from registry.services.changes import recorded
from registry.services.imports import KINDS, Names, changed_contents, named
from registry.services.records import Author
from registry.uses import Effects, Proposals, foresee
from registry.words import lazily as _

MOST = 500
"""How many records are changed at once."""

MOST_OF = {"loop": 100}
"""Fewer where each is judged by its save while somebody waits."""

LEFT_OUT = frozenset({"site", "name", "role", "unconfirmed"})
"""What is never changed in many records: where they are, what rows are called, which part they have, and whether a
person has compared them with the certificate, which is done one by one."""

MANY_KINDS = ("equipment", "certificate", "cable_type", "area", "loop")

ROWS = {
    "equipment": {"terminals": _("Of each set of terminals")},
    "loop": {
        "circuits": _("Of each circuit"),
        "circuits.members": _("Of each source, device and inline item"),
        "circuits.cables": _("Of each cable run"),
        "circuits.terminators": _("Of each terminator"),
    },
}
"""The rows of a kind whose values can be changed too, by the way to them, and how they are headed."""


@dataclass(frozen=True)
class Place:
    """A value that can be changed in many records: of the record, or of each row at the end of the way `rows`."""

    name: str
    label: str
    rows: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    truth: bool = False

    @property
    def key(self) -> str:
        return f"{self.rows}.{self.name}" if self.rows else self.name

    def code(self, text: str) -> str:
        """The code of a choice that is written in its words; any other text as it stands."""
        wanted = text.casefold()
        return next((code for code, words in self.choices if wanted == words.casefold()), text)

    def shown(self, value: Any) -> str:
        """A stored text as people read it."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        return dict(self.choices).get(str(value), str(value if value is not None else ""))


@dataclass(frozen=True)
class Difference:
    """One value before and after: the record, the row of its list (empty for the record itself), both texts."""

    record: Record
    row: str
    before: str
    after: str


@dataclass
class Found:
    """What a change of many records does, or did. `faults` are by record; with any of them nothing is saved."""

    differences: list[Difference] = field(default_factory=list)
    faults: list[tuple[Record, str]] = field(default_factory=list)
    changed: int = 0
    mark: str = ""
    stale: bool = False
    effects: Effects | None = None


def most_of(kind: str) -> int:
    """How many records of a kind are changed at once."""
    return MOST_OF.get(kind, MOST)


def places_of(kind: str) -> dict[str, Place]:
    """What can be changed in many records of a kind, by key: all but what tells records apart, and LEFT_OUT."""
    found: dict[str, Place] = {}
    for rows in ("", *ROWS.get(kind, {})):
        entry = KINDS[kind].entry
        for name in filter(None, rows.split(".")):
            entry = entry.children[name]
        for name in entry.base_fields:
            if name in unique_names(entry.model) | LEFT_OUT:
                continue
            stored = entry.model._meta.get_field(name)
            choices = tuple((str(code), str(label)) for code, label in getattr(stored, "flatchoices", ()) if code)
            place = Place(name, label_of(entry.model, name), rows, choices, isinstance(stored, models.BooleanField))
            found[place.key] = place
    return found


def mark_of(records: Iterable[Record]) -> str:
    """A mark over which records in which versions were looked at."""
    text = ",".join(f"{record.pk}:{record.version}" for record in sorted(records, key=lambda one: one.pk))
    return hashlib.sha256(text.encode()).hexdigest()


def change_many(
    kind: str, keys: Sequence[int], place: Place, value: str, only: str, author: Author, mark: str | None = None
) -> Found:
    """Give one value of many records another text, wherever it says `only` now (anything where that is empty).

    Without a `mark` nothing is saved: what would differ is told, and what that does to loops. With the mark of what
    was looked at all is saved, or nothing where a text is refused or a record was saved meanwhile (`stale`).
    Raises PermissionDenied.
    """
    chosen = KINDS[kind]
    found = Found()
    proposals: Proposals = {}
    with recorded(), remembered_choices():
        locked = chosen.model._default_manager.select_for_update(of=("self",)).filter(pk__in=keys, archived_at=None)
        records = list(locked.prefetch_related(*row_lookups(chosen.model)).order_by("pk"))
        found.mark = mark_of(records)
        found.stale = mark is not None and mark != found.mark
        names = Names()
        batch = [Incoming(changed_text(record, kind, place, value, only, names, found), record) for record in records]
        try:
            outcome = chosen.save(batch, author)
        except BatchRefused as refused:
            outcome = refused.outcome
        found.changed = outcome.changed
        for index, errors in outcome.errors.items():
            found.faults += [(records[index], text) for texts in errors.values() for text in texts]
        look = mark is None or found.stale
        if look and not found.faults:
            proposals = changed_contents(kind, outcome.records)
            if chosen.judged:
                effects = chosen.judged(records, outcome.records)
                found.effects = effects if effects.matter else None
        if look or found.faults:
            transaction.set_rollback(True)
    if proposals:
        effects = foresee(proposals, access.sites_of(author.user))
        found.effects = effects if effects.matter else None
    return found


def changed_text(
    record: Record, kind: str, place: Place, value: str, only: str, names: Names, found: Found
) -> dict[str, Any]:
    """The text of a record with the new value in its place; what differs goes to `found`."""
    data = record_text(record)
    spelled = named(data, KINDS[kind].entry, names)
    rows = [(data, spelled, "")]
    for step in filter(None, place.rows.split(".")):
        rows = [
            (row, words, ", ".join(filter(None, (name, str(row.get("name") or row.get("tag") or "")))))
            for parent, parent_words, name in rows
            for row, words in zip(parent[step], parent_words[step], strict=True)
        ]
    new = place.code(value)
    for row, words, name in rows:
        before = place.shown(words.get(place.name))
        if only and only.casefold() not in (before.casefold(), str(words.get(place.name)).casefold()):
            continue
        after = place.shown(new)
        if before != after:
            row[place.name] = new
            found.differences.append(Difference(record, name, before, after))
    return data
