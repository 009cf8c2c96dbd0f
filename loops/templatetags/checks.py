"""What pages show of checks: `{% load checks %}`."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

from django import template
from django.utils.safestring import SafeString, mark_safe

from loops import check_names
from loops.topics import topic_said
from loops.views.check_rows import check_rows_html, margin_percent
from registry.views.cells import component

register = template.Library()


class Share(NamedTuple):
    """A margin as a bar tells it."""

    is_known: bool = False
    is_over: bool = False
    is_exact: bool = False
    left: int = 0
    """Whole percent that are left, or that are missing (is_over)."""
    used: int = 100
    """How far the value reaches where the limit stands at 100."""
    at_least: bool = False
    """The limit is the least that is needed."""
    is_drawn: bool = False


register.filter("checks_rows", check_rows_html)
register.filter("check_name", check_names.check_name)
register.filter("margin_percent", margin_percent)
register.filter("topic_said", topic_said)
register.filter("words_for", lambda typed, mark: typed.get(f"how-{mark}", ""))


@register.simple_tag
def share_of(margin: Any, relation: Any) -> Share:
    """What a bar shows of a margin, (limit - value) / limit, and the relation between value and limit.

    >>> share_of("-0.1046", "<=")
    Share(is_known=True, is_over=True, is_exact=False, left=10, used=110, at_least=False, is_drawn=True)
    >>> share_of(None, ">=")
    Share(is_known=False, is_over=False, is_exact=False, left=0, used=100, at_least=True, is_drawn=False)
    """
    at_least = relation in {">=", "≥"}
    try:
        share = Decimal(str(margin))
    except InvalidOperation:
        return Share(at_least=at_least)
    if not share.is_finite():
        return Share(at_least=at_least)
    left = round(100 * share)
    drawn = not relation or relation in {"<=", "≤"}
    return Share(True, share < 0, not share, abs(left), 100 - left, at_least, drawn)


@register.simple_tag
def shape(name: str, word: Any) -> SafeString:
    """A component of one word (a verdict, an icon), rendered once for each word and language."""
    return mark_safe(component(name, "" if word is None else str(word)))  # noqa: S308  a template, which escapes
