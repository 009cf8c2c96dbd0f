"""Whom to tell of what happens to a loop. One line for each person, event and loop; many loops at once are one line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from loops.models import Approval, Loop, Verb
from loops.services.contributors import contributors
from registry import access
from registry.models import Deed, Notice, NoticeKind, User
from registry.selectors import LOOPS_BY_KIND
from registry.services import notices
from registry.services.changes import Told
from registry.services.records import latest_revision_ids

CHANGES = frozenset({Deed.CHANGE, Deed.ARCHIVE, Deed.RESTORE})
SENTENCES: Mapping[str, tuple[NoticeKind, str, str]] = {
    Verb.SUBMIT: (NoticeKind.REVIEW, "{loop} waits for approval.", "{count} loops wait for approval."),
    Deed.ASK: (NoticeKind.REVIEW, "You are asked to review {loop}.", "You are asked to review {count} loops."),
    Verb.RETURN: (NoticeKind.RETURNED, "{loop} was returned: {text}", "{count} loops were returned."),
    Verb.APPROVE: (NoticeKind.APPROVED, "{loop} was approved and issued.", "{count} loops were approved and issued."),
}
IN_REVIEW, RETURNED = {"state": "in_review"}, {"state": "returned"}
LISTS: Mapping[str, dict[str, str]] = {Verb.SUBMIT: IN_REVIEW, Deed.ASK: IN_REVIEW, Verb.RETURN: RETURNED}


@dataclass(frozen=True)
class News:
    """A loop whose basis was changed: its issue in force, if it has one, and what that means."""

    loop: Loop
    approval: Approval | None
    reason: str


def announce(deeds: Sequence[Told]) -> None:
    """Tell people of steps of loops, and have the loops judged that rest on changed records of the register."""
    from loops.tasks import judge_dependants

    steps = [deed for deed in deeds if deed.kind == "loop" and deed.verb in SENTENCES]
    if steps:
        announce_steps(steps)
    changed = [deed for deed in deeds if deed.kind in LOOPS_BY_KIND and deed.verb in CHANGES]
    if keys := used_revisions(changed):
        judge_dependants.enqueue(keys)


def used_revisions(changed: Sequence[Told]) -> list[int]:
    """Keys of the new revisions of changed records that some loop rests on."""
    keys: list[int] = []
    for kind in {deed.kind for deed in changed}:
        records = [deed.record_id for deed in changed if deed.kind == kind and deed.record_id]
        # Asked as one question: whether any of them is used; judging finds out by whom.
        if Loop.objects.filter(**{f"{LOOPS_BY_KIND[kind]}__in": records}).exists():
            keys += latest_revision_ids(kind, records).values()
    return sorted(keys)


def announce_steps(steps: Sequence[Told]) -> None:
    """Lines for those whom steps concern."""
    loops = Loop.objects.select_related("site", "owner", "submitted_by").in_bulk([deed.record_id for deed in steps])
    found: dict[tuple[int, str], list[tuple[Loop, Told]]] = {}
    people: dict[int, User] = {}
    for deed in steps:
        loop = loops[deed.record_id]
        for person in concerned(deed, loop):
            people[person.pk] = person
            found.setdefault((person.pk, deed.verb), []).append((loop, deed))
    lines = []
    for (key, verb), rows in found.items():
        kind, one, many = SENTENCES[verb]
        loop, deed = rows[0]
        if len({row[0].pk for row in rows}) == 1:
            sentence = one.format(loop=loop, text=deed.detail.get("text", "")).strip()
            link = reverse("loop", args=[loop.pk])
        else:
            sentence = many.format(count=len(rows))
            link = f"{reverse('loop_list')}?{urlencode(LISTS.get(verb, {}))}"
        lines.append(notices.tell(people[key], kind, sentence, link))
    notices.send(lines)


def concerned(deed: Told, loop: Loop) -> list[User]:
    """Whom a step concerns: those who act next, or those who wait for it; never who took it."""
    actor = deed.actor.pk if deed.actor else None
    if deed.verb == Deed.ASK:
        found = list(User.objects.filter(pk=deed.detail["reviewer_id"]))
    elif deed.verb == Verb.SUBMIT:
        approvers = access.people_who_may("loop.approve", [loop.site_id])
        deeds = contributors(loop)
        found = [person for person in approvers if person.pk not in deeds]
    else:
        found = [loop.owner, *([loop.submitted_by] if loop.submitted_by else [])]
    return [person for person in dict.fromkeys(found) if person.pk != actor]


def tell_owners(news: Iterable[News]) -> list[Notice]:
    """One line for each author, submitter and approver of loops whose basis was changed."""
    rows = list(news)
    by_person: dict[User, list[News]] = {}
    for item in rows:
        people = [item.loop.owner]
        if item.approval:
            people += [item.approval.submitted_by, item.approval.approved_by]
        for person in dict.fromkeys(people):
            by_person.setdefault(person, []).append(item)
    lines = []
    for person, items in by_person.items():
        if len(items) == 1:
            subject, link = f"{items[0].loop}: {items[0].reason}", reverse("loop", args=[items[0].loop.pk])
        else:
            subject = f"The basis of {len(items)} loops was changed: {', '.join(str(item.loop) for item in items[:5])}"
            subject += " …" if len(items) > 5 else "."
            link = f"{reverse('loop_list')}?basis=changed"
        lines.append(notices.tell(person, NoticeKind.BASIS, subject, link))
    return notices.send(lines)
