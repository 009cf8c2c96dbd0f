"""Write the issued sheets into a folder, byte for byte as they were issued."""

from __future__ import annotations

import contextlib
import os
import tempfile
from argparse import ArgumentParser
from collections import Counter
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.models import Site
from reports.files import file_name
from reports.models import Sheet
from reports.services import SheetDamaged, sheet_bytes


class Command(BaseCommand):
    help = (
        "Writes every issued sheet as <tag>_<revision letter>.pdf, exactly the stored bytes. A file that is there "
        "already and holds something else is kept, unless --force. Exits with 1 when a sheet could not be written."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", required=True, metavar="DIR", help="folder to write into; made when missing")
        parser.add_argument("--site", metavar="CODE", help="only the sheets of this site")
        parser.add_argument("--force", action="store_true", help="overwrite files that hold something else")

    def handle(self, *args: Any, **options: Any) -> None:
        folder = Path(options["out"])
        sheets = Sheet.objects.order_by("approval__loop__site__code", "number")
        if code := options["site"]:
            if not Site.objects.filter(code=code).exists():
                raise CommandError(f"There is no site with the code {code}.")
            sheets = sheets.filter(approval__loop__site__code=code)
        names = file_names(sheets.values_list("pk", "approval__revision__label", "approval__letter", "sha256"))
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CommandError(f"The folder {folder} cannot be made: {error.strerror}.") from error
        written = same = 0
        faults = []
        for sheet in sheets.iterator(chunk_size=20):
            target = folder / names[sheet.pk]
            try:
                outcome = put(target, sheet_bytes(sheet), force=options["force"])
            except (SheetDamaged, OSError) as error:
                faults.append(f"{target.name}: {error}")
                continue
            if outcome == "differs":
                faults.append(f"{target.name}: a file of this name holds something else; --force overwrites it")
                continue
            written += outcome == "written"
            same += outcome == "same"
            self.stdout.write(f"{'wrote' if outcome == 'written' else 'is there'} {target.name}  {sheet.number}")
        self.stdout.write(f"{written} written, {same} there already, {len(faults)} not written.")
        if faults:
            raise CommandError("Not written:\n" + "\n".join(faults))


def file_names(rows: Any) -> dict[int, str]:
    """The file name of each sheet by its key; names that would fall together carry a part of their digest.

    Names are compared without regard to case, as some file systems do.
    """
    listed = list(rows)
    plain = {key: file_name(tag, letter) for key, tag, letter, _ in listed}
    counts = Counter(name.casefold() for name in plain.values())
    return {
        key: plain[key] if counts[plain[key].casefold()] == 1 else file_name(tag, letter, digest[:12])
        for key, tag, letter, digest in listed
    }


def put(target: Path, data: bytes, *, force: bool) -> str:
    """Write a whole file or none. Returns "written", "same" or, where another file is kept, "differs"."""
    if target.is_symlink() or (target.exists() and not target.is_file()):
        return "differs"
    if target.exists():
        if target.read_bytes() == data:
            return "same"
        if not force:
            return "differs"
    handle, name = tempfile.mkstemp(prefix=".sheet-", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o644)
        Path(name).replace(target)
    except OSError:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
    return "written"
