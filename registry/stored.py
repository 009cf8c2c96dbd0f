"""Sentences that are stored, and said in the language of who reads them.

What is stored (verdicts, the change log, notices) is English always: its digest does not depend on who made it. Here is
the way back: a stored text is laid beside the sentences that the program can have stored, and the one that fits is said
in the language that holds, with the operands of the stored one. A text that nothing fits stays as it is: what a person
typed, and what is not translated.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache, lru_cache
from typing import NamedTuple

from django.utils.formats import get_format
from django.utils.translation import get_language, pgettext

from registry.signs import with_signs

CONTEXT = "stored"
OPERAND = re.compile(r"\{(\w+)(:q)?\}")
QUANTITY = r"[+-]?\d+(?:\.\d+)?(?:E[+-]?\d+)? [A-Za-z][A-Za-z0-9/]*(?![A-Za-z0-9/])"
TEXT = r"(?:(?!\. [A-Z0-9]).)*?"
"""Any text, but no two sentences."""
POINT = re.compile(r"(?<=\d)\.(?=\d)")
POINT_OF_QUANTITY = re.compile(
    r"(?<=\d)\.(?=\d+ (?:[kMmunp\u00b5]?(?:V|A|W|F|H|s|m|ohm|\u03a9)\b|degC|\u00b0C|mm2|K/W|%))"
)
BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:[kMmunp\u00b5]?(?:V|A|W|F|H|s|m|ohm|\u03a9)\b|degC|\u00b0C|mm2|K/W|ft\b|%|[XU]$))"
)
NO_BREAK = "\N{NO-BREAK SPACE}"
TAG = re.compile(r"[\w./+-]*\d[\w./+-]*")
LONGEST = 4000
"""A longer text is no sentence of the program, and is not laid beside any."""


class Sentence(NamedTuple):
    """One sentence with its operands: `{0}` is any text, `{0:q}` a quantity."""

    text: str
    pattern: str
    anchor: str
    """Its longest piece without operands, looked for first because that is quick."""
    literal: int
    """How many characters of it are no operand: of two that fit, the one that says more is meant."""


SENTENCES: dict[str, Sentence] = {}
READERS: dict[str, Callable[[str], str | None]] = {}
"""What says a stored text that is made of more than fixed words with operands, by a mark that is in each of them; gives
None where the text is something else. Other packages add theirs when they are loaded."""


def kept(context: str, text: str) -> str:
    """Tell of a sentence that is stored. Modules import it as `pgettext`, the name that the gathering of messages
    looks for, hence the context."""
    assert context == CONTEXT
    pieces = OPERAND.split(text)
    pattern, literals, seen = "", pieces[::3], set()
    for literal, name, quantity in zip(literals, [*pieces[1::3], None], [*pieces[2::3], None], strict=True):
        pattern += re.escape(literal)
        if name is None:
            continue
        held = QUANTITY if quantity else TEXT
        pattern += f"(?P=o{name})" if name in seen else f"(?P<o{name}>{held})"
        seen.add(name)
    SENTENCES[text] = Sentence(text, pattern, max(literals, key=len), sum(len(literal) for literal in literals))
    return text


def said(text: str) -> str:
    """A stored text in the language that holds: sentence for sentence, numbers in its form.

    >>> said("Nothing like this is stored.")
    'Nothing like this is stored.'
    """
    language = get_language() or "en"
    if not text or language.startswith("en") or len(text) > LONGEST:
        return text
    return _said(language, str(text))


def figure(text: str) -> str:
    """A stored quantity or number with the decimal mark of the language: "1.5 mH", in German "1,5 mH"."""
    mark = get_format("DECIMAL_SEPARATOR")
    return text if mark == "." else POINT.sub(mark, str(text))


def figures(text: str) -> str:
    """The same for every quantity in a text, and for nothing else: "T4, Pi 0.5 W"."""
    mark = get_format("DECIMAL_SEPARATOR")
    return text if mark == "." else POINT_OF_QUANTITY.sub(mark, str(text))


def measured(text: str) -> str:
    """A stored quantity as pages show it: with the decimal mark of the language, and with the signs of its unit."""
    return with_signs(figure(text))


def together(text: str) -> str:
    """A text that breaks over two lines within no quantity, and not before the X or U of a certificate at its end."""
    return BEFORE_UNIT.sub(NO_BREAK, text)


@lru_cache(maxsize=8192)
def _said(language: str, text: str) -> str:
    """`language` is that which holds; it is named because what is remembered differs by it."""
    whole = _sentence(text)
    if whole is not None:
        return whole
    for end in reversed([match.end() for match in re.finditer(r"[.;:]? ", text)]):
        head = _sentence(text[:end].rstrip(" "))
        if head is not None:
            return f"{head} {_said(language, text[end:])}"
    first = re.match(r".+?\. (?=\S)", text, re.DOTALL)
    return first[0] + _said(language, text[first.end() :]) if first else text


@cache
def compiled(pattern: str) -> re.Pattern[str]:
    """The pattern of one sentence, made when it is first looked for: where all read English, none is."""
    return re.compile(pattern, re.DOTALL)


def _sentence(text: str) -> str | None:
    """The text as one sentence, or None where none fits."""
    fitting = [
        (sentence.literal, sentence, match)
        for sentence in SENTENCES.values()
        if sentence.anchor in text and (match := compiled(sentence.pattern).fullmatch(text))
    ]
    if not fitting:
        return _read(text)
    _, best, match = max(fitting, key=lambda found: found[0])
    translated = pgettext(CONTEXT, best.text)
    return OPERAND.sub(lambda operand: _operand(match[f"o{operand[1]}"], bool(operand[2])), translated)


def _read(text: str) -> str | None:
    """The text as one of the readers says it, or None."""
    found = (read(text) for mark, read in READERS.items() if mark in text)
    return next((said for said in found if said is not None), None)


def _operand(text: str, is_quantity: bool) -> str:
    """An operand: a quantity, words of the program, a list of such, or a name, which stays."""
    if is_quantity or re.fullmatch(QUANTITY, text):
        return figure(text)
    if (found := _read(text)) is not None:
        return found
    for mark in (" and ", "; ", ", "):
        parts = text.split(mark)
        each = [_sentence(part) or (part if TAG.fullmatch(part) else None) for part in parts]
        if len(parts) > 1 and all(part is not None for part in each):
            joint = pgettext(CONTEXT, mark) if mark in SENTENCES else mark
            return joint.join(part for part in each if part is not None)
    return _sentence(text) or text
