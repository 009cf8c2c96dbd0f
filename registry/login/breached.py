"""Passwords of known breaches, looked up in a file of the installation: none leaves it, and none is sent anywhere.

The file holds SHA-1 digests in capital hexadecimal in their order, one a line, each with a colon and a count or
without, as collections of breached passwords are given out. It may be larger than the memory: a look takes some forty
reads.
"""

from __future__ import annotations

import hashlib
import os
from typing import IO

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from registry.models import User

DIGEST_LETTERS = 40


class BreachedPasswordValidator:
    """Refuses a password whose digest is in the file `path`."""

    def __init__(self, path: str) -> None:
        self.path = path

    def validate(self, password: str, user: User | None = None) -> None:
        """Raises ValidationError; OSError where the file cannot be read: then no password is taken."""
        # The digest by which such collections are in order; it keeps nothing secret.
        mark = hashlib.sha1(password.encode(), usedforsecurity=False).hexdigest().upper().encode()
        with open(self.path, "rb") as file:
            if holds(file, mark):
                raise ValidationError(self.get_help_text(), code="password_breached")

    def get_help_text(self) -> str:
        return _("This password is known from a breach somewhere: choose another.")


def holds(file: IO[bytes], mark: bytes) -> bool:
    """Whether a file of lines in order has one that begins with a digest."""
    low, high = 0, file.seek(0, os.SEEK_END)
    while low < high:
        middle = (low + high) // 2
        begin = line_start(file, middle)
        file.seek(begin)
        line = file.readline()
        found = line[:DIGEST_LETTERS].upper()
        if found == mark:
            return True
        if found < mark:
            low = begin + len(line)
        else:
            high = begin
    return False


def line_start(file: IO[bytes], place: int) -> int:
    """Where the line begins that a place is in; none of these lines is longer than a hundred bytes."""
    before = max(0, place - 100)
    file.seek(before)
    return before + file.read(place - before).rfind(b"\n") + 1
