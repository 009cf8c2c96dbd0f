"""Specific conditions of use of a certificate (suffix X), numbered as they are confirmed.

Source: IEC 60079-0:2017, clause 29 (suffix X: specific conditions of use), from memory.
"""

from __future__ import annotations

import re

_BULLET = re.compile(r"^(?:[-–•*]|\(?[0-9]{1,2}[.)]|\(?[a-z]\))\s+")


def numbered_conditions(text: str) -> list[tuple[int, str]]:
    """The conditions in a text that holds one a line, each with its number; a number typed before it is not kept.

    >>> numbered_conditions("1. Keep dry.\\n\\n2) Shield from impact.")
    [(1, 'Keep dry.'), (2, 'Shield from impact.')]
    """
    lines = (_BULLET.sub("", " ".join(line.split())) for line in text.splitlines())
    return list(enumerate((line for line in lines if line), start=1))
