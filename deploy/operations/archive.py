"""The file that a backup is: a ZIP archive that any tool opens, in which everything has a SHA-256.

=========================== ===========================================================================================
``rows/TABLE.jsonl``        the rows of a table, see deploy/operations/rows.py
``files/NAME``              a file of the store, under the name that it has there
``manifest.json``           product, schema and counts
``SHA256SUMS``              of all others, as ``sha256sum --check`` reads them; always the last member
=========================== ===========================================================================================

Nothing of an archive is believed before it was checked: its members are the ones that it lists, their names lead
nowhere else, and their bytes are those that were written.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

FORMAT = "unlit-backup"
FORMAT_VERSION = 1
MANIFEST, SUMS = "manifest.json", "SHA256SUMS"
ROWS = re.compile(r"rows/([a-z][a-z0-9_]{0,62})\.jsonl")
FILE_NAME = re.compile(r"files/((?:[A-Za-z0-9_][A-Za-z0-9_.+-]{0,199}/){0,8}[A-Za-z0-9_][A-Za-z0-9_.+-]{0,199})")
SUM_LINE = re.compile(r"([0-9a-f]{64})  (\S+)")
LONGEST_LINE = 256_000_000
"""Bytes of one row: the largest holds the PDF of a sheet in base 64."""
LONGEST_MANIFEST = 64_000_000
PIECE = 1 << 20
DEFLATE_MOST = 1_100
"""What deflate packs into one byte at the very most (RFC 1951: 258 bytes by 2 bits)."""


class ArchiveRefused(Exception):
    """The archive cannot be used; the text says why, and what to do."""


def plain_json(value: Any) -> bytes:
    """A value as a line of JSON, always written the same way."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode("utf-8", "surrogatepass") + b"\n"


class ArchiveWriter:
    """Writes an archive beside its place and puts it there, whole, at the end."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.sums: dict[str, str] = {}
        descriptor, name = tempfile.mkstemp(prefix=f".{place.name}-", dir=place.parent)
        self.unfinished = Path(name)
        self.file = os.fdopen(descriptor, "w+b")
        self.archive = zipfile.ZipFile(self.file, "w", zipfile.ZIP_DEFLATED, compresslevel=6)

    @contextlib.contextmanager
    def member(self, name: str, *, packed: bool = True) -> Iterator[Callable[[bytes], None]]:
        """A member to be written in pieces."""
        mark = hashlib.sha256()
        entry = zipfile.ZipInfo(name, date_time=(2020, 1, 1, 0, 0, 0))
        entry.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        entry.external_attr = 0o600 << 16
        with self.archive.open(entry, "w", force_zip64=True) as member:

            def write(piece: bytes) -> None:
                mark.update(piece)
                member.write(piece)

            yield write
        self.sums[name] = mark.hexdigest()

    def finish(self, manifest: dict[str, Any]) -> str:
        """Write the manifest and the sums, and put the archive in its place; returns its SHA-256."""
        with self.member(MANIFEST) as write:
            write(json.dumps(manifest, ensure_ascii=False, indent=1).encode())
        sums = "".join(f"{mark}  {name}\n" for name, mark in sorted(self.sums.items()))
        with self.member(SUMS) as write:
            write(sums.encode())
        self.archive.close()
        self.file.flush()
        os.fsync(self.file.fileno())
        self.file.close()
        # A link does not replace what came there meanwhile.
        os.link(self.unfinished, self.place)
        self.unfinished.unlink()
        return sha256_of(self.place)

    def give_up(self) -> None:
        """Leave nothing behind."""
        with contextlib.suppress(Exception):
            self.archive.close()
        self.file.close()
        self.unfinished.unlink(missing_ok=True)


class Archive:
    """An archive to be read. Raises ArchiveRefused where it is none, or not whole."""

    def __init__(self, path: Path, expected: str = "") -> None:
        self.path = path
        try:
            self.file = open(path, "rb")  # noqa: SIM115
        except OSError as error:
            raise ArchiveRefused(f"{path} cannot be read: {error.strerror}.") from error
        try:
            if expected and sha256_of(path) != expected.lower():
                raise ArchiveRefused(f"{path} is not the file that was expected: its SHA-256 is another one.")
            self.archive = opened(self.file, path)
            self.entries = checked_entries(self.archive.infolist())
            self.sums = self._sums()
            self.manifest = self._manifest()
        except BaseException:
            self.file.close()
            raise

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self.archive.close()
        self.file.close()

    @property
    def tables(self) -> dict[str, str]:
        """Name of the member of each table."""
        return {found[1]: name for name in self.entries if (found := ROWS.fullmatch(name))}

    @property
    def files(self) -> dict[str, str]:
        """Name of the member of each file of the store."""
        return {found[1]: name for name in self.entries if (found := FILE_NAME.fullmatch(name))}

    @property
    def unpacked_bytes(self) -> int:
        return sum(entry.file_size for entry in self.entries.values())

    def check(self) -> None:
        """Read every member and compare it with its sum. Raises ArchiveRefused at the first that differs."""
        for name in self.entries:
            if name != SUMS:
                for _ in self.pieces(name):
                    pass

    def pieces(self, name: str) -> Iterator[bytes]:
        """The bytes of a member; at their end they are compared with its sum."""
        mark = hashlib.sha256()
        with self._opened(name) as member:
            while piece := self._read(name, lambda: member.read(PIECE)):
                mark.update(piece)
                yield piece
        self._compare(name, mark.hexdigest())

    def lines(self, name: str) -> Iterator[Any]:
        """The values in the lines of a member; at their end they are compared with its sum."""
        mark = hashlib.sha256()
        with self._opened(name) as member:
            number = 0
            while line := self._read(name, lambda: member.readline(LONGEST_LINE + 1)):
                number += 1
                mark.update(line)
                if len(line) > LONGEST_LINE or not line.endswith(b"\n"):
                    raise ArchiveRefused(f"Line {number} of {name} is too long, or cut off.")
                try:
                    value = json.loads(line.decode("utf-8", "surrogatepass"), parse_constant=no_constant)
                except (ValueError, RecursionError) as error:
                    raise ArchiveRefused(f"Line {number} of {name} is no JSON.") from error
                yield value
        self._compare(name, mark.hexdigest())

    def content(self, name: str, most: int) -> bytes:
        """All bytes of a small member, not compared with anything."""
        if self.entries[name].file_size > most:
            raise ArchiveRefused(f"{name} in the archive is too large.")
        with self._opened(name) as member:
            return self._read(name, member.read)

    def _opened(self, name: str) -> IO[bytes]:
        try:
            return self.archive.open(self.entries[name])
        except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError) as error:
            raise ArchiveRefused(damaged(name)) from error

    def _read(self, name: str, read: Callable[[], bytes]) -> bytes:
        try:
            return read()
        except (zipfile.BadZipFile, zlib.error, OSError, EOFError) as error:
            raise ArchiveRefused(damaged(name)) from error

    def _compare(self, name: str, mark: str) -> None:
        if self.sums[name] != mark:
            raise ArchiveRefused(damaged(name))

    def _sums(self) -> dict[str, str]:
        sums: dict[str, str] = {}
        for line in self.content(SUMS, LONGEST_MANIFEST).decode(errors="replace").splitlines():
            found = SUM_LINE.fullmatch(line)
            if not found or found[2] in sums:
                raise ArchiveRefused(damaged(SUMS))
            sums[found[2]] = found[1]
        if set(sums) != set(self.entries) - {SUMS}:
            raise ArchiveRefused("The archive does not hold what its sums tell of: take another copy of it.")
        return sums

    def _manifest(self) -> dict[str, Any]:
        content = self.content(MANIFEST, LONGEST_MANIFEST)
        self._compare(MANIFEST, hashlib.sha256(content).hexdigest())
        try:
            manifest = json.loads(content)
        except (ValueError, RecursionError) as error:
            raise ArchiveRefused(damaged(MANIFEST)) from error
        if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
            raise ArchiveRefused(f"{self.path} is no backup of Unlit.")
        if manifest.get("format_version") != FORMAT_VERSION:
            raise ArchiveRefused("This backup was made by a newer version: install that version, then restore.")
        return manifest


def opened(file: IO[bytes], path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(file)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, EOFError) as error:
        raise ArchiveRefused(f"{path} is no backup, or it is cut off: take another copy of it.") from error


def checked_entries(listed: list[zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    """The members by name. Raises ArchiveRefused for a name that is none of ours, twice there, or leads elsewhere."""
    entries: dict[str, zipfile.ZipInfo] = {}
    for entry in listed:
        name = entry.orig_filename
        if name not in (MANIFEST, SUMS) and not ROWS.fullmatch(name) and not FILE_NAME.fullmatch(name):
            raise ArchiveRefused(f"The archive holds a name that no backup has: {name[:120]!a}.")
        if name in entries:
            raise ArchiveRefused(f"The archive holds {name} twice.")
        if entry.flag_bits & 0x1 or entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise ArchiveRefused(f"{name} in the archive is encrypted, or packed as no backup is.")
        if entry.file_size > DEFLATE_MOST * (entry.compress_size + 64):
            raise ArchiveRefused(f"{name} in the archive claims to unpack to more than is possible.")
        entries[name] = entry
    if not {MANIFEST, SUMS} <= set(entries):
        raise ArchiveRefused("This is a ZIP archive, but no backup of Unlit.")
    return entries


def damaged(name: str) -> str:
    return f"{name} in the archive is damaged: its bytes are not those that were written. Take another copy of it."


def no_constant(name: str) -> Any:
    raise ValueError(name)


def sha256_of(path: Path) -> str:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
