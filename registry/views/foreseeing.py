"""The page between a form and its save: which loops a change would touch, and how. Nothing is saved by it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.models.base import Record
from registry.showing import name_of
from registry.uses import Effects
from registry.views.pages import KindPage

CONFIRMED = "_confirmed"
BACK = "_back"
JUDGE_ALL = "_judge_all"
NOT_CARRIED = frozenset({"csrfmiddlewaretoken", CONFIRMED, BACK, JUDGE_ALL})
ALL_ASKED = _("All of these loops are being judged. A notice tells you what would change; nothing is saved meanwhile.")
SHOWN = 200


def shown_effects(effects: Effects) -> dict[str, Any]:
    """What registry/effects_told.html shows of effects."""
    listed = [effect for effect in effects.touched if effect.changes_verdict or effect.changes_margin]
    changing = [effect for effect in listed if effect.changes_verdict]
    return {
        "effects": effects,
        "changing": len(changing),
        "worse": sum(effect.is_worse for effect in changing),
        "rows": listed[:SHOWN],
        "same": len(effects.touched) - len(listed),
        "not_shown": max(0, len(listed) - SHOWN),
        "not_judged": effects.count - effects.judged,
    }


def effects_page(
    request: HttpRequest, kind: KindPage, record: Record, effects: Effects, form_action: str = ""
) -> HttpResponse:
    """The loops that a change touches, with the form carried along unseen: to save it, or to go back to it.

    `form_action` is the address of the form, where it is not that of the record.
    """
    context: dict[str, Any] = {
        "kind": kind,
        "section": kind.section,
        "record": record,
        "all_asked": JUDGE_ALL in request.POST,
        "carried": [
            (name, value) for name, values in request.POST.lists() if name not in NOT_CARRIED for value in values[-1:]
        ],
        "form_action": form_action or kind.url(record, "edit"),
        "cancel_url": kind.url(record),
        "crumbs": [
            {"text": kind.title, "url": kind.list_url},
            {"text": name_of(record), "url": kind.url(record)},
            {"text": gettext("What the change does"), "url": ""},
        ],
    }
    return render(request, "registry/effects.html", context | shown_effects(effects))
