"""Print has signs that no keyboard gives."""

from __future__ import annotations


def as_typed(text: str) -> str:
    """The text of a page on paper with its units as people type them and as they are stored."""
    for sign, typed in (("Ω", "ohm"), ("°C", "degC"), ("µ", "u")):
        text = text.replace(sign, typed)
    return text
