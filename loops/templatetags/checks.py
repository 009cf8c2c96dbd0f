"""What pages show of checks: `{% load checks %}`."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.safestring import SafeString, mark_safe

from loops import check_names
from loops.topics import topic_said
from loops.views.check_rows import check_rows_html, margin_percent
from loops.views.margin_bars import margin_bar_html
from registry.views.cells import component

register = template.Library()


register.filter("checks_rows", check_rows_html)
register.filter("check_name", check_names.check_name)
register.filter("margin_percent", margin_percent)
register.filter("margin_bar", margin_bar_html)
register.filter("topic_said", topic_said)
register.filter("words_for", lambda typed, mark: typed.get(f"how-{mark}", ""))


@register.simple_tag
def shape(name: str, word: Any) -> SafeString:
    """A component of one word (a verdict, an icon), rendered once for each word and language."""
    return mark_safe(component(name, "" if word is None else str(word)))  # noqa: S308  a template, which escapes
