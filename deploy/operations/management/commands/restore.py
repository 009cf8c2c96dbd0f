"""`manage.py restore FILE`: put a backup back, on SQLite or PostgreSQL, all of it or nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from deploy.operations.archive import ArchiveRefused
from deploy.operations.backing_up import BackupRefused, back_up
from deploy.operations.restoring import RestoreRefused, in_use, restore


class Command(BaseCommand):
    help = (
        "Put a backup into an empty database, all of it or nothing. One of an older version is brought up to date; one "
        "that is damaged, or of a newer version, is refused."
    )
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the backup")
        parser.add_argument("--sha256", default="", metavar="HEX", help="refuse a file that has another SHA-256")
        parser.add_argument(
            "--replace", action="store_true", help="delete what is in the database; it is backed up beside FILE first"
        )
        parser.add_argument(
            "--keep-broken", action="store_true", help="take what was broken when the backup was made as it is"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"].absolute()
        say = self.stdout.write if options["verbosity"] > 0 else lambda text: None
        try:
            if options["replace"] and in_use(set(connection.introspection.table_names())):
                made = back_up(path.parent)
                self.stdout.write(f"What is in the database now was kept as {made.path}")
            done = restore(
                path,
                replace=options["replace"],
                expected=options["sha256"],
                keep_broken=options["keep_broken"],
                say=say,
            )
        except (ArchiveRefused, RestoreRefused, BackupRefused) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"Restored {done.rows} rows and {done.files} files, as version {done.product_version} kept them on "
            f"{done.made_at}."
        )
        if done.migrations_after:
            self.stdout.write(f"Brought up to date by {len(done.migrations_after)} migrations.")
        if done.made_elsewhere:
            self.stdout.write(
                f"This backup was not made at {settings.SITE_URL}: nobody is mailed, and {done.paused_webhooks} "
                "webhooks are paused. Leave a copy so. Where the site has moved here: manage.py resume_mail, and for "
                "each webhook “Go on now” on its page."
            )
        for _, sentence in done.findings.broken:
            self.stderr.write(sentence)
        if done.log_end and not done.migrations_after:
            self.stdout.write(f"Compare: manage.py verify_store --expect {done.log_end}")
