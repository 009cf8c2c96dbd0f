"""One candidate in one place: the word, the reasons, every check old against new, and the way to the engineer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from loops.models import LoopState, Member
from loops.services.refusals import WorkflowRefused
from loops.services.suitability.answers import Answer, Row, answer
from loops.services.suitability.drafts import send_to_engineer
from loops.services.suitability.papers import documents_to_change
from loops.services.suitability.plain import way_of
from loops.services.suitability.positions import (
    TYPED,
    Candidate,
    Plant,
    Position,
    fits,
    register_items,
)
from loops.views.requests import opened_version, person, typed
from loops.views.shown import urgency
from loops.views.suits import position_of, shown_position, suits_crumbs
from registry import access
from registry.models import Equipment, Terminals
from registry.services.records import Author, EntryRefused, StaleRecord

LONGEST_WAY = 200


@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, pk: int, member_pk: int, way: str) -> HttpResponse:
    """The answer; a POST sends it to the engineer as a draft."""
    plant, position = position_of(request, pk, member_pk)
    if request.method == "POST":
        access.require(person(request), "loop.propose", position.loop.site)
    candidate = candidate_of(plant, position, way)
    found = answer(plant, position, candidate)
    if request.method != "POST":
        return show(request, found)
    try:
        loop = send_to_engineer(
            found, Author(person(request), reason=typed(request, "reason", 400)), opened_version=opened_version(request)
        )
    except StaleRecord:
        return show(
            request, found, _("Somebody changed this loop since you opened it. Look at the answer again."), status=409
        )
    except WorkflowRefused as refused:
        return show(request, found, str(refused), status=409)
    except PermissionDenied as refused:
        return show(request, found, str(refused), status=403)
    except EntryRefused as refused:
        text = " ".join(refused.messages)
        return show(request, found, text, status=400)
    messages.success(
        request,
        _("%(tag)s has a draft with %(name)s in place, and the designers were told. It counts once it is approved.")
        % {"tag": loop.tag, "name": candidate.name},
    )
    return redirect("loop", pk=loop.pk)


def candidate_of(plant: Plant, position: Position, way: str) -> Candidate:
    """The candidate that an address names by its sets of terminals; 404 where there is none that fits."""
    parts = way.split("-")
    if len(way) > LONGEST_WAY or not all(part.isascii() and part.isdigit() and len(part) < 19 for part in parts):
        raise Http404
    keys = tuple(int(part) for part in parts)
    owners = set(Terminals.objects.filter(pk__in=keys).values_list("equipment_id", flat=True))
    if len(owners) != 1:
        raise Http404
    key = owners.pop()
    item = register_items(Equipment.objects.filter(pk=key, archived_at=None), plant.contents).get(key)
    if item is None or keys not in set(fits(position, item)):
        raise Http404
    return plant.candidate(key, keys)


def show(request: HttpRequest, found: Answer, refusal: str = "", status: int = 200) -> HttpResponse:
    """The page of an answer."""
    return render(request, "loops/suits/check.html", context_of(request, found) | {"refusal": refusal}, status=status)


def context_of(request: HttpRequest, found: Answer) -> dict[str, Any]:
    """What the page of an answer shows."""
    position, candidate = found.position, found.candidate
    loop = position.loop
    item_url = reverse("suits_item", args=[loop.pk, position.member])
    rows = sorted(found.rows, key=lambda row: (not row.changed, urgency(row.check)))
    may_send = access.may(person(request), "loop.propose", loop.site) and not loop.is_archived
    return {
        "section": "suits",
        "crumbs": suits_crumbs(
            (loop.tag, reverse("suits_loop", args=[loop.pk])), (position.tag, item_url), (candidate.name, "")
        ),
        "loop": loop,
        "state": "archived" if loop.is_archived else loop.state,
        "item": shown_position(position),
        "candidate": candidate,
        "candidate_url": reverse("equipment", args=[candidate.key]) if candidate.key != TYPED else "",
        "answer": found,
        "limiting": found.why[0] if found.why else "",
        "reasons": found.why[1:],
        "changed": [shown_row(row) for row in rows if row.changed],
        "same": [shown_row(row) for row in rows if not row.changed],
        "several": len(found.inputs) > 1,
        "documents": documents_to_change(position, candidate),
        "ways": other_ways(found),
        "elsewhere": elsewhere(found.position),
        "may_send": may_send and candidate.key != TYPED,
        "in_review": loop.state == LoopState.IN_REVIEW,
        "reason": typed(request, "reason", 400),
        "item_url": item_url,
    }


def elsewhere(position: Position) -> list[dict[str, str]]:
    """The other loops of the site in which the same item stands under the same tag: they change with it."""
    members = Member.objects.filter(
        tag__iexact=position.tag,
        terminals__equipment=position.standing.key,
        circuit__loop__site=position.loop.site_id,
        circuit__loop__archived_at=None,
    ).exclude(circuit__loop=position.loop.pk)
    rows = members.values_list("circuit__loop__tag", "circuit__loop", "pk").order_by("circuit__loop__tag")
    return [{"tag": tag, "url": reverse("suits_item", args=[loop, key])} for tag, loop, key in rows]


def other_ways(found: Answer) -> list[dict[str, str]]:
    """The other ways to connect the same item."""
    if found.candidate.key == TYPED:
        return []
    position = found.position
    ways = []
    for keys in fits(position, found.candidate.item):
        if keys != found.candidate.terminals:
            one = replace(found.candidate, terminals=keys)
            url = reverse("suits_check", args=[position.loop.pk, position.member, way_of(one)])
            ways.append({"text": one.terminals_name, "url": url})
    return ways


def shown_row(row: Row) -> dict[str, Any]:
    """A check before and after as the table shows it."""
    check = row.check
    return {
        "circuit": row.circuit,
        "id": check["id"],
        "subject": str(check["subject"]).replace(" -> ", " → "),
        "verdict": check["verdict"] if row.new else "not_applicable",
        "old": row.old,
        "new": row.new,
        "why": check["why"],
        "reference": check["reference"],
        "gone": row.new is None,
        "relation": check["relation"],
    }
