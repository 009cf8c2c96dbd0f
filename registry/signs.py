"""The signs of units: what a keyboard gives is read, kept and compared; pages and print show °C, Ω and µ.

They are set where a text is shown, never in what goes into a form, a file or an answer to a program.
"""

from __future__ import annotations

import re

_SIGNS = (
    ("ohm", "Ω"),
    ("degC", "°C"),
    ("mm2", "mm²"),
)
MICRO = "µ"


def plain_signs(text: str) -> str:
    """A quantity's text with the signs of its unit spelled in ASCII."""
    for ascii_text, sign in _SIGNS:
        text = text.replace(sign, ascii_text)
    return text.replace(MICRO, "u")


_UNIT = re.compile(r"(?<=\d[ \u00a0])(?:[kMmunp]?(?:ohm|[AFHVWms])|degC)(?:/(?:km|m|ohm))?(?![\w/])")


def with_signs(text: str) -> str:
    """A text in which the unit of each quantity has its signs, as print has them. An area stays as it is: cables have
    it in their names.

    >>> with_signs("59 uH/ohm at -20 degC to 60 degC, 7.8 us, 4 mm2; ohm alone stays")
    '59 µH/Ω at -20 °C to 60 °C, 7.8 µs, 4 mm2; ohm alone stays'
    """
    # Most texts have none of these, and to look for them takes a tenth of what the pattern does.
    if "ohm" not in text and "degC" not in text and " u" not in text and "\u00a0u" not in text:
        return text
    return _UNIT.sub(lambda unit: signed(unit[0]), text)


def signed(unit: str) -> str:
    """The text of a unit with its signs."""
    for ascii_text, sign in _SIGNS:
        unit = unit.replace(ascii_text, sign)
    return f"{MICRO}{unit[1:]}" if unit.startswith("u") else unit
