"""How certificate numbers of a scheme look, written in a small language that whoever keeps the register can write.

``#`` stands for one digit, ``@`` for one letter, ``*`` for one letter or digit; ``+`` after a sign means once or more,
``?`` once or not at all; ``|`` separates forms of which one must fit. Everything else stands for itself. Spaces,
hyphens, capital and small letters do not count, nor does an ``X`` or ``U`` at the end, nor an issue named behind it.

The text is read once, character by character, with the set of all places in the form at which it may stand, so that
no form and no number, however hostile, takes longer than their lengths multiplied.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

LONGEST_FORM = 200
LONGEST_NUMBER = 120
EXAMPLE = "@+ ## ATEX #+"

_SIGNS: dict[str, Callable[[str], bool]] = {
    "#": lambda sign: sign in "0123456789",
    "@": str.isalpha,
    "*": lambda sign: sign.isalpha() or sign in "0123456789",
}
_PASSED_OVER = re.compile(r"[\s\-\u2010-\u2015\u2212]+")
_ISSUE = re.compile(r"[\s,;/(]*\b(?:issue|iss|rev|revision)\b[^|]{0,40}$", re.IGNORECASE)


class NumberFormError(ValueError):
    """The form cannot be read; the sentence says why and names a right example."""

    def __init__(self, problem: str) -> None:
        super().__init__(f"{problem}, for example {EXAMPLE}.")


@dataclass(frozen=True, slots=True)
class _Place:
    sign: str
    may_miss: bool
    repeats: bool

    def takes(self, character: str) -> bool:
        test = _SIGNS.get(self.sign)
        return test(character) if test else character == self.sign


def read_form(form: str) -> tuple[tuple[_Place, ...], ...]:
    """The forms in a text, each as its places in order.

    Raises :class:`NumberFormError`.
    """
    if len(form) > LONGEST_FORM:
        raise NumberFormError(f"Write the form in at most {LONGEST_FORM} characters")
    return tuple(_read_one(part) for part in form.split("|"))


def _read_one(part: str) -> tuple[_Place, ...]:
    places: list[_Place] = []
    ended = True
    for sign in _plain(part):
        if sign not in "+?":
            places.append(_Place(sign, may_miss=False, repeats=False))
            ended = False
        elif ended:
            raise NumberFormError(f"A {sign} follows the one sign that it belongs to")
        elif sign == "?":
            places[-1], ended = _Place(places[-1].sign, may_miss=True, repeats=False), True
        else:
            places.append(_Place(places[-1].sign, may_miss=True, repeats=True))
            ended = True
    if not places:
        raise NumberFormError("A form is empty")
    return tuple(places)


def fits(form: str, number: str) -> bool:
    """Whether a certificate number has one of the forms in a text.

    >>> fits("@+ ## ATEX #+", "EXA 21 ATEX 0101 X"), fits("@+ ## ATEX #+", "EXA21ATEX0101, issue 2")
    (True, True)
    >>> fits("@+ ## ATEX #+", "EXA 2021 ATEX 0101")
    False

    Raises :class:`NumberFormError` for a form that cannot be read.
    """
    forms = read_form(form)
    if len(number) > LONGEST_NUMBER:
        return False
    text = _plain(_ISSUE.sub("", number))
    texts = {text, text[:-1]} if text[-1:] in ("X", "U") else {text}
    return any(_fits(places, candidate) for places in forms for candidate in texts)


def _plain(text: str) -> str:
    return _PASSED_OVER.sub("", text).upper()


def _fits(places: tuple[_Place, ...], text: str) -> bool:
    reached = _onward(places, {0})
    for character in text:
        found = set()
        for index in reached:
            if index < len(places) and places[index].takes(character):
                found |= {index + 1, index} if places[index].repeats else {index + 1}
        reached = _onward(places, found)
    return len(places) in reached


def _onward(places: tuple[_Place, ...], reached: set[int]) -> set[int]:
    """The places reached, and those behind places that may miss."""
    found = set(reached)
    for index, place in enumerate(places):
        if index in found and place.may_miss:
            found.add(index + 1)
    return found
