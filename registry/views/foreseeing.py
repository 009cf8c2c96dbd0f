"""The page between a form and its save: which loops a change would touch, and how. Nothing is saved by it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.models.base import Record
from registry.uses import Effect, Effects
from registry.views.pages import KindPage

CONFIRMED = "_confirmed"
BACK = "_back"
NOT_CARRIED = frozenset({"csrfmiddlewaretoken", CONFIRMED, BACK})
SHOWN = 200


def effects_page(request: HttpRequest, kind: KindPage, record: Record, effects: Effects) -> HttpResponse:
    """The loops that a change touches, with the form carried along unseen: to save it, or to go back to it."""
    listed = [effect for effect in effects.touched if effect.changes_verdict or effect.changes_margin]
    changing = [effect for effect in effects.touched if effect.changes_verdict]
    context: dict[str, Any] = {
        "kind": kind,
        "section": kind.section,
        "record": record,
        "effects": effects,
        "changing": len(changing),
        "worse": sum(is_worse(effect) for effect in changing),
        "rows": listed[:SHOWN],
        "same": len(effects.touched) - len(listed),
        "not_shown": max(0, len(listed) - SHOWN),
        "not_judged": effects.count - effects.judged,
        "carried": [
            (name, value) for name, values in request.POST.lists() if name not in NOT_CARRIED for value in values[-1:]
        ],
        "form_action": kind.url(record, "edit"),
        "cancel_url": kind.url(record),
        "crumbs": [
            {"text": kind.title, "url": kind.list_url},
            {"text": record.label(), "url": kind.url(record)},
            {"text": "What the change does", "url": ""},
        ],
    }
    return render(request, "registry/effects.html", context)


def is_worse(effect: Effect) -> bool:
    """Whether a loop that complied does so no more, in safety or in function."""
    lost_safety = effect.before == "complies" != effect.after
    return lost_safety or (effect.function_before == "pass" != effect.function_after)
