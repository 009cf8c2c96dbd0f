"""A site's own ignition-curve tables: loading them, and the pair of tables that a site is judged by."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from loops.engine.tables import LimitTable, TableError, TableKind, Tables, built_in, read_table
from loops.models import CurveTable
from registry import access
from registry.models import Site, User
from registry.models.base import Record
from registry.prepared import PreparedRead
from registry.services.changes import Deed, Told, recorded, tell

KINDS = {CurveTable.Kind.CURRENT.value: TableKind.CURRENT, CurveTable.Kind.CAPACITANCE.value: TableKind.CAPACITANCE}
LARGEST_TABLE = 1024 * 1024
MOST_TABLES_KEPT = 64

__all__ = [
    "TableError",
    "in_force",
    "load_table",
    "own_tables",
    "parse",
    "read_bytes",
    "reset_table",
    "tables_by",
    "tables_from",
    "tables_of",
    "tables_told",
]


def parse(kind: str, name: str, text: str) -> LimitTable:
    """Read a table A.1 or A.2 from CSV text; raises TableError that names the row and what is wrong with it."""
    engine_kind = KINDS[kind]
    reader = csv.DictReader(io.StringIO(text), strict=True)
    unit = engine_kind.value[0]
    try:
        headings = reader.fieldnames or []
        if "voltage_V" not in headings or not any(heading.endswith(f"_{unit}") for heading in headings):
            raise TableError(
                _("This is no table %(kind)s: its first row must hold voltage_V and columns such as IIC_x1.5_%(unit)s.")
                % {"kind": kind, "unit": unit}
            )
        unknown = [heading for heading in headings if heading and not known_heading(heading, unit)]
        if unknown:
            raise TableError(
                _("Column %(unknown)s is not known: remove it, or name it as in the built-in table.")
                % {"unknown": unknown[0]}
            )
        table = read_table(name, engine_kind, reader)
    except csv.Error as error:
        raise TableError(
            _("Row after line %(line_num)s: the line cannot be read (%(error)s).")
            % {"line_num": reader.line_num, "error": error}
        ) from error
    for (group, factor), (voltages, _limits) in built_in(engine_kind).columns.items():
        if voltages and not table.columns[group, factor][0]:
            raise TableError(
                _("Column %(group)s_%(factor)s_%(unit)s is empty: a table holds what the built-in one holds.")
                % {"group": group, "factor": factor, "unit": unit}
            )
    return table


def known_heading(heading: str, unit: str) -> bool:
    """Whether a column belongs to a table whose cells have this unit."""
    return heading in {"voltage_V", "source"} or heading in {
        f"{group}_{factor}_{unit}" for group in ("IIC", "IIB", "IIA", "I") for factor in ("x1", "x1.5")
    }


def read_bytes(content: bytes) -> str:
    """The text of a table file; raises TableError for one that is too large or no UTF-8."""
    if len(content) > LARGEST_TABLE:
        raise TableError(_("The file is larger than 1 MiB: a table has some hundred rows."))
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise TableError(_("The file is not UTF-8 text: save it as CSV (UTF-8).")) from None


def load_table(site: Site, kind: str, name: str, text: str, user: User) -> CurveTable:
    """Store a table for a site, in force from now on. Raises TableError, PermissionDenied; then nothing is stored."""
    access.require(user, "site.edit", site)
    name = " ".join(name.split())[:120]
    if not name:
        raise TableError(_("Give the table a name that says where it comes from, for example the standard's edition."))
    parse(kind, name, text)
    return store(CurveTable(site=site, kind=kind, name=name, content=text, loaded_by=user))


def reset_table(site: Site, kind: str, user: User) -> CurveTable:
    """Go back to the built-in table."""
    access.require(user, "site.edit", site)
    return store(CurveTable(site=site, kind=kind, loaded_by=user))


def store(row: CurveTable) -> CurveTable:
    row.digest = hashlib.sha256(row.content.encode()).hexdigest() if row.content else ""
    with recorded():
        row.save(force_insert=True)
        tell(
            Told(
                Deed.ADD,
                "curve_table",
                row.pk,
                f"{row.site.code}: {row}",
                row.loaded_by,
                site_id=row.site_id,
                digest=row.digest,
                detail={"table": str(row.kind)},
            )
        )
    return row


def in_force(site: Site) -> dict[str, CurveTable]:
    """The tables of its own that a site uses now, by kind."""
    newest: dict[str, CurveTable] = {}
    for row in CurveTable.objects.filter(site=site).defer("content").select_related("loaded_by").order_by("pk"):
        newest[row.kind] = row
    return {kind: row for kind, row in newest.items() if row.digest}


def tables_told(record: Record) -> list[dict[str, str]]:
    """The tables that a site is judged by, with name, day and person; nothing for other records."""
    if not isinstance(record, Site):
        return []
    own, told = in_force(record), []
    for kind, engine in KINDS.items():
        text = _("%(name)s, built in") % {"name": built_in(engine).name}
        if kind in own:
            row = own[kind]
            day = row.loaded_at.astimezone(ZoneInfo(record.time_zone)).date().isoformat()
            text = _("%(row)s, loaded on %(day)s by %(loaded_by)s") % {
                "row": row,
                "day": day,
                "loaded_by": row.loaded_by,
            }
        told.append({"label": (_("Ignition-curve table %(kind)s") % {"kind": kind}), "value": text})
    return told


def tables_of(site: Site) -> Tables | None:
    """The pair of tables that a site is judged by; None where it uses the built-in ones."""
    return tables_by(own_tables(site))


OWN: PreparedRead[tuple[str, int, str]] = PreparedRead(
    lambda site: CurveTable.objects.filter(site_id=site).order_by("pk").values_list("kind", "pk", "digest")
)


def own_tables(site: Site) -> dict[str, tuple[int, str]]:
    """Key and digest of the tables of its own that a site uses now, by kind."""
    rows = OWN(site.pk)
    return {kind: (pk, mark) for kind, (pk, mark) in {row[0]: row[1:] for row in rows}.items() if mark}


def tables_by(own: Mapping[str, tuple[int, str]]) -> Tables | None:
    """The pair of tables of a site that uses these of its own; None where it uses none."""
    if not own:
        return None
    return Tables(*(stored(own[kind][0]) if kind in own else built_in(engine) for kind, engine in KINDS.items()))


def tables_from(files: Mapping[str, Path | None]) -> Tables | None:
    """A pair of tables from files by kind, named by file and digest; None where no file is given.

    Raises TableError and OSError.
    """
    texts = {kind: read_bytes(path.read_bytes()) for kind, path in files.items() if path}
    if not texts:
        return None
    named = {
        kind: parse(kind, f"{files[kind]} ({hashlib.sha256(text.encode()).hexdigest()[:12]})", text)
        for kind, text in texts.items()
    }
    return Tables(*(named.get(kind) or built_in(engine) for kind, engine in KINDS.items()))


@lru_cache(MOST_TABLES_KEPT)
def stored(key: int) -> LimitTable:
    """A stored table, read once: its row never changes."""
    row = CurveTable.objects.get(pk=key)
    return parse(row.kind, str(row), row.content)
