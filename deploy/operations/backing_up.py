"""Making a backup while the site runs: rows and files of one moment, in one file.

The rows are those of one moment. On SQLite the online backup copies the database first, and the copy is read; on
PostgreSQL one transaction reads everything as it was at its beginning. Files are read after that: they are written
before the row that names them and are not changed, so whatever a row names is there.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, connections, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model
from django.utils import timezone

from deploy.operations.archive import FILE_NAME, FORMAT, FORMAT_VERSION, ArchiveWriter, plain_json
from deploy.operations.rows import lines_of
from deploy.operations.schemas import NOT_KEPT, Node, applied, tables_at, unknown

DEFAULT = "default"
NAME = "unlit-{:%Y%m%dT%H%M%SZ}.zip"
NAMED = re.compile(r"unlit-[0-9]{8}T[0-9]{6}Z\.zip")
PIECE = 1 << 20
DIGEST = re.compile(r"[0-9a-f]{64}")

Say = Callable[[str], None]


class BackupRefused(Exception):
    """No backup is made; the text says why, and what to do."""


@dataclass
class Made:
    """A backup that was made, and what was found to be wrong meanwhile."""

    path: Path
    sha256: str = ""
    size_bytes: int = 0
    rows: int = 0
    files: int = 0
    log_end: str = ""
    """Number and mark of the last line of the change log, for `verify_store --expect`."""
    faults: list[str] = field(default_factory=list)


def back_up(place: Path, say: Say = lambda text: None) -> Made:
    """Write a backup to a file that is not there yet, or under a name of its own into a folder.

    Raises BackupRefused; then nothing is left behind.
    """
    path = place / NAME.format(timezone.now().astimezone(dt.UTC)) if place.is_dir() else place
    if path.exists():
        raise BackupRefused(f"{path} is there already: name another file, or a folder.")
    try:
        writer = ArchiveWriter(path)
    except OSError as error:
        raise BackupRefused(f"{path} cannot be written: {error.strerror}.") from error
    made = Made(path)
    try:
        with snapshot():
            manifest = write_rows(writer, made, say)
        write_files(writer, made, say)
        made.sha256 = writer.finish(manifest | {"files": made.files})
    except FileExistsError as error:
        writer.give_up()
        raise BackupRefused(f"{path} came there meanwhile: run it again.") from error
    except OSError as error:
        writer.give_up()
        raise BackupRefused(f"The backup could not be written ({error}): is the disk full?") from error
    except BaseException:
        writer.give_up()
        raise
    made.size_bytes = path.stat().st_size
    return made


@contextlib.contextmanager
def snapshot() -> Iterator[None]:
    """The connection reads the rows of one moment meanwhile, and the site goes on writing."""
    if connection.vendor == "postgresql":
        with transaction.atomic():
            if not connection.in_atomic_block or connection.savepoint_ids:
                yield
                return
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
        return
    with tempfile.TemporaryDirectory(prefix="unlit-backup-") as folder:
        copy = Path(folder) / "copy.sqlite3"
        connection.ensure_connection()
        with contextlib.closing(sqlite3.connect(copy)) as target:
            connection.connection.backup(target)
            (state,) = target.execute("PRAGMA integrity_check(1)").fetchone()
        if state != "ok":
            raise BackupRefused(f"The SQLite file is damaged ({state}): restore the last backup that was good.")
        own = connections[DEFAULT]
        reading = type(own)(own.settings_dict | {"NAME": str(copy)}, DEFAULT)
        # Of this thread alone, and only while it reads.
        connections[DEFAULT] = reading
        try:
            yield
        finally:
            connections[DEFAULT] = own
            reading.close()


def write_rows(writer: ArchiveWriter, made: Made, say: Say) -> dict[str, Any]:
    """Write all tables; returns what the manifest says of them."""
    loader = MigrationLoader(connection)
    nodes = applied()
    if not nodes:
        raise BackupRefused("This database has no tables yet: there is nothing to keep.")
    if newer := unknown(nodes, loader):
        raise BackupRefused(
            f"This database belongs to another version ({newer[0]} …): back it up with that one, then restore into an "
            "empty database (deploy/server.md, Upgrades)."
        )
    tables = {name: model for name, model in tables_at(nodes, loader).items() if name not in NOT_KEPT}
    counts: dict[str, int] = {}
    for name, model in tables.items():
        count = -1
        with writer.member(f"rows/{name}.jsonl") as write:
            for line in lines_of(model):
                write(plain_json(line))
                count += 1
        counts[name] = count
        made.rows += count
        say(f"{name}: {count}")
    made.log_end = log_end(tables)
    made.faults += missing_files(tables)
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "product_version": settings.VERSION,
        "site_url": settings.SITE_URL,
        "made_at": timezone.now().astimezone(dt.UTC).isoformat(),
        "database": connection.vendor,
        "migrations": migrations_of(nodes),
        "tables": counts,
        "next_keys": {name: last for name, model in tables.items() if (last := last_key(model))},
        "change_log_end": made.log_end,
    }


def migrations_of(nodes: set[Node]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for app, name in sorted(nodes):
        found.setdefault(app, []).append(name)
    return found


def log_end(tables: dict[str, type[Model]]) -> str:
    log = tables.get("registry_change")
    last = log._base_manager.order_by("-number").values_list("number", "mark").first() if log else None
    return f"{last[0]}:{last[1]}" if last else ""


def last_key(model: type[Model]) -> int:
    """The last key that the database gave to a row of a table, be the row there or not: none is given twice."""
    key = model._meta.pk
    if key.get_internal_type() not in {"AutoField", "BigAutoField", "SmallAutoField"}:
        return 0
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            query = "SELECT pg_sequence_last_value(pg_get_serial_sequence(%s, %s)::regclass)"
            cursor.execute(query, [f'"{model._meta.db_table}"', key.column])
        else:
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [model._meta.db_table])
        row = cursor.fetchone()
    return int(row[0]) if row and row[0] else 0


def missing_files(tables: dict[str, type[Model]]) -> list[str]:
    """What rows name and the store does not have."""
    attachments = tables.get("registry_attachment")
    if attachments is None:
        return []
    rows = attachments._base_manager.order_by("pk").values_list("sha256", "name")
    return [
        f"The file {name} ({mark[:12]}…) is missing in the store."
        for mark, name in rows.iterator(2_000)
        if not default_storage.exists(f"attachments/{mark[:2]}/{mark}")
    ]


def write_files(writer: ArchiveWriter, made: Made, say: Say) -> None:
    """Write all files of the store. One that is forgotten meanwhile is left out: nothing rests on it any more."""
    for name in files_in_store():
        member = f"files/{name}"
        if not FILE_NAME.fullmatch(member):
            made.faults.append(f"The file {name!a} in the store is none of Unlit's and was left out.")
            continue
        try:
            with default_storage.open(name) as file, writer.member(member, packed=False) as write:
                while piece := file.read(PIECE):
                    write(piece)
        except FileNotFoundError:
            continue
        last = name.rpartition("/")[2]
        if DIGEST.fullmatch(last) and writer.sums[member] != last:
            made.faults.append(f"The file {name} in the store is damaged.")
        made.files += 1
    say(f"files: {made.files}")


def files_in_store(folder: str = "") -> Iterator[str]:
    """The names of all files of the store, in order."""
    try:
        folders, files = default_storage.listdir(folder)
    except FileNotFoundError:
        return
    prefix = f"{folder}/" if folder else ""
    yield from (prefix + name for name in sorted(files) if name)
    for name in sorted(folders):
        if name.strip("/"):
            yield from files_in_store(prefix + name.strip("/"))


def prune(folder: Path, keep: int) -> list[Path]:
    """Delete the oldest backups of a folder, those that this command named, until so many are left."""
    found = sorted(path for path in folder.iterdir() if NAMED.fullmatch(path.name) and path.is_file())
    old = found[: max(0, len(found) - keep)] if keep > 0 else []
    for path in old:
        path.unlink()
    return old
