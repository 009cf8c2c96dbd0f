"""The standards that a certificate names, each with its edition, out of one line of text.

Editions are what makes a certificate old: IEC 60079-11:2011 and :2023 ask for different things. They are written as a
year behind a colon or dash, as a number of the edition, or with amendments (common practice, no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_PARTS = re.compile(r"[,;\n]|\band\b|(?<=\d) ?& ?")
_EDITION_ALONE = re.compile(
    r"\(?(?:[0-9]{1,2}(?:st|nd|rd|th) )?ed(?:ition)?\.? ?[0-9.]*\)?(?: ?\(?[12][0-9]{3}\)?)?", re.IGNORECASE
)
_YEAR = re.compile(
    r"(?P<name>.*?[0-9A-Z])(?: ?: ?|[-\u2013 ](?=[12][09][0-9]{2}\b))(?P<edition>(?:[12][09])?[0-9]{2}(?![0-9]).*)"
)
_NUMBERED = re.compile(
    r"(?P<name>.+?),? \(?(?P<edition>(?:[0-9]{1,2}(?:st|nd|rd|th) )?ed(?:ition)?\.? ?[0-9.]*\)?.*)", re.IGNORECASE
)
_PART_ALONE = re.compile(r"-[0-9]{1,2}(?![0-9])")


@dataclass(frozen=True, slots=True)
class Standard:
    """One standard; `edition` is empty where the text names none."""

    name: str
    edition: str

    def __str__(self) -> str:
        by_year = re.match("[0-9]{2}(?![a-z])", self.edition)
        return f"{self.name}:{self.edition}" if by_year else f"{self.name} {self.edition}".strip()


def read_standards(text: str) -> list[Standard]:
    """The standards in a text, in their order. A part that stands alone (``-11:2012``) is one of the standard before.

    >>> [str(item) for item in read_standards("EN IEC 60079-0:2018, -11:2012; UL 913, 8th Ed.")]
    ['EN IEC 60079-0:2018', 'EN IEC 60079-11:2012', 'UL 913 8th Ed.']
    """
    found: list[Standard] = []
    for part in _PARTS.split(text):
        plain = " ".join(part.split()).strip(" .")
        if not plain:
            continue
        if found and not found[-1].edition and _EDITION_ALONE.fullmatch(plain):
            found[-1] = Standard(found[-1].name, part.strip())
            continue
        if found and _PART_ALONE.match(plain):
            plain = re.sub(r"-[0-9]{1,2}$", "", found[-1].name) + plain
        found.append(_one(plain))
    return found


def _one(text: str) -> Standard:
    match = _YEAR.fullmatch(text) or _NUMBERED.fullmatch(text)
    return Standard(match["name"].strip(), match["edition"].strip()) if match else Standard(text, "")
