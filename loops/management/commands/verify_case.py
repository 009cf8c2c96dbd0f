"""``manage.py verify_case FILE [FILE …]``: judge case files without the database."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError

from loops.casefile import CaseError, judge_document
from loops.services.tables import TableError, tables_from

LARGEST_FILE = 4 * 1024 * 1024


class Unreadable(Exception):
    """A file that is no case file; the message says why."""


class Command(BaseCommand):
    """Prints one JSON result a line, in the order of the files.

    Exit status 0 when every case could be judged, whatever the verdicts; 2 when a file is unreadable or invalid, with
    the reason on standard error and the other files still judged.
    """

    help = "Judge case files and print one JSON result per line."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", metavar="FILE", help="case file (JSON)")
        parser.add_argument("--a1", type=Path, metavar="CSV", help="table A.1 in place of the built-in one")
        parser.add_argument("--a2", type=Path, metavar="CSV", help="table A.2 in place of the built-in one")

    def handle(self, *args: Any, **options: Any) -> None:
        failed = False
        try:
            tables = tables_from({"A.1": options["a1"], "A.2": options["a2"]})
        except (OSError, TableError) as error:
            raise CommandError(f"The table cannot be used: {error}", returncode=2) from error
        for name in options["files"]:
            try:
                self.stdout.write(json.dumps(judge_document(read_json(Path(name)), tables=tables)))
            except Unreadable as error:
                failed = True
                self.stderr.write(f"{name}: {error}")
            except CaseError as error:
                failed = True
                for path, messages in error.errors.items():
                    self.stderr.write(f"{name}: {path or 'document'}: {' '.join(messages)}")
        if failed:
            raise SystemExit(2)


def read_json(path: Path) -> Any:
    """The JSON document in a file; raises :class:`Unreadable`.

    Stricter than :func:`json.load`: no duplicate keys, no NaN or Infinity, at most 4 MiB, no bottomless nesting.
    """
    try:
        if not path.is_file():
            raise Unreadable("There is no such file.")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        raise Unreadable(f"The file cannot be read: {getattr(error, 'strerror', None) or error}.") from None
    if len(raw) > LARGEST_FILE:
        raise Unreadable("The file is larger than 4 MiB; a case file holds one circuit.")
    try:
        return json.loads(raw.decode("utf-8-sig"), object_pairs_hook=_once, parse_constant=_no_constant)
    except UnicodeDecodeError:
        raise Unreadable("The file is not UTF-8 text.") from None
    except RecursionError:
        raise Unreadable("The JSON is nested too deeply.") from None
    except ValueError as error:
        raise Unreadable(f"The file is not valid JSON: {error}.") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise Unreadable(f"The key “{key[:40]}” is written twice in one object.")
        found[key] = value
    return found


def _no_constant(name: str) -> NoReturn:
    raise Unreadable(f"{name} is not a value; write quantities as text with a unit.")
