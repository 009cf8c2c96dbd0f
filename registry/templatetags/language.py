"""Filters for what is stored in English; every template has them."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.functional import Promise

from registry.showing import name_of
from registry.signs import with_signs
from registry.stored import measured
from registry.stored import said as said_of
from registry.stored import together as together_of

register = template.Library()


@register.filter
def said(text: Any) -> Any:
    """A stored sentence in the language of the page; what is no text stays."""
    return said_of(text) if isinstance(text, str) else text


@register.filter
def figure(text: Any) -> Any:
    """A stored quantity with the decimal mark of the language and the signs of its unit; what is no text stays.

    Not for what is put into a form.
    """
    return measured(text) if isinstance(text, str) else text


@register.filter
def signs(text: Any) -> Any:
    """A text of the program with the signs of the units in it; what is no text stays. Not for what a person wrote."""
    return with_signs(str(text)) if isinstance(text, str | Promise) else text


@register.filter
def together(text: Any) -> Any:
    """A text in which no quantity is broken over two lines; what is no text stays."""
    return together_of(text) if isinstance(text, str) else text


@register.filter
def named(record: Any) -> str:
    """A record by its name, in the language of the page where it has words of the program."""
    return name_of(record)
