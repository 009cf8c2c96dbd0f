"""`manage.py backup PLACE`: rows, files, version and checksums of a site in one file, while it runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from deploy.operations.backing_up import BackupRefused, back_up, prune


class Command(BaseCommand):
    help = (
        "Keep the whole site (database, files, version, checksums) in one file, while it runs. `restore` puts it back, "
        "on SQLite and PostgreSQL alike. Ends with 1 where the store was found to be damaged."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("place", type=Path, help="the file to write, or the folder for one named after the time")
        parser.add_argument("--keep", type=int, default=0, metavar="N", help="then delete all but the newest N there")

    def handle(self, *args: Any, **options: Any) -> None:
        place: Path = options["place"].absolute()
        say = self.stdout.write if options["verbosity"] > 1 else lambda text: None
        try:
            made = back_up(place, say)
        except BackupRefused as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{made.path}: {made.rows} rows, {made.files} files, {made.size_bytes / 1e6:.1f} MB")
        self.stdout.write(f"SHA-256 {made.sha256}")
        if made.log_end:
            self.stdout.write(f"The change log ends with {made.log_end}")
        for fault in made.faults:
            self.stderr.write(fault)
        if made.faults:
            raise CommandError(
                "The backup is made, but the store is damaged: see manage.py verify_store.", returncode=1
            )
        # A backup of a damaged store pushes no good one out.
        if options["keep"]:
            for path in prune(place if place.is_dir() else place.parent, options["keep"]):
                self.stdout.write(f"{path} deleted")
