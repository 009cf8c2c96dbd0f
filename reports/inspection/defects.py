"""Defects from the signature under an inspection until somebody has verified that they are remedied."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import access
from registry.models import Deed, Membership, NoticeKind, User
from registry.plain import plain_text
from registry.services import notices
from registry.services.changes import Told, recorded, tell
from registry.services.records import lock
from reports.inspection.models import DAYS, Defect, DefectState, DefectStep, Line, Priority, SignedInspection

Verb = DefectStep.Verb
ACTIONS = {
    Verb.ASSIGN: "defect.follow",
    Verb.DONE: "defect.follow",
    Verb.REMARK: "defect.follow",
    Verb.VERIFY: "defect.verify",
    Verb.REOPEN: "defect.verify",
}
FROM = {
    Verb.ASSIGN: (DefectState.OPEN, DefectState.ASSIGNED),
    Verb.DONE: (DefectState.OPEN, DefectState.ASSIGNED),
    Verb.REMARK: tuple(DefectState),
    Verb.VERIFY: (DefectState.DONE,),
    Verb.REOPEN: (DefectState.DONE, DefectState.VERIFIED),
}
TO = {
    Verb.ASSIGN: DefectState.ASSIGNED,
    Verb.DONE: DefectState.DONE,
    Verb.VERIFY: DefectState.VERIFIED,
    Verb.REOPEN: DefectState.OPEN,
}
LONGEST = 1000


class DefectRefused(Exception):
    """The step cannot be taken; the text says why and what to do."""


def raise_defects(signed: SignedInspection, lines: list[Line], user: User) -> list[Defect]:
    """Follow up what an inspection found, from its signature on; the planners of the site are told."""
    found = []
    for line in lines:
        defect = Defect.objects.create(
            line=line,
            signed=signed,
            loop=signed.loop,
            text=line.note,
            priority=line.priority,
            verdict=(line.judgement or {}).get("verdict", ""),
            due_on=signed.inspected_on + dt.timedelta(days=DAYS[Priority(line.priority)]),
            version=1,
        )
        step(defect, Verb.FOUND, user, line.note, due_on=defect.due_on)
        found.append(defect)
    if found:
        people = access.people_who_may("defect.follow", [signed.loop.site_id])
        words = "1 defect found." if len(found) == 1 else f"{len(found)} defects found."
        subject = f"{signed.loop}: {words}"
        link = f"{reverse('defect_list')}?loop={signed.loop.tag}"
        told = [person for person in people.order_by("pk") if person.pk != user.pk]
        notices.send([notices.tell(person, NoticeKind.DEFECT, subject, link) for person in told])
    return found


def step(defect: Defect, verb: Verb, user: User, text: str, **values: Any) -> DefectStep:
    """Write a step of a defect and tell the change log."""
    row = DefectStep.objects.create(
        defect=defect,
        verb=verb,
        person=user,
        printed_name=user.printed_name[:120],
        at=timezone.now(),
        text=text,
        **values,
    )
    detail = {"step": str(verb), "text": text, "state": str(defect.state)}
    tell(Told(Deed.DEFECT, "defect", defect.pk, str(defect), user, defect.site_id, "", detail))
    return row


def take(
    defect_id: int,
    user: User,
    verb: str,
    *,
    text: str = "",
    opened_version: int | None = None,
    assigned_to: int | None = None,
    due_on: dt.date | None = None,
    priority: str = "",
) -> Defect:
    """Take a step with a defect. Raises DefectRefused, StaleRecord, PermissionDenied."""
    if verb not in ACTIONS:
        raise DefectRefused(_("Choose what is to be done with the defect."))
    try:
        text = plain_text(text.strip()[:LONGEST])
    except ValidationError as error:
        raise DefectRefused(str(error.messages[0])) from error
    chosen = Verb(verb)
    with recorded():
        defect = lock(Defect, defect_id, opened_version)
        access.require(user, ACTIONS[chosen], defect.loop.site)
        refuse(defect, chosen, user, text)
        values: dict[str, Any] = {}
        if chosen == Verb.ASSIGN:
            values = assigned(defect, assigned_to, due_on, priority)
        elif chosen == Verb.REOPEN:
            defect.assigned_to = None
        defect.state = TO.get(chosen, defect.state)
        defect.version += 1
        defect.save()
        step(defect, chosen, user, text, **values)
        if chosen == Verb.ASSIGN and defect.assigned_to and defect.assigned_to != user:
            subject = f"{defect} is yours to remedy until {defect.due_on.isoformat()}: {defect.text}"
            link = reverse("defect", args=[defect.pk])
            notices.send([notices.tell(defect.assigned_to, NoticeKind.DEFECT, subject, link)])
        return defect


def refuse(defect: Defect, verb: Verb, user: User, text: str) -> None:
    """Raise DefectRefused where a step does not fit."""
    if defect.state not in FROM[verb]:
        state = DefectState(defect.state).label.lower()
        raise DefectRefused(_("This defect is %(state)s: look at it again.") % {"state": state})
    if not text and verb in (Verb.DONE, Verb.VERIFY, Verb.REOPEN, Verb.REMARK):
        raise DefectRefused(_("Say in a few words what was done or seen: whoever reads this later was not there."))
    if verb == Verb.VERIFY and reported_by(defect, user):
        raise DefectRefused(_("You reported this as remedied yourself: somebody else verifies it."))


def reported_by(defect: Defect, user: User) -> bool:
    """Whether the person reported it as remedied, so that somebody else verifies it."""
    done = defect.steps.filter(verb=Verb.DONE).order_by("-pk").first()
    return done is not None and done.person_id == user.pk


def assigned(defect: Defect, person_id: int | None, due_on: dt.date | None, priority: str) -> dict[str, Any]:
    """Give a defect to somebody of its site, with the day until which it is to be remedied."""
    person = next((row for row in people_at(defect.loop.site_id) if row.pk == person_id), None)
    if person is None:
        raise DefectRefused(_("Choose somebody of this site."))
    if priority and priority not in Priority.values:
        raise DefectRefused(_("Choose one of the priorities."))
    defect.assigned_to = person
    defect.due_on = due_on or defect.due_on
    defect.priority = priority or defect.priority
    return {"assigned_to": person, "due_on": defect.due_on}


def people_at(site_id: int) -> list[User]:
    """Everybody with a role at a site who may log in."""
    keys = Membership.objects.filter(site_id=site_id).values("user_id")
    return list(User.objects.filter(pk__in=keys, is_active=True).order_by("full_name", "username"))


def visible_defects(user: User) -> QuerySet[Defect]:
    """The defects of all loops that a person may see."""
    sites = access.sites_of(user) if access.may(user, "inspection.view") else []
    return Defect.objects.filter(loop__site_id__in=sites)


def with_names(defects: QuerySet[Defect]) -> QuerySet[Defect]:
    """Defects with what a list or a page shows of them."""
    return defects.select_related("loop__site", "line", "assigned_to", "signed__inspection").defer(
        "signed__content", "line__judgement"
    )
