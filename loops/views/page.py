"""The page of one loop: does it comply, what limits it, how much is left, what is connected, who signed it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from loops import selectors
from loops.models import Approval, BasisChange, Loop, LoopState, Purpose, Verb, WorkflowEvent
from loops.services.approvals import Known, obstacles, obstacles_to_issue, refusal_to_sign
from loops.services.basis import latest_against_register
from loops.services.confirmations import Matter, matters
from loops.services.contributors import contributors
from loops.services.loops import changed_pins
from loops.services.verification import pinned_snapshots
from loops.views import shown
from loops.views.difference import described, differences
from loops.views.requests import person
from loops.views.reviewing import review_context
from registry import access
from registry.models import HazardousArea, Revision, User
from registry.prepared import PreparedRead
from registry.showing import name_of
from registry.views.histories import chosen_revisions, comparison

MOST_REVISIONS = 1_000_000_000
"""No record is saved more often; a database refuses to look for much larger numbers."""


NOT_SHOWN = ("sheet__bytes", "revision__snapshot", "evidence")
"""Large columns of what was issued."""

APPROVALS: PreparedRead[Approval] = PreparedRead(
    lambda loop: (
        Approval.objects.filter(loop_id=loop).select_related("revision", "sheet", "withdrawal").defer(*NOT_SHOWN)
    )
)
EVENTS: PreparedRead[WorkflowEvent] = PreparedRead(
    lambda loop: WorkflowEvent.objects.filter(loop_id=loop).select_related("actor").defer(*selectors.not_shown("actor"))
)

BESIDE: list[Callable[[Loop, User], Mapping[str, Any]]] = []
"""What other packages show on the page of a loop, as further context. They add theirs when they are ready."""


@require_safe
def loop_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One loop as it stands."""
    loop = selectors.whole_loop(person(request), pk)
    if loop is None:
        raise Http404
    return render_loop(request, loop)


def visible_loop(request: HttpRequest, pk: int) -> Loop:
    """The loop, or 404 where there is none that the person may see."""
    return get_object_or_404(selectors.whole_loops(person(request)), pk=pk)


def render_loop(
    request: HttpRequest, loop: Loop, *, status: int = 200, refusal: str = "", typed: Mapping[str, str] | None = None
) -> HttpResponse:
    """The loop page, after a refused step with the refusal in words and what was typed."""
    context = loop_context(loop, person(request)) | {"refusal": refusal, "typed": typed or {}}
    context["ticked"] = request.POST.getlist("mark") if refusal else []
    topic = (typed or {}).get("about", "") or request.GET.get("remark", "")[:240]
    context |= review_context(loop, person(request), context["circuits"], topic, context["deeds"])
    for further in BESIDE:
        context |= further(loop, person(request))
    return render(request, "loops/loop.html", context, status=status)


def loop_context(loop: Loop, user: User) -> dict[str, Any]:
    """Everything the loop page shows."""
    verification = loop.verification
    results = verification.results if verification else []
    approvals = APPROVALS(loop.pk)
    revisions = selectors.revisions_of(loop)
    changed = changed_pins(loop)
    pinned = pinned_snapshots(verification.revision.snapshot) if verification else {}
    known = Known(revisions[0] if revisions else None, pinned, areas_known(loop))
    asked = matters(loop, verification, pinned)
    if verification:
        verification.loop = loop  # what shows it asks for its site
    unit = loop.site.length_unit
    circuits = shown.circuits(loop, verification.inputs if verification else [], results, unit)
    shown.with_files(circuits)
    if verification:
        shown.with_reach(circuits, loop.site, verification.digest)
    signs = loop.state == LoopState.IN_REVIEW and access.may(user, "loop.approve", loop.site)
    deeds = contributors(loop) if signs else None
    events = EVENTS(loop.pk)
    return {
        "section": "loops",
        "crumbs": [{"text": _("Loops"), "url": "/loops/"}, {"text": loop.tag, "url": ""}],
        "loop": loop,
        "head": head(loop, revisions),
        "verification": verification,
        "circuits": circuits,
        "cures": with_places(shown.cures(results, unit), loop),
        "matters": asked,
        "open_matters": sum(matter.given is None for matter in asked),
        "can_confirm": not loop.is_archived and access.may(user, "loop.confirm", loop.site),
        "changed": changed,
        "beside": latest_against_register(loop, head=True),
        "basis_changes": marks(approvals),
        "approvals": approvals,
        "signatures": signatures(approvals, events),
        "events": events,
        "note": next((event.text for event in events if event.verb == Verb.SUBMIT), ""),
        "revisions": revisions,
        "current_number": revisions[0].number if revisions else None,
        "state": "archived" if loop.is_archived else loop.state,
        "deeds": deeds,
        **actions_for(loop, user, approvals, changed, asked, known, deeds),
    }


def areas_known(loop: Loop) -> dict[int, HazardousArea]:
    """The areas that the rows of a loop stand in, by key."""
    members = [member for circuit in loop.circuits.all() for member in circuit.members.all()]
    return {member.area.pk: member.area for member in members if member.area}


def head(loop: Loop, revisions: list[Revision]) -> list[dict[str, Any]]:
    """The ruled head of the record."""
    areas = {member.area: None for circuit in loop.circuits.all() for member in circuit.members.all() if member.area_id}
    number = (_(" (save %(number)s)") % {"number": revisions[0].number}) if revisions else ""
    items: list[dict[str, Any]] = [
        {"label": _("Loop"), "value": loop.tag},
        {"label": _("Service"), "value": loop.service or _("not entered")},
        {"label": _("Site"), "value": str(loop.site)},
        {"label": _("Areas"), "value": "; ".join(map(name_of, areas)) or _("not entered")},
        {"label": _("Revision"), "value": f"{loop.letter}{number}"},
        {"label": _("State"), "state": "archived" if loop.is_archived else loop.state},
        {"label": _("Owner"), "value": str(loop.owner)},
    ]
    if loop.drawing:
        items.append({"label": _("Drawing"), "value": loop.drawing})
    return items


def with_places(cures: list[dict[str, str]], loop: Loop) -> list[dict[str, Any]]:
    """The cures, each with the key of the item that stands at its tag as `place`, where there is one."""
    places = {member.tag: member.pk for circuit in loop.circuits.all() for member in circuit.members.all()}
    return [cure | {"place": places.get(cure["tag"])} for cure in cures]


def marks(approvals: list[Approval]) -> list[BasisChange]:
    """What was changed under the issue in force, newest first."""
    if not approvals or hasattr(approvals[0], "withdrawal"):
        return []
    return list(approvals[0].basis_changes.select_related("revision__author").defer("revision__snapshot"))


def signatures(approvals: list[Approval], events: list[WorkflowEvent]) -> list[dict[str, Any]]:
    """Who signed which revision, newest first, for components/signature_block.html; `events` are newest first."""
    rows = []
    for approval in approvals:
        revision = _("%(letter)s (save %(number)s)") % {"letter": approval.letter, "number": approval.revision.number}
        submitted = next(
            (
                event.created_at
                for event in events
                if event.verb == Verb.SUBMIT
                and event.revision_id == approval.revision_id
                and event.created_at <= approval.approved_at
            ),
            None,
        )
        rows.append({"role": _("Prepared"), "name": approval.prepared_name, "at": submitted, "revision": revision})
        rows.append(
            {
                "role": _("Approved"),
                "name": approval.printed_name,
                "signed_with": approval.get_signed_with_display(),
                "at": approval.approved_at,
                "meaning": approval.meaning,
                "revision": revision,
                "digest": approval.revision_digest,
            }
        )
    return rows


def actions_for(
    loop: Loop,
    user: User,
    approvals: list[Approval],
    changed: list[str],
    asked: list[Matter],
    known: Known,
    deeds: dict[int, str] | None,
) -> dict[str, Any]:
    """What this person may do with the loop in its state, and why not where it is close."""
    may_edit = access.may(user, "loop.edit", loop.site)
    open_state = loop.state in {LoopState.DRAFT, LoopState.RETURNED}
    review = loop.state == LoopState.IN_REVIEW
    may_return = access.may(user, "loop.return", loop.site)
    return {
        "may_edit": may_edit,
        "can_edit": may_edit and not review and not loop.is_archived,
        "can_submit": open_state and not loop.is_archived and access.may(user, "loop.submit", loop.site),
        "can_take_back": review and access.may(user, "loop.take_back", loop.site),
        "can_return": review and may_return,
        "can_approve": review and may_return,
        "refusal_to_sign": refusal_to_sign(loop, user, deeds) if review and may_return else "",
        "obstacles": hindrances(loop, changed, asked, known) if (open_state or review) and not loop.is_archived else [],
        "can_withdraw": bool(approvals)
        and not hasattr(approvals[0], "withdrawal")
        and access.may(user, "loop.withdraw", loop.site),
        "can_archive": may_edit and not review,
    }


def hindrances(loop: Loop, changed: list[str], asked: list[Matter], known: Known) -> list[str]:
    """What stands in the way of the next step."""
    in_review = loop.state == LoopState.IN_REVIEW
    return obstacles_to_issue(loop, changed, asked, known) if in_review else obstacles(loop, changed, known)


@require_safe
def revision_page(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """One save of a loop: who, when, why, and what differs from the one before."""
    loop = get_object_or_404(selectors.visible_loops(person(request)).select_related("site"), pk=pk)
    if number > MOST_REVISIONS:
        raise Http404
    found = {
        revision.number: revision
        for revision in Revision.objects.filter(
            kind="loop", record_id=loop.pk, number__in=[number - 1, number, number + 1]
        ).select_related("author")
    }
    if number not in found:
        raise Http404
    revision, before = found[number], found.get(number - 1)
    context = {
        "section": "loops",
        "crumbs": [
            {"text": _("Loops"), "url": "/loops/"},
            {"text": loop.tag, "url": f"/loops/{loop.pk}/"},
            {"text": (_("Save %(number)s") % {"number": number}), "url": ""},
        ],
        "loop": loop,
        "revision": revision,
        "before": before,
        "after": found.get(number + 1),
        "rows": differences(before.snapshot, revision.snapshot) if before else [],
        "content": described(revision.snapshot).items(),
        "verifications": list(
            revision.verifications.filter(purpose=Purpose.PINNED).defer("inputs", "results").order_by("-pk")
        ),
    }
    return render(request, "loops/revision.html", context)


@require_safe
def compare(request: HttpRequest, pk: int) -> HttpResponse:
    """Any two saves of a loop, field by field."""
    loop = get_object_or_404(selectors.visible_loops(person(request)).select_related("site"), pk=pk)
    revisions = Revision.objects.filter(kind="loop", record_id=loop.pk)
    before, after = chosen_revisions(request, revisions)
    context = comparison(revisions, before, after, differences(before.snapshot, after.snapshot))
    context |= {
        "section": "loops",
        "record": loop,
        "crumbs": [
            {"text": _("Loops"), "url": "/loops/"},
            {"text": loop.tag, "url": f"/loops/{loop.pk}/"},
            {"text": _("Compare"), "url": ""},
        ],
    }
    return render(request, "registry/compare.html", context)
