"""What a change would do to very many loops, judged by the worker and told to the inbox. Nothing is saved by it.

A page judges some hundred loops while somebody waits; where a change touches more, the person may have all of them
judged, and goes on meanwhile.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.models import Notice, NoticeKind, Origin, User
from registry.services import notices
from registry.services.imports import TableError, import_file
from registry.services.proposals import effects_of
from registry.services.records import Author, EntryRefused, StaleRecord
from registry.uses import Effects

EVERY = 1_000_000
"""More loops than a site has."""

NAMED = 10
"""So many loops that would have a worse verdict are named in the one line of an inbox."""


def foretell_change(
    person: User, kind: str, data: Mapping[str, Any], *, record_id: int, opened_version: int, name: str
) -> list[Notice]:
    """Tell what saving a text as a record would do to all loops that rest on it."""
    try:
        effects = effects_of(kind, data, Author(person), record_id=record_id, opened_version=opened_version, most=EVERY)
        sentence = in_words(effects)
    except (EntryRefused, StaleRecord, PermissionDenied) as error:
        sentence = str(error)
    return told(person, name, sentence, reverse(kind, args=[record_id]))


def foretell_table(person: User, content: bytes, kind: str, name: str) -> list[Notice]:
    """Tell what saving a table would do to all loops that rest on what it changes."""
    try:
        report = import_file(content, Author(person, Origin.IMPORT), kind=kind, most=EVERY)
        sentence = report.sentence() if report.faults else in_words(report.effects or Effects(0, 0, (), 0))
    except (TableError, PermissionDenied) as error:
        sentence = str(error)
    return told(person, name, sentence, reverse("import"))


def told(person: User, name: str, sentence: str, link: str) -> list[Notice]:
    subject = _("%(name)s, not saved: %(sentence)s") % {"name": name[:60], "sentence": sentence}
    return notices.send([notices.tell(person, NoticeKind.FORESEEN, subject, link)])


def in_words(effects: Effects) -> str:
    """How many loops were judged, how many would have another verdict, and which a worse one."""
    changing = [effect for effect in effects.touched if effect.changes_verdict]
    worse = [effect.tag for effect in changing if effect.is_worse]
    judged = ngettext("%(count)s loop was judged", "%(count)s loops were judged", effects.judged)
    parts = [
        judged % {"count": effects.judged},
        _("%(count)s would have another verdict") % {"count": len(changing)},
        _("%(count)s a worse one") % {"count": len(worse)},
    ]
    if worse:
        more = f" … +{len(worse) - NAMED}" if len(worse) > NAMED else ""
        parts[-1] += f" ({', '.join(worse[:NAMED])}{more})"
    if effects.elsewhere:
        parts.append(_("%(count)s that it touches are at sites of others") % {"count": effects.elsewhere})
    return f"{', '.join(parts)}."
