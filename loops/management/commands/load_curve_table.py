"""``manage.py load_curve_table --site CODE --table A.1 FILE``: let a site use its own ignition-curve table."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.management.base import BaseCommand, CommandError

from loops.models import CurveTable
from loops.services.tables import TableError, load_table, parse, read_bytes, reset_table
from registry.models import Site, User


class Command(BaseCommand):
    help = (
        "Load a site's own table A.1 or A.2 (CSV with the columns of the built-in tables). It is refused, with the row "
        "named, when its values rise, have holes or break the relation of its two factors. Loops that were judged "
        "with other tables then say so before they can be signed."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, help="the CSV file")
        parser.add_argument("--site", required=True, help="code of the site")
        parser.add_argument("--table", required=True, choices=CurveTable.Kind.values, help="which table it is")
        parser.add_argument("--name", default="", help="where it comes from; else the name of the file")
        parser.add_argument("--user", help="user name of the site administrator in whose name it is loaded")
        parser.add_argument("--check", action="store_true", help="check the file and store nothing")
        parser.add_argument("--reset", action="store_true", help="go back to the built-in table")

    def handle(self, *args: Any, **options: Any) -> None:
        site = Site.objects.filter(code=options["site"]).first()
        if site is None:
            known = ", ".join(Site.objects.values_list("code", flat=True)) or "none yet"
            raise CommandError(f"There is no site {options['site']}. Sites: {known}.")
        if bool(options["file"]) == options["reset"]:
            raise CommandError("Name the file of the table, or --reset to go back to the built-in one.")
        try:
            if options["reset"]:
                row = reset_table(site, options["table"], self.person(options["user"]))
            else:
                text = read_bytes(options["file"].read_bytes())
                name = options["name"] or options["file"].name
                if options["check"]:
                    parse(options["table"], name, text)
                    self.stdout.write(f"{options['file']} holds a table {options['table']}; nothing was stored.")
                    return
                row = load_table(site, options["table"], name, text, self.person(options["user"]))
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error.strerror}.") from error
        except (TableError, PermissionDenied) as error:
            raise CommandError(f"Nothing was stored. {error}") from error
        self.stdout.write(f"Site {site.code} now uses: {row}. Judge its loops again before they are signed.")

    def person(self, name: str | None) -> User:
        """The person in whose name the table is stored."""
        if not name:
            raise CommandError("Name the person in whose name this is stored: --user NAME.")
        try:
            return User.objects.get(username=name, is_active=True)
        except User.DoesNotExist:
            raise CommandError(f"There is no active user {name}.") from None
