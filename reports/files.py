"""Names of files that leave the house: readable, and safe on every system."""

from __future__ import annotations

import re
import unicodedata

UNSAFE = re.compile(r"[^\w.+-]+")
LONGEST = 120


def plain_name(text: str, otherwise: str) -> str:
    """A text as a part of a file name; `otherwise` where nothing of it is left.

    Letters and digits of any script stay. Everything else becomes a hyphen, so that a name never leaves its folder
    nor begins with a point.
    """
    return UNSAFE.sub("-", unicodedata.normalize("NFC", text)).strip(".-_")[:LONGEST] or otherwise


def file_name(tag: str, letter: str, mark: str = "", ending: str = "pdf") -> str:
    """`<tag>_<revision letter>.pdf`; `mark` is added where two would have the same name.

    >>> file_name("PT-1101", "B"), file_name("../FT 7/8", "A"), file_name("..", "A")
    ('PT-1101_B.pdf', 'FT-7-8_A.pdf', 'loop_A.pdf')
    """
    parts = [plain_name(tag, "loop"), UNSAFE.sub("-", letter)] + ([mark] if mark else [])
    return f"{'_'.join(parts)}.{ending}"
