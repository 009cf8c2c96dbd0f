"""How defects appear in their list: columns and filters."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Loop
from loops.views.kind import own_areas, own_sites
from registry.filters import Choice, Choices, Contains, Days
from registry.models import User
from registry.querysets import containing
from registry.showing import day
from registry.views.pages import Column, KindPage, fixed, same, text
from registry.words import lazily
from reports.inspection.defects import visible_defects, with_names
from reports.inspection.models import Defect, DefectState, Priority

STATES = (("waiting", lazily("To be remedied")), ("overdue", lazily("Overdue")))


def name(defect: Defect) -> dict[str, Any]:
    note = f"{defect.loop.site.code} · {defect.line.subject}"
    return text(defect.loop.tag, url=reverse("defect", args=[defect.pk]), note=note)


def state(defect: Defect) -> dict[str, Any]:
    over = is_overdue(defect)
    words = str(DefectState(defect.state).label)
    return text(f"{words}, overdue", warn=True) if over else text(words)


def is_overdue(defect: Defect) -> bool:
    """Whether a defect should have been remedied by now."""
    remedied = defect.state in (DefectState.DONE, DefectState.VERIFIED)
    return not remedied and defect.due_on < timezone.localdate()


def verdict(defect: Defect) -> dict[str, Any]:
    return {"verdict": defect.verdict} if defect.verdict else text("")


def state_is(value: str, user: User) -> Q:
    waiting = Q(state__in=[DefectState.OPEN, DefectState.ASSIGNED])
    if value == "waiting":
        return waiting
    return waiting & Q(due_on__lt=timezone.localdate()) if value == "overdue" else Q(state=value)


def in_area(value: str, user: User) -> Q:
    reaching = Loop.objects.filter(circuits__members__area=int(value))
    return Q(loop__in=reaching.order_by().values("pk"))


def assignees(user: User) -> Choices:
    found = User.objects.filter(pk__in=visible_defects(user).order_by().values("assigned_to")).exclude(pk=user.pk)
    return [("me", "Me"), ("nobody", _("Nobody")), *((person.username, person.printed_name) for person in found)]


def assigned(value: str, user: User) -> Q:
    if value == "nobody":
        return Q(assigned_to=None)
    return Q(assigned_to=user) if value == "me" else Q(assigned_to__username=value)


def found(defects: QuerySet[Defect], words: str) -> QuerySet[Defect]:
    return containing(defects, words, ("loop__tag", "line__subject", "text"))


DEFECT = KindPage(
    kind="defect",
    note=lazily("Place"),
    path="defects",
    title=lazily("Defects"),
    noun=lazily("a defect"),
    singular=lazily("defect"),
    plural=lazily("defects"),
    section="inspections",
    model=Defect,
    view_action="inspection.view",
    edit_action="",
    add_action="",
    searched=("loop__tag", "line__subject", "text"),
    search_label=lazily("Part of a tag or of what is wrong"),
    seen=visible_defects,
    found=found,
    rows=with_names,
    columns=(
        Column(lazily("Loop"), name, "tag", ("loop__tag", "pk")),
        Column(lazily("What is wrong"), lambda row: text(row.text), wide=True),
        Column(lazily("Priority"), lambda row: text(row.get_priority_display()), "priority", ("priority", "due_on")),
        Column(lazily("State"), state, "state", ("state", "due_on")),
        Column(lazily("To be remedied by"), lambda row: text(day(row.due_on)), "due", ("due_on", "pk")),
        Column(
            lazily("Assigned to"), lambda row: text(str(row.assigned_to or "")), "who", ("assigned_to__username", "pk")
        ),
        Column(lazily("As found"), verdict),
        Column(
            lazily("Found on"), lambda row: text(day(row.signed.inspected_on)), "found", ("signed__inspected_on", "pk")
        ),
        Column(lazily("Looked at"), lambda row: text(row.line.text), shown=False),
        Column(lazily("Inspection"), lambda row: text(str(row.signed.inspection_id)), shown=False),
    ),
    filters=(
        Choice("site", lazily("Site"), own_sites, same("loop__site__code")),
        Choice(
            "state",
            lazily("State"),
            fixed([*STATES, *((value, str(label)) for value, label in DefectState.choices)]),
            state_is,
            nothing=lazily("All"),
        ),
        Choice(
            "priority",
            lazily("Priority"),
            fixed([(value, str(label)) for value, label in Priority.choices]),
            same("priority"),
        ),
        Choice("area", lazily("Area"), own_areas, in_area),
        Choice("who", lazily("Assigned to"), assignees, assigned),
        Contains("loop", lazily("Loop"), "loop__tag"),
        Days("due", lazily("To be remedied by"), "due_on"),
    ),
    key_fields=("pk",),
    empty_text=lazily("What an inspection calls a defect stands here until somebody has verified that it is remedied."),
)
