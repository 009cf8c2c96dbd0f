"""`manage.py import_register FILE`: take a table of certificates, equipment, cable types or areas into the register."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.models import Origin, User
from registry.services.imports import KINDS, TableError, import_file, template_file
from registry.services.records import Author
from registry.uses import Effects

SHOWN = 40


class Command(BaseCommand):
    help = "Import a CSV or XLSX table into the register: all of it, or nothing where there is a fault."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, nargs="?", help="the CSV or XLSX file")
        parser.add_argument("--check", action="store_true", help="tell what would happen and save nothing")
        parser.add_argument(
            "--kind", choices=sorted(KINDS), default="", help="what the table holds; else its headings say"
        )
        parser.add_argument(
            "--template",
            action="store_true",
            help="write the headings with one example to FILE instead; without FILE print them as CSV",
        )
        parser.add_argument("--user", help="user name of the person in whose name this is saved")
        parser.add_argument("--reason", default="", help="why, kept with each revision")
        parser.add_argument("--report", type=Path, help="write the faults to this CSV file")

    def handle(self, *arguments: Any, **options: Any) -> None:
        path: Path | None = options["file"]
        if options["template"]:
            self.write_template(path, options["kind"])
            return
        if path is None:
            raise CommandError("Name the CSV or XLSX file.")
        author = Author(person(options["user"]), Origin.IMPORT, options["reason"] or f"Import of {path.name}")
        try:
            content = path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from error
        try:
            report = import_file(content, author, kind=options["kind"], commit=not options["check"])
        except (TableError, PermissionDenied) as error:
            raise CommandError(str(error)) from error
        for note in report.notes:
            self.stdout.write(note)
        if options["report"]:
            options["report"].write_bytes(report.as_csv())
        for fault in report.faults[:SHOWN]:
            place = f"row {fault.row}, {fault.column}" if fault.column else f"row {fault.row}"
            self.stderr.write(f"{place}: {fault.message}")
        if len(report.faults) > SHOWN:
            self.stderr.write(f"… and {len(report.faults) - SHOWN} more; --report FILE writes all of them.")
        if report.faults:
            raise CommandError(report.sentence())
        self.stdout.write(report.sentence())
        if report.effects:
            self.tell_effects(report.effects)

    def tell_effects(self, effects: Effects) -> None:
        """Which loops a check foresees to get another verdict."""
        changing = [effect for effect in effects.touched if effect.changes_verdict]
        self.stdout.write(
            f"{effects.count} loops rest on it; {len(changing)} of {effects.judged} would change verdict."
        )
        if effects.elsewhere:
            self.stdout.write(f"{effects.elsewhere} more that it touches are at sites of others.")
        for effect in changing[:SHOWN]:
            self.stdout.write(f"{effect.site} {effect.tag}: {effect.before} -> {effect.after}. {effect.limiting}")

    def write_template(self, path: Path | None, kind: str) -> None:
        if path is None:
            if not kind:
                raise CommandError(f"Give --kind: one of {', '.join(sorted(KINDS))}.")
            self.stdout.write(template_file(kind, "csv").decode("utf-8-sig"), ending="")
            return
        suffix = path.suffix.lstrip(".").lower()
        if not kind or suffix not in {"csv", "xlsx"}:
            raise CommandError("Give --kind and a FILE that ends in .csv or .xlsx for the template.")
        path.write_bytes(template_file(kind, suffix))
        self.stdout.write(f"{path} written.")


def person(name: str | None) -> User:
    """The person named by --user."""
    user = User.objects.filter(username=name or "").first()
    if user is None:
        raise CommandError("Give the user name of the person in whose name this is saved, for example --user keeper.")
    return user
