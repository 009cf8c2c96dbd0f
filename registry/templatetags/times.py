"""Moments and days on pages."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import template
from django.utils.formats import date_format
from django.utils.html import format_html

register = template.Library()


@register.filter(expects_localtime=True)
def when(at: Any) -> Any:
    """A moment or a day in the reader's form and the time zone of the page, for machines as ISO 8601; text as it is."""
    if not isinstance(at, dt.date):
        return at
    words = date_format(at, "DATE_FORMAT")
    if isinstance(at, dt.datetime):
        words = f"{words}, {date_format(at, 'TIME_FORMAT')}"
    return format_html('<time datetime="{}">{}</time>', at.isoformat(), words)
