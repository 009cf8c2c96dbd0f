"""What pages show of checks: `{% load checks %}`."""

from __future__ import annotations

from django import template

from loops.check_names import CHECK_NAMES

register = template.Library()


@register.filter
def check_name(word: str) -> str:
    """The name of a check; a word that is none as it stands. A percentage does not break over two lines."""
    return CHECK_NAMES.get(word, word).replace(" %", "\N{NO-BREAK SPACE}%")
