"""What stands beside a value and may change it: a footnote, a thousands point, words about other equipment.

A value in doubt is shown with the reason and is not taken over by itself. The words are those of certificates in
English, German and French (common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

CONNECTED = re.compile(
    r"(?i)\bconnect(?:ed|ion|s|ing)? (?:\w+ )?(?:to|with|from)\b|"
    r"\b(?:source|supply|supplied|fed|powered|barriers?|isolators?|apparatus) (?:with|from|by|having|whose)\b|"
    r"\banschlu(?:ss|ß) an\b|\b(?:versorgt|gespeist) (?:von|aus|durch)\b|"
    r"\b(?:raccord\w*|connexion|alimenté\w*) (?:à|par|avec)\b"
)
EARLIER = re.compile(
    r"(?i)\b(?:old|former(?:ly)?|previous(?:ly)?|earlier|superseded|replaced|deleted|bisher\w*|frühere\w*|vorher\w*|"
    r"anciens?|anciennes?|précéden\w*)\b"
)
APART = re.compile(r"(?i)\b(?:without|excluding|excl\.?|plus|ohne|zuzüglich|zzgl\.?|hors|sans)\b")
FOOTNOTE = re.compile(r"[A-Za-zΩµ] ?(?:[*†‡§¹²³⁴⁵]|\(?[1-9]\)(?= *(?:[,;.]|$)))")
THOUSANDS = re.compile(r"[1-9][0-9]{0,2}\.[0-9]{3} ")
DEMANDS = frozenset({"uo_v", "io_a", "po_w"})
INTERNAL = frozenset({"ci_f", "li_h"})


def doubts(line: str, column: str, text: str) -> Iterator[str]:
    """Why a value that was read from a plain line may be none, or another.

    >>> list(doubts("Connect only to a barrier with Uo = 28 V", "uo_v", "28 V"))
    ['The line speaks of what is connected: this may be a demand on that.']
    """
    if column in DEMANDS and CONNECTED.search(line):
        yield "The line speaks of what is connected: this may be a demand on that."
    if EARLIER.search(line):
        yield "The line speaks of an earlier value."
    if column in INTERNAL and APART.search(line):
        yield "The line speaks of something that is not in this value."
    if FOOTNOTE.search(line):
        yield "A footnote stands here: it may change the value."
    if THOUSANDS.match(text):
        yield f"The point in “{text.partition(' ')[0]}” may part thousands."
