"""What a remark or a line of an inspection is about: stored in English, said in the language of who reads it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from django.utils.translation import get_language

from loops.check_names import CHECK_NAMES
from loops.models import Member
from registry.language import in_fixed_language
from registry.stored import said
from registry.words import lazily as _

PARTS = {"Cable": _("Cable"), "Loop": _("Loop"), "Terminator": _("Terminator")}


def check_subject(check: Mapping[str, Any]) -> str:
    """A check in stored words: "Capacitance, S1 → D1"."""
    name = stored_name(str(check["id"]))
    return f"{name}, {check['subject']}" if check["subject"] else name


def stored_name(check: str) -> str:
    """A check as topics name it.

    >>> stored_name("cable_type")
    'Cable type'
    """
    return check.replace("_", " ").capitalize()


@cache
def known() -> dict[str, Any]:
    """Stored words of topics, each with what it is in the language that holds when it is asked for."""
    with in_fixed_language():
        roles = {str(label): label for _role, label in Member.Role.choices}
    return {stored_name(word): name for word, name in CHECK_NAMES.items()} | roles | PARTS


@cache
def pattern() -> re.Pattern[str]:
    words = "|".join(sorted(map(re.escape, known()), key=len, reverse=True))
    return re.compile(rf"(?P<before>(?:.*: )?)(?P<word>{words})(?P<mark>, | |$)(?P<rest>.*)", re.DOTALL)


def topic_said(topic: str) -> str:
    """A stored topic in the language that holds; one that names nothing known stays as it is."""
    found = None if (get_language() or "en").startswith("en") else pattern().fullmatch(topic)
    if not found:
        return topic
    rest = said(found["rest"]) if found["mark"] == ", " else found["rest"]
    return f"{found['before']}{known()[found['word']]}{found['mark']}{rest}"
