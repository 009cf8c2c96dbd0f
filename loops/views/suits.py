"""Does it suit? From a tag to an item, from an item to the candidates, the best first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe
from rest_framework.request import Request

from loops import selectors
from loops.models import Loop, Member
from loops.services.suitability.answers import Word
from loops.services.suitability.plain import way_of
from loops.services.suitability.positions import Plant, Position
from loops.services.suitability.proposals import source_parts
from loops.services.suitability.purpose import same_use
from loops.services.suitability.ranking import Ranked, best_of_each, candidates_for, ranked, with_cures
from loops.services.suitability.screen import Code
from loops.services.suitability.spots import Part
from loops.services.verification import judge_by, summary
from loops.views.requests import person
from registry.querysets import search_text

FOUND = 40
"""So many loops are named when a tag is looked for."""
PARTS = re.compile(r"[^\W\d_]+|\d+")
"""The runs of letters and of digits of a tag: what is left of it without its marks."""
MOST_PARTS = 6
SHOWN = 30
"""So many candidates of a kind are shown before one narrows them by a word."""
MOST_SOURCES = 60
"""So many other sources are tried for a device that does not suit."""


def suits_crumbs(*more: tuple[str, str]) -> list[dict[str, str]]:
    """The way to a page of this room."""
    return [{"text": _("Does it suit?"), "url": reverse("suits")}, *({"text": text, "url": url} for text, url in more)]


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """A box for a tag; the loop or item that has it is opened at once."""
    text = search_text(request.GET.get("q", ""))
    loops = selectors.visible_loops(person(request)).filter(archived_at=None)
    if text:
        exact = list(loops.filter(tag__iexact=text)[:2])
        if len(exact) == 1:
            return redirect("suits_loop", pk=exact[0].pk)
        members = list(
            Member.objects.filter(circuit__loop__in=loops, tag__iexact=text).values_list("circuit__loop", "pk")
        )
        if not exact and len({row[0] for row in members}) == 1:
            return redirect("suits_item", pk=members[0][0], member_pk=members[0][1])
    found = holding(loops, [text])
    if text and not found.exists():
        # On a phone a tag is typed without its marks: pt1101 is PT-1101.
        found = holding(loops, PARTS.findall(text)[:MOST_PARTS])
    alike = [loop for loop in found[:FOUND] if PARTS.findall(loop.tag.casefold()) == PARTS.findall(text.casefold())]
    if len(alike) == 1:
        return redirect("suits_loop", pk=alike[0].pk)
    context = {
        "section": "suits",
        "query": text,
        "found": list(found[:FOUND]),
        "more": max(0, found.count() - FOUND) if text else 0,
    }
    return render(request, "loops/suits/find.html", context)


def holding(loops: QuerySet[Loop], texts: Sequence[str]) -> QuerySet[Loop]:
    """The loops that hold each of some texts, with what a list shows of them; none for no text."""
    if not any(texts):
        return loops.none()
    for text in texts:
        loops = selectors.containing(loops, text)
    return selectors.with_heads(loops).order_by("tag", "site__code")


def plant_of(request: HttpRequest | Request, pk: int) -> Plant:
    """One loop that the person may see, with all that it rests on; 404 where there is none, or it was never judged."""
    loops = selectors.visible_loops(person(request)).filter(pk=pk)
    get_object_or_404(loops)
    plant = Plant.of(loops)
    if not plant.loops:
        raise Http404
    return plant


def position_of(request: HttpRequest | Request, pk: int, member_pk: int) -> tuple[Plant, Position]:
    """An item of a loop by the key of one of its rows; 404 where it stands there no longer."""
    plant = plant_of(request, pk)
    for position in plant.positions(plant.loops[0]):
        if any(place.member == member_pk for place in position.places):
            return plant, position
    raise Http404


@require_safe
def items(request: HttpRequest, pk: int) -> HttpResponse:
    """The items of a loop, to be tapped."""
    plant = plant_of(request, pk)
    loop = plant.loops[0]
    context = {
        "section": "suits",
        "crumbs": suits_crumbs((loop.tag, "")),
        "loop": loop,
        "state": "archived" if loop.is_archived else loop.state,
        "items": [shown_position(position) for position in plant.positions(loop)],
    }
    return render(request, "loops/suits/items.html", context)


ROLES = dict(Member.Role.choices)


def shown_position(position: Position) -> dict[str, Any]:
    """An item of a loop as pages name it."""
    roles = list(dict.fromkeys(ROLES[place.role] for place in position.places))
    return {
        "tag": position.tag,
        "name": position.standing.name,
        "terminals": position.standing.terminals_name,
        "function": position.standing.item["function"],
        "roles": ", ".join(map(str, roles)).lower(),
        "member": position.member,
        "url": reverse("suits_item", args=[position.loop.pk, position.member]),
        "equipment_url": reverse("equipment", args=[position.standing.key]),
    }


@require_safe
def candidates(request: HttpRequest, pk: int, member_pk: int) -> HttpResponse:
    """The candidates for an item, the best first, and what would make the nearest of the others suit."""
    plant, position = position_of(request, pk, member_pk)
    loop = position.loop
    found = ranked(plant, position, candidates_for(plant, position))
    text = search_text(request.GET.get("q", ""))
    best = [(item, more) for item, more in best_of_each(found) if holds(item, text)]
    near = {id(old): new for old, new in zip(*near_misses(plant, position, found), strict=True)}
    rows = [shown_candidate(near.get(id(item), item), more, position) for item, more in best]
    groups = grouped(rows)
    now = judged_now(plant, position)
    context = {
        "section": "suits",
        "crumbs": suits_crumbs((loop.tag, reverse("suits_loop", args=[loop.pk])), (position.tag, "")),
        "loop": loop,
        "item": shown_position(position),
        "now": now,
        "stale": now["verdict"] != (loop.verification.verdict if loop.verification else ""),
        "text": text,
        "groups": groups,
        "count": len(best),
        "typed_url": reverse("suits_typed", args=[loop.pk, position.member]),
    }
    return render(request, "loops/suits/candidates.html", context)


def judged_now(plant: Plant, position: Position) -> dict[str, Any]:
    """The head of the loop's verdict with the present item and the register as it stands."""
    return summary(judge_by(plant.documents(position), plant.tables[position.loop.site_id]))


def holds(item: Ranked, text: str) -> bool:
    """Whether a candidate has every word of a text in its name, description or function."""
    words = " ".join(
        [item.candidate.name, item.candidate.item["description"], item.candidate.item["function"]]
    ).casefold()
    return all(word in words for word in text.casefold().split())


def near_misses(plant: Plant, position: Position, found: list[Ranked]) -> tuple[list[Ranked], list[Ranked]]:
    """The candidates that were looked at for what would make them suit, before and after."""
    cured = with_cures(plant, position, found, lambda: other_sources(plant))
    by_way = {(item.candidate.key, item.candidate.terminals): item for item in cured}
    old = [item for item in found if (item.candidate.key, item.candidate.terminals) in by_way]
    return old, [by_way[item.candidate.key, item.candidate.terminals] for item in old]


def other_sources(plant: Plant) -> list[Part]:
    """The sources of the register as engine input, each under its name."""
    first = islice(source_parts(plant.contents), MOST_SOURCES)
    return [replace(part, name=f"{one.name}, {one.terminals_name}") for one, part in first]


def shown_candidate(item: Ranked, more: int, position: Position) -> dict[str, Any]:
    """A candidate as the list shows it."""
    one = item.candidate
    return {
        "word": item.word.value,
        "name": one.name,
        "terminals": one.terminals_name,
        "description": one.item["description"],
        "function": one.item["function"],
        "more": more,
        "margin": item.margin,
        "headroom": item.headroom,
        "conditions": item.conditions,
        "family": item.family,
        "doubt": item.doubt,
        "unlike": item.unlike,
        "other_use": not same_use(position.standing, one),
        "cure": item.cure,
        "reason": reason_of(item),
        "url": reverse("suits_check", args=[position.loop.pk, position.member, way_of(one)]),
    }


SCREENED = {
    Code.PLACE: gettext_lazy("level, group, class, certificate or ambient"),
    Code.VOLTAGE: gettext_lazy("voltage"),
    Code.CURRENT: gettext_lazy("current"),
    Code.POWER: gettext_lazy("power"),
    Code.STORAGE: gettext_lazy("capacitance or inductance"),
    Code.EARTHING: gettext_lazy("earthing"),
    Code.CABLE: gettext_lazy("cable type"),
}


def reason_of(item: Ranked) -> str:
    """In few words why a candidate is not in the first group; all of it is told where it is looked at."""
    if item.rejected:
        return _("Fails: %s.") % SCREENED[item.rejected]
    if item.word is Word.SUITS:
        return ""
    if item.verdict.value != "complies":
        words = {
            "does_not_comply": _("The loop would not comply."),
            "incomplete": _("A value is missing."),
            "beyond_simple_rules": _("Beyond simple rules."),
        }
        return words[item.verdict.value]
    if item.function is not None and item.function.value == "fail":
        return _("It would not work.")
    if item.function is not None and item.function.value != "pass" and not item.unlike:
        return _("Whether it will work cannot be said.")
    return item.unlike[0] if item.unlike else ""


def grouped(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The candidates by what a person asks next: which suit, which nearly do, of which it cannot be said, which not."""
    near = [row for row in rows if row["cure"]]
    rest = [row for row in rows if not row["cure"]]
    groups = [
        (_("Suits"), [row for row in rest if row["word"] == Word.SUITS], True, ""),
        (_("Nearly suits: one thing is in the way"), near, True, ""),
        (
            _("Cannot say"),
            [row for row in rest if row["word"] == Word.CANNOT_SAY and not row["other_use"]],
            True,
            _("A value is not known, the rules do not reach, or the signal differs."),
        ),
        (
            _("Made for another function"),
            [row for row in rest if row["word"] != Word.SUITS and row["other_use"]],
            False,
            _("The register does not say that they do what this item does."),
        ),
        (
            _("Does not suit"),
            [row for row in rest if row["word"] == Word.DOES_NOT and not row["other_use"]],
            False,
            "",
        ),
    ]
    return [
        {
            "title": title,
            "rows": found[:SHOWN],
            "count": len(found),
            "more": max(0, len(found) - SHOWN),
            "open": is_open,
            "hint": hint,
        }
        for title, found, is_open, hint in groups
        if found or title == _("Suits")
    ]
