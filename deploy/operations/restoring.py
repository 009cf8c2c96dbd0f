"""Putting a backup into a database, all of it or nothing.

First the archive is read to its end: sums, names, and every value of every row. Then one transaction makes the schema
as it was, puts the rows in, runs the migrations that came later, and proves the store; only then is it committed.
Whatever fails on the way, the power included, leaves the database as it was. Files are written to the store before the
commit, none is replaced by other content, and those that were written are taken away again where the transaction fails.

While rows go in, the triggers that guard recorded rows are off: they judge a row by those that were there before it,
and rows go in by table.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from django.conf import settings
from django.core.files import File
from django.core.files.storage import FileSystemStorage, default_storage, storages
from django.core.management.color import no_style
from django.core.management.sql import emit_post_migrate_signal
from django.db import Error, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model

from deploy.operations.archive import Archive, ArchiveRefused
from deploy.operations.health import nearest_folder
from deploy.operations.rows import AnyField, columns_of, fields_named, row_of
from deploy.operations.schemas import NOT_KEPT, Node, applied, leaves, tables_at, unknown
from registry import text_search
from registry.services.notices import hold_mail
from registry.services.proofs import Findings, prove
from registry.services.webhooks import pause_all

RESTORE_LOCK = 7_301_199_115
"""Number of the advisory lock on PostgreSQL: two restores at once would wait for each other half-way."""
LOCK_TIMEOUT = "20s"
BATCH = 500
PIECE = 1 << 20
DIGEST = re.compile(r"[0-9a-f]{64}")
MADE_BY_MIGRATIONS = NOT_KEPT | {
    "auth_permission",
    "django_content_type",
    "django_migrations",
    "registry_scheme",
    "sqlite_sequence",
}
"""Tables that hold rows in a site that nobody has used yet."""

Say = Callable[[str], None]


class RestoreRefused(Exception):
    """Nothing was restored, and nothing changed; the text says why, and what to do."""


@dataclass
class Restored:
    """What was put back."""

    product_version: str
    made_at: str
    rows: int = 0
    files: int = 0
    migrations_after: list[str] = field(default_factory=list)
    """Migrations that came after the backup was made."""
    findings: Findings = field(default_factory=Findings)
    log_end: str = ""
    made_elsewhere: bool = False
    """The backup was made at another address: nobody is mailed, and no other system is told, until somebody says so."""
    paused_webhooks: int = 0


def restore(
    path: Path, *, replace: bool = False, expected: str = "", keep_broken: bool = False, say: Say = lambda text: None
) -> Restored:
    """Put a backup into the database and the store.

    `replace` allows a database that is in use, all of which is then lost; `expected` is the SHA-256 that the archive
    must have; `keep_broken` takes what the proofs of the store find broken. A backup of another address, or one that
    does not say which, is taken for a copy that reaches nobody: mail is held and webhooks are paused. Raises
    RestoreRefused and ArchiveRefused.
    """
    with Archive(path, expected) as archive:
        loader = MigrationLoader(connection)
        nodes = nodes_of(archive, loader)
        say("Checking the archive")
        archive.check()
        tables = tables_at(nodes, loader)
        models = {name: model for name, model in tables.items() if name not in NOT_KEPT}
        check_rows(archive, models)
        check_target(archive, set(tables), replace)
        restored = Restored(str(archive.manifest.get("product_version", "")), str(archive.manifest.get("made_at", "")))
        origin = str(archive.manifest.get("site_url", ""))
        restored.made_elsewhere = origin != settings.SITE_URL
        restored.log_end = str(archive.manifest.get("change_log_end", ""))
        written: list[str] = []
        try:
            with one_transaction():
                check_target(archive, set(tables), replace)
                if applied() != nodes:
                    say("Making the schema")
                    drop_everything()
                    MigrationExecutor(connection).migrate(leaves(nodes, loader))
                say("Putting in the rows")
                restored.rows = put_in(archive, models, set(tables))
                restored.migrations_after = bring_up_to_date(say)
                text_search.refill()
                if restored.made_elsewhere:
                    hold_mail(origin)
                    restored.paused_webhooks = pause_all("put back at another address")
                say("Putting in the files")
                restored.files = put_files(archive, written)
                say("Proving the store")
                restored.findings = prove()
                if restored.findings.broken and not keep_broken:
                    raise RestoreRefused(
                        f"What was backed up is broken itself ({restored.findings.broken[0][1]}): restore an earlier "
                        "backup, or take this one as it is with --keep-broken."
                    )
        except (Error, OverflowError, ValueError) as error:
            # The last two are what the drivers say of numbers and texts that no column holds.
            take_away(written)
            first = (str(error).splitlines() or [type(error).__name__])[0]
            raise RestoreRefused(f"The database refused what was put in, and is as it was ({first}).") from error
        except BaseException:
            take_away(written)
            raise
        return restored


# ---------------------------------------------------------------------------------------------- before anything is done


def nodes_of(archive: Archive, loader: MigrationLoader) -> set[Node]:
    """The migrations that the backed-up database had had. Raises RestoreRefused where this version lacks one."""
    listed = archive.manifest.get("migrations")
    if not isinstance(listed, dict) or not all(isinstance(names, list) for names in listed.values()):
        raise ArchiveRefused("The manifest of the archive does not say which schema it has.")
    # Parts of the product that were left out later have no tables now.
    nodes = {(str(app), str(name)) for app, names in listed.items() for name in names}
    if newer := unknown(nodes, loader):
        version = archive.manifest.get("product_version")
        raise RestoreRefused(
            f"This backup has a newer schema ({newer[0]}): it was made by version {version}, and this is version "
            f"{settings.VERSION}. Install that version, then restore."
        )
    if lacking := [
        node for node in nodes if any(parent.key not in nodes for parent in loader.graph.node_map[node].parents)
    ]:
        raise ArchiveRefused(f"The manifest of the archive lists {lacking[0][1]} without what that rests on.")
    return nodes


def check_rows(archive: Archive, models: dict[str, type[Model]]) -> None:
    """Read every row as it will be put in, and count. Raises ArchiveRefused."""
    if set(archive.tables) != set(models):
        odd = sorted(set(archive.tables) ^ set(models))
        raise ArchiveRefused(f"The archive does not hold the tables of its schema: {', '.join(odd[:5])}.")
    counts = archive.manifest.get("tables")
    for name, model in models.items():
        count = sum(1 for _ in rows_of(archive, name, model))
        if not isinstance(counts, dict) or counts.get(name) != count:
            raise ArchiveRefused(f"The archive holds {count} rows of {name}, not as many as its manifest says.")


def rows_of(archive: Archive, name: str, model: type[Model]) -> Iterator[Model]:
    """The rows of a table, not saved. Raises ArchiveRefused."""
    member = archive.tables[name]
    fields: list[AnyField] = []
    number = 0
    for number, line in enumerate(archive.lines(member), start=1):
        if number == 1:
            fields = fields_named(model, line, member)
        else:
            yield row_of(model, fields, line, f"Line {number} of {member}")
    if not number:
        raise ArchiveRefused(f"{member} in the archive does not name its columns.")


def check_target(archive: Archive, tables: set[str], replace: bool) -> None:
    """Refuse a database that is in use, one that holds tables of something else, and a disk that is too small."""
    ours = set(connection.introspection.django_table_names()) | tables | {"django_migrations", "sqlite_sequence"}
    ours |= text_search.tables_of_words()
    found = set(connection.introspection.table_names())
    if foreign := sorted(found - ours):
        raise RestoreRefused(
            f"This database holds tables that are not Unlit's ({', '.join(foreign[:3])}): give a database of its own."
        )
    if not replace and (used := in_use(found)):
        raise RestoreRefused(
            f"This database is in use ({used} holds rows), and nothing was changed: name an empty one in "
            "DATABASE_URL, or give --replace, which deletes all that is in it."
        )
    if isinstance(storages["default"], FileSystemStorage):
        place = nearest_folder(Path(settings.MEDIA_ROOT))
        if archive.unpacked_bytes > (free := shutil.disk_usage(place).free):
            raise RestoreRefused(
                f"The backup unpacks to {archive.unpacked_bytes / 1e6:.0f} MB, and {place} has {free / 1e6:.0f} MB "
                "left."
            )


def in_use(tables: set[str]) -> str:
    """The name of a table with rows that somebody has made; empty where there is none."""
    with connection.cursor() as cursor:
        for name in sorted(tables - MADE_BY_MIGRATIONS - text_search.tables_of_words()):
            cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(name)} LIMIT 1")  # noqa: S608 # nosec B608
            if cursor.fetchone():
                return name
    return ""


# --------------------------------------------------------------------------------------------------- in one transaction


@contextlib.contextmanager
def one_transaction() -> Iterator[None]:
    """A transaction in which a schema can be made, on both databases."""
    if connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute(f"SET LOCAL lock_timeout = '{LOCK_TIMEOUT}'")
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [RESTORE_LOCK])
            yield
        return
    # SQLite makes tables anew to alter them, which needs this to be off before the transaction begins.
    if not connection.disable_constraint_checking():
        raise RestoreRefused("A transaction is under way already.")
    try:
        with transaction.atomic():
            yield
    finally:
        connection.enable_constraint_checking()


def drop_everything() -> None:
    """Drop all tables, with the rows that migrations or former users have made."""
    text_search.drop_all(text_search.searched_models())
    there = set(connection.introspection.table_names()) - {"sqlite_sequence"}
    names = [connection.ops.quote_name(name) for name in sorted(there)]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            if names:
                cursor.execute(f"DROP TABLE {', '.join(names)} CASCADE")
            return
        for name in names:
            cursor.execute(f"DROP TABLE {name}")


def put_in(archive: Archive, models: dict[str, type[Model]], tables: set[str]) -> int:
    """Put all rows in, in place of those that are there; how many they were."""
    count = 0
    with triggers_off(sorted(tables)):
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                # Rows go in by table, whatever names what. Migrations have some of these questions asked at once.
                cursor.execute("SET CONSTRAINTS ALL DEFERRED")
            for name in sorted(tables):
                cursor.execute(f"DELETE FROM {connection.ops.quote_name(name)}")  # noqa: S608 # nosec B608
        for name, model in models.items():
            fields = columns_of(model)
            most = min(BATCH, max(1, connection.ops.bulk_batch_size(fields, [None] * BATCH)))
            batch: list[Model] = []
            for row in rows_of(archive, name, model):
                batch.append(row)
                count += 1
                if len(batch) == most:
                    insert(model, batch, fields)
                    batch = []
            insert(model, batch, fields)
        if connection.vendor == "postgresql":
            # What is left for the end of a transaction is asked now: a table with such questions open is not altered.
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("SET CONSTRAINTS ALL DEFERRED")
        else:
            connection.check_constraints()
    set_next_keys(archive, models)
    return count


def insert(model: type[Model], rows: list[Model], fields: list[AnyField]) -> None:
    """Insert rows as they are: `raw` keeps moments that Django would set anew."""
    if rows:
        model._base_manager.all()._insert(rows, fields=fields, raw=True)  # type: ignore[attr-defined]


@contextlib.contextmanager
def triggers_off(tables: list[str]) -> Iterator[None]:
    """Triggers do not fire meanwhile; at the end they are in force as they were."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for name in tables:
                cursor.execute(f"ALTER TABLE {connection.ops.quote_name(name)} DISABLE TRIGGER USER")
            yield
            for name in tables:
                cursor.execute(f"ALTER TABLE {connection.ops.quote_name(name)} ENABLE TRIGGER USER")
            return
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f"DROP TRIGGER {connection.ops.quote_name(name)}")
        yield
        for _, definition in triggers:
            cursor.execute(definition)


def set_next_keys(archive: Archive, models: dict[str, type[Model]]) -> None:
    """New rows get keys that none had before, deleted ones included."""
    listed = archive.manifest.get("next_keys")
    last_keys = {
        name: int(value) for name, value in (listed if isinstance(listed, dict) else {}).items() if name in models
    }
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for statement in connection.ops.sequence_reset_sql(no_style(), list(models.values())):
                cursor.execute(statement)
            for name, last in last_keys.items():
                column = models[name]._meta.pk.column
                cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", [f'"{name}"', column])
                (sequence,) = cursor.fetchone()
                highest = models[name]._base_manager.order_by("-pk").values_list("pk", flat=True).first() or 0
                cursor.execute("SELECT setval(%s, %s)", [sequence, max(last, int(highest))])
            return
        for name, last in last_keys.items():
            cursor.execute("UPDATE sqlite_sequence SET seq = %s WHERE name = %s AND seq < %s", [last, name, last])
            cursor.execute(
                "INSERT INTO sqlite_sequence (name, seq) SELECT %s, %s "
                "WHERE NOT EXISTS (SELECT 1 FROM sqlite_sequence WHERE name = %s)",
                [name, last, name],
            )


def bring_up_to_date(say: Say) -> list[str]:
    """Run the migrations that came after the backup; returns their names."""
    executor = MigrationExecutor(connection)
    targets = executor.loader.graph.leaf_nodes()
    plan = executor.migration_plan(targets)
    names = [f"{migration.app_label}.{migration.name}" for migration, _ in plan]
    for name in names:
        say(f"Migrating {name}")
    state = executor.migrate(targets, plan)
    emit_post_migrate_signal(0, False, connection.alias, apps=state.apps, plan=plan)
    return names


# --------------------------------------------------------------------------------------------------------------- files


def put_files(archive: Archive, written: list[str]) -> int:
    """Write the files that the store does not have; `written` gets the name of each. Raises RestoreRefused."""
    for name, member in archive.files.items():
        if default_storage.exists(name):
            found = mark_of_stored(name)
            if found == archive.sums[member]:
                continue
            if not (DIGEST.fullmatch(last := name.rpartition("/")[2]) and last == archive.sums[member]):
                raise RestoreRefused(
                    f"The store holds another file under the name {name}: name an empty folder in MEDIA_DIR, or move "
                    "that file away."
                )
            # A file whose name is the digest of its content, and whose content is another one, is damaged for sure.
            default_storage.delete(name)
        written.append(name)
        with default_storage_file(archive, member) as content:
            stored = default_storage.save(name, content)
        if stored != name:
            default_storage.delete(stored)
            raise RestoreRefused(f"The store gave the file {name} another name: does something else write to it?")
    return len(archive.files)


@contextlib.contextmanager
def default_storage_file(archive: Archive, member: str) -> Iterator[File[bytes]]:
    """A member as a file for the store, its bytes compared with their sum before they are stored."""
    with tempfile.TemporaryFile() as file:
        for piece in archive.pieces(member):
            file.write(piece)
        file.seek(0)
        yield File(file)


def mark_of_stored(name: str) -> str:
    mark = hashlib.sha256()
    with default_storage.open(name) as file:
        while piece := file.read(PIECE):
            mark.update(piece)
    return mark.hexdigest()


def take_away(names: list[str]) -> None:
    """Take away what was written to the store, as far as that can be done."""
    for name in names:
        with contextlib.suppress(Exception):
            default_storage.delete(name)
