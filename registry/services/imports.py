"""Import and export of tables: check a file, save it as a whole or not at all, write what is stored.

A check is the save itself, rolled back. Whatever is wrong is told at once, each fault with its row, its column and the
cure; a file with a single fault changes nothing. Rows go the way of every other door: text, entry, save, revision.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from operator import attrgetter
from typing import Any

from django.db import models, transaction
from django.utils.translation import gettext as _

from registry import access
from registry.choices import remembered_choices
from registry.collecting import uncollected
from registry.entries import ENTRIES
from registry.exchange import register_layouts  # noqa: F401  (makes the tables of the register known)
from registry.exchange.csv_xlsx import Table, TableError, read_table, table, write_csv, write_xlsx
from registry.exchange.layouts import LAYOUTS, Layout
from registry.exchange.nesting import Fault, Group, Nested, choices_of, faults_of, nested, tabled, template
from registry.models import Deed, Revision
from registry.models.base import Record
from registry.reading import EntryForm, RecordField
from registry.selectors import LOOPS_BY_KIND, record_text
from registry.services.bulk import BatchRefused, Incoming, Outcome, save_many
from registry.services.bulk_rows import row_lookups
from registry.services.changes import recorded, told_so_far
from registry.services.records import Author, latest_revision_ids
from registry.uses import MOST_JUDGED, Effects, Proposals, foresee
from registry.words import lazily

__all__ = [
    "KINDS",
    "Fault",
    "ImportKind",
    "Report",
    "TableError",
    "export_file",
    "export_table",
    "import_file",
    "register_kind",
    "template_file",
]

Save = Callable[[Sequence[Incoming], Author], Outcome]
SPARE_ROWS = 500


@dataclass(frozen=True)
class ImportKind:
    """A kind that can be imported: its entry, the columns by which a stored record is found, and how a batch is saved.

    `save` gets the batch within the transaction of the import and raises BatchRefused with all errors. `judged` tells
    what a save did to verdicts, from the records before and after it, where records of this kind are judged themselves.
    """

    kind: str
    entry: type[EntryForm]
    key_lookups: tuple[str, ...]
    save: Save
    judged: Callable[[Sequence[Any], Sequence[Any]], Effects] | None = None

    @property
    def layout(self) -> Layout:
        """The table of this kind."""
        return LAYOUTS[self.kind]

    @property
    def model(self) -> type[Record]:
        """The model of its records."""
        return self.entry.model  # type: ignore[return-value]


KINDS: dict[str, ImportKind] = {}


def register_kind(kind: ImportKind) -> None:
    """Make a kind known to pages and commands; its layout is registered with registry.exchange.layouts."""
    KINDS[kind.kind] = kind


for _name, _lookups in (
    ("certificate", ("number", "issue")),
    ("equipment", ("maker", "type_name")),
    ("cable_type", ("name",)),
    ("area", ("site__code", "name")),
):
    register_kind(ImportKind(_name, ENTRIES[_name], _lookups, partial(save_many, _name)))


@dataclass(frozen=True)
class Report:
    """What an import did, or would do. Counts are of records; `rows` of rows of the file. `saved` is false for a check
    and wherever there is a fault."""

    kind: str
    rows: int
    added: int = 0
    changed: int = 0
    unchanged: int = 0
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()
    saved: bool = False
    effects: Effects | None = None
    """What a check foresees for the loops that rest on changed records; None where nothing is foreseen."""

    def as_csv(self) -> bytes:
        """The faults as CSV: row, column, what stands there, what is wrong."""
        rows = [(str(fault.row), fault.column, fault.value, fault.message) for fault in self.faults]
        return write_csv(table(("row", "column", "value", "fault"), rows))

    def sentence(self) -> str:
        """The result in one sentence."""
        if self.faults:
            faults, rows = len(self.faults), self.rows
            found = f"{faults} {'fault' if faults == 1 else 'faults'} in {rows} {'row' if rows == 1 else 'rows'}"
            return _("%(found)s: nothing was saved.") % {"found": found}
        if not self.rows:
            return _("There is no row below the headings: nothing to save.")
        added = f"{self.added} {'added' if self.saved else _('would be added')}"
        return _("%(added)s, %(changed)s changed, %(unchanged)s left as they are.") % {
            "added": added,
            "changed": self.changed,
            "unchanged": self.unchanged,
        }


# -------------------------------------------------------------------------------------------------------------- import


EXAMPLE_LEFT_OUT = lazily("Row {} is the example of the template and was left out: write over it, its first word too.")


@uncollected()
def import_file(
    content: bytes, author: Author, *, kind: str = "", commit: bool = False, most: int = MOST_JUDGED
) -> Report:
    """Check a CSV or XLSX file, or save it with `commit`; the kind is that of the headings unless it is given.

    A check foresees what the file would do to at most `most` loops.
    Raises TableError for a file that is no table of a kind, PermissionDenied. The author's origin is to be IMPORT.
    """
    content_table = read_table(content, kind)
    chosen = KINDS[kind] if kind else kind_of(content_table)
    found = nested(content_table, chosen.layout)
    faults = {(fault.row, fault.column): fault for fault in reversed(found.faults)}
    outcome = Outcome()
    proposals: Proposals = {}
    with recorded(), remembered_choices():
        stored = stored_records(chosen, (group.key for group in found.groups))
        prepared = [Prepared(group, stored.get(group.key), chosen, faults, found) for group in found.groups]
        try:
            outcome = chosen.save([item.incoming for item in prepared], author)
        except BatchRefused as refused:
            outcome = refused.outcome
        for index, errors in outcome.errors.items():
            item = prepared[index]
            for fault in faults_of(item.group, item.paths(errors), chosen.layout, found):
                faults.setdefault((fault.row, fault.column), fault)
        if not faults and not commit:
            proposals = changed_contents(chosen.kind, outcome.records)
        if faults or not commit:
            transaction.set_rollback(True)
    effects = foresee(proposals, access.sites_of(author.user), most) if proposals else None
    return Report(
        chosen.kind,
        len(content_table.rows) - len(found.examples),
        outcome.added,
        outcome.changed,
        outcome.unchanged,
        tuple(sorted(faults.values())),
        (*content_table.notes, *(EXAMPLE_LEFT_OUT.format(number) for number in found.examples)),
        saved=commit and not faults,
        effects=effects if effects and effects.matter else None,
    )


def changed_contents(kind: str, records: Iterable[Record]) -> Proposals:
    """The records of a file that it changes, with their contents as the file would leave them."""
    if kind not in LOOPS_BY_KIND:
        return {}
    changed = {
        deed.record_id for deed in told_so_far() if deed.kind == kind and deed.verb == Deed.CHANGE and deed.record_id
    }
    newest = latest_revision_ids(kind, sorted(changed))
    contents = Revision.objects.in_bulk(list(newest.values()))
    return {
        (kind, record.pk): (record, contents[newest[record.pk]].snapshot) for record in records if record.pk in changed
    }


def kind_of(content: Table) -> ImportKind:
    """The kind to which most headings of a file belong. Raises TableError where that is not clear."""
    scores = {
        kind.kind: sum(kind.layout.place_of(heading) is not None for heading in content.headings)
        for kind in KINDS.values()
        if all(any(_is_key(kind.layout, heading, name) for heading in content.headings) for name in kind.layout.key)
    }
    best = max(scores.values(), default=0)
    named = [name for name, score in scores.items() if score == best]
    if len(named) != 1:
        kinds = ", ".join(KINDS)
        raise TableError(
            _("The headings do not tell what this is a table of: say which of %(kinds)s, or use a template.")
            % {"kinds": kinds}
        )
    return KINDS[named[0]]


def _is_key(layout: Layout, heading: str, name: str) -> bool:
    place = layout.place_of(heading)
    return place is not None and not place.level and place.column.name == name


def stored_records(kind: ImportKind, named: Iterable[tuple[str, ...]]) -> dict[tuple[str, ...], Record]:
    """The stored records that a file or a list names, locked, by key; their rows are read with them."""
    keys = {key for key in named if all(key)}
    last = sorted({key[-1] for key in keys})
    key_of = [attrgetter(lookup.replace("__", ".")) for lookup in kind.key_lookups]
    related = [lookup.rpartition("__")[0] for lookup in kind.key_lookups if "__" in lookup]
    found: dict[tuple[str, ...], Record] = {}
    for start in range(0, len(last), 500):
        queryset = (
            kind.model._default_manager.select_for_update(of=("self",))
            .filter(**{f"{kind.key_lookups[-1]}__in": last[start : start + 500]})
            .select_related(*related)
            .prefetch_related(*row_lookups(kind.model))
        )
        for record in queryset:
            key = tuple(str(get(record)) for get in key_of)
            if key in keys:
                found[key] = record
    return found


@cache
def record_readers(entry: type[EntryForm]) -> tuple[tuple[str, RecordField], ...]:
    """The readers of one level that name other records."""
    return tuple((name, item) for name, item in entry.base_fields.items() if isinstance(item, RecordField))


class Prepared:
    """One record of a file laid over the stored one: columns that the file does not have stay as they are."""

    def __init__(
        self,
        group: Group,
        record: Record | None,
        kind: ImportKind,
        faults: dict[tuple[int, str], Fault],
        found: Nested,
    ) -> None:
        self.group = group
        self.layout = kind.layout
        self.order: list[int | None] = list(range(len(group.rows)))
        """For each row of the record as it is saved, which row of the group it is; None where the file has none."""
        data = dict(group.data)
        if record is not None:
            if record.is_archived:
                heading = found.heading("", "", self.layout.key[-1], 0, self.layout)
                row = group.rows[0].number
                faults[row, heading] = Fault(
                    row, heading, "This is archived: bring it back first, or use another name.", group.key[-1]
                )
            data = self._laid_over(record_text(record), data)
        self._names_only(data, kind, faults, found)
        self.incoming = Incoming(data, record)

    def _laid_over(self, stored: dict[str, Any], data: dict[str, Any]) -> dict[str, Any]:
        merged = stored | data
        if not self.layout.rows:
            return merged
        standing: list[dict[str, Any]] = stored.get(self.layout.rows) or []
        rows: list[dict[str, Any]] = []
        self.order = []
        taken: set[int] = set()
        incoming = data[self.layout.rows]
        for old in standing:
            name = str(old.get(self.layout.row_key, ""))
            index = next(
                (i for i, new in enumerate(incoming) if i not in taken and new.get(self.layout.row_key) == name), None
            )
            rows.append(old if index is None else self._row_laid_over(old, incoming[index]))
            self.order.append(index)
            taken |= set() if index is None else {index}
        for index, new in enumerate(incoming):
            if index not in taken:
                rows.append(new)
                self.order.append(index)
        merged[self.layout.rows] = rows
        return merged

    def _row_laid_over(self, old: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
        merged = old | new
        for group in self.layout.numbered:
            if group.name in new:
                before = old.get(group.name) or []
                first = group.columns[0].name
                merged[group.name] = [
                    before[i] | item if i < len(before) and before[i].get(first) == item.get(first) else item
                    for i, item in enumerate(new[group.name])
                ]
        return merged

    def _names_only(
        self, data: dict[str, Any], kind: ImportKind, faults: dict[tuple[int, str], Fault], found: Nested
    ) -> None:
        """A text of digits in a file is a name, never a key of the database, which nobody outside of it knows."""
        for level, entry, rows in (
            ("", kind.entry, [self.group.data]),
            (self.layout.rows, kind.entry.children.get(self.layout.rows), self.group.data.get(self.layout.rows, [])),
        ):
            for name, reader in record_readers(entry) if entry else ():
                for index, row in enumerate(rows):
                    text = str(row.get(name) or "")
                    if text.isdigit() and not reader.called(text):
                        heading = found.heading(level, "", name, 0, self.layout)
                        number = self.group.rows[index].number
                        message = _("There is no %(label)s “%(text)s”: write its name.") % {
                            "label": reader.label,
                            "text": f"{text:.80}",
                        }
                        faults.setdefault((number, heading), Fault(number, heading, message, text))
        self._names_only_in_lists(kind, faults, found)

    def _names_only_in_lists(self, kind: ImportKind, faults: dict[tuple[int, str], Fault], found: Nested) -> None:
        """The same in numbered columns."""
        for numbered in self.layout.numbered:
            entry = kind.entry.children[self.layout.rows].children[numbered.name]
            readers = record_readers(entry)
            for index, row in enumerate(self.group.data[self.layout.rows] if readers else ()):
                for number, item in zip(
                    self.group.numbers[index].get(numbered.name, ()), row.get(numbered.name, ()), strict=False
                ):
                    for name, reader in readers:
                        text = str(item.get(name) or "")
                        if text.isdigit() and not reader.called(text):
                            heading = found.heading(self.layout.rows, numbered.name, name, number, self.layout)
                            at = self.group.rows[index].number
                            message = _("There is no %(label)s “%(text)s”: write its name.") % {
                                "label": reader.label,
                                "text": f"{text:.80}",
                            }
                            faults.setdefault((at, heading), Fault(at, heading, message, text))

    def paths(self, errors: Mapping[str, Sequence[str]]) -> dict[str, Sequence[str]]:
        """Errors by path with the rows counted as in the file."""
        found: dict[str, Sequence[str]] = {}
        for path, messages in errors.items():
            parts = path.split(".")
            if self.layout.rows and parts[0] == self.layout.rows and len(parts) > 1:
                index = self.order[int(parts[1])]
                parts = [parts[0], str(index), *parts[2:]] if index is not None else [self.layout.rows]
            found[".".join(parts)] = messages
        return found


# -------------------------------------------------------------------------------------------------------------- export


@dataclass
class Names:
    """The names of related records by key, read once for each kind of relation."""

    by_reader: dict[int, dict[int, str]] = field(default_factory=dict)

    def of(self, reader: RecordField, key: int) -> str:
        if id(reader) not in self.by_reader:
            every = reader.queryset().model._default_manager.annotate(picked_name=reader.name_of)
            self.by_reader[id(reader)] = dict(every.values_list("pk", "picked_name"))
        return self.by_reader[id(reader)].get(key, "")


def named(data: dict[str, Any], entry: type[EntryForm], names: Names) -> dict[str, Any]:
    """Nested text of a record with related records by their names instead of their keys."""
    found = dict(data)
    for name, reader in entry.base_fields.items():
        if isinstance(reader, RecordField) and isinstance(found.get(name), int):
            found[name] = names.of(reader, found[name])
    for name, child in entry.children.items():
        found[name] = [named(row, child, names) for row in found.get(name) or []]
    return found


def export_table(kind: str, records: models.QuerySet[Any]) -> Table:
    """The table of some records, as import_file reads it back."""
    chosen = KINDS[kind]
    names = Names()
    loaded = records.prefetch_related(*row_lookups(chosen.model))
    return tabled([named(record_text(record), chosen.entry, names) for record in loaded], chosen.layout)


def export_file(kind: str, records: models.QuerySet[Any], suffix: str) -> bytes:
    """The table of some records as a file; `suffix` is "csv" or "xlsx"."""
    return written(KINDS[kind].layout, export_table(kind, records), suffix)


def template_file(kind: str, suffix: str) -> bytes:
    """A file with the headings of a kind and one row as an example."""
    return written(KINDS[kind].layout, template(KINDS[kind].layout), suffix)


def written(layout: Layout, content: Table, suffix: str) -> bytes:
    """A table as CSV or XLSX; the workbook offers what may be chosen and holds room for further rows."""
    if suffix == "csv":
        return write_csv(content)
    return write_xlsx(content, layout.kind, choices_of(layout), SPARE_ROWS)
