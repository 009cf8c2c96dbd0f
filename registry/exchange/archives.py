"""Opening archives that come from outside: what they would unpack to is known before anything is unpacked."""

from __future__ import annotations

import io
import re
import zipfile
import zlib

MAX_MEMBERS = 2_000
MAX_TOTAL = 120_000_000
MAX_MEMBER = 60_000_000
MAX_RATIO = 250
SMALL = 1_000_000
"""Below this size the ratio says nothing."""


class ArchiveError(ValueError):
    """The archive is not opened; `str(error)` is one sentence with the cure."""


def opened(content: bytes, what: str) -> zipfile.ZipFile:
    """The archive of a file that calls itself `what` ("AASX file", "XLSX file"). Raises ArchiveError.

    Refused are archives with too many or too large members, with members that unpack to very much more than they hold,
    with names that lead elsewhere, and with a password.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        members = archive.infolist()
    except (zipfile.BadZipFile, ValueError, OverflowError, NotImplementedError, zlib.error) as error:
        raise ArchiveError(f"This {what} is broken: save or export it again.") from error
    if len(members) > MAX_MEMBERS or sum(member.file_size for member in members) > MAX_TOTAL:
        raise ArchiveError(f"This {what} unpacks to more than is read here: divide it.")
    for member in members:
        packed = max(member.compress_size, 1)
        if member.file_size > MAX_MEMBER or (member.file_size > SMALL and member.file_size / packed > MAX_RATIO):
            raise ArchiveError(f"This {what} unpacks to very much more than it holds: it is not opened.")
        if member.flag_bits & 1:
            raise ArchiveError(f"This {what} is protected by a password: save it without one.")
        if re.search(r"(^|[/\\])\.\.([/\\]|$)|^[/\\]|^[A-Za-z]:|\0", member.filename):
            raise ArchiveError(f"This {what} holds a name that leads out of it: it is not opened.")
    return archive


def member(archive: zipfile.ZipFile, name: str, what: str) -> bytes:
    """One member, at most as large as it says. Raises ArchiveError."""
    try:
        with archive.open(name) as stream:
            content = stream.read(MAX_MEMBER + 1)
    except (KeyError, zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError, EOFError, zlib.error) as error:
        raise ArchiveError(f"This {what} is broken: save or export it again.") from error
    if len(content) > MAX_MEMBER:
        raise ArchiveError(f"This {what} unpacks to very much more than it holds: it is not opened.")
    return content
