"""From an answer to a draft: the replacement in place, as a revision that still has to be approved."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from loops.models import Loop
from loops.services.loops import save_loop
from loops.services.refusals import WorkflowRefused
from loops.services.suitability.answers import Answer, Word
from loops.services.suitability.positions import TYPED, Candidate, Position
from registry import access
from registry.models import NoticeKind, User
from registry.selectors import record_text
from registry.services import notices
from registry.services.changes import recorded
from registry.services.records import Author, EntryRefused, StaleRecord, lock, refuse_stale

REASON = gettext_lazy("Say why in a few words: it stands in the history of the loop and in the notice.")


def require_reason(author: Author) -> None:
    """Raise EntryRefused where the author gives no reason."""
    if not author.reason.strip():
        raise EntryRefused({"reason": [str(REASON)]})


def text_with(loop: Loop, position: Position, candidate: Candidate) -> dict[str, Any]:
    """The nested text of a loop as it is stored, with a candidate in the position; a new part has no day of making yet.

    Raises WorkflowRefused where the item stands there no longer.
    """
    data = record_text(loop)
    chosen = {place.member: key for place, key in zip(position.places, candidate.terminals, strict=True)}
    for circuit in data["circuits"]:
        for member in circuit["members"]:
            if member["id"] in chosen:
                member |= {"terminals": chosen.pop(member["id"]), "made_on": ""}
    if chosen:
        raise WorkflowRefused(_("The loop was changed since: look at its items again."))
    return data


def put_in_place(position: Position, candidate: Candidate, author: Author, *, opened_version: int | None) -> Loop:
    """Save a loop with a candidate in a position: a draft, whatever was issued stays in force until it is approved.

    Raises what save_loop raises, and WorkflowRefused for an item that is not in the register.
    """
    if candidate.key == TYPED:
        raise WorkflowRefused(_("The item is not in the register yet: whoever keeps it adds it from its certificate."))
    access.require(author.user, "loop.propose", position.loop.site)
    with recorded():
        loop = lock(Loop, position.loop.pk, None)
        refuse_stale(loop, opened_version)
        data = text_with(loop, position, candidate)
        return save_loop(data, author, loop_id=loop.pk, opened_version=opened_version, action="loop.propose")


def send_to_engineer(found: Answer, author: Author, *, opened_version: int | None) -> Loop:
    """Make the draft and tell the designers of the site. A replacement that does not suit is not sent as one.

    Raises EntryRefused without a reason, WorkflowRefused, StaleRecord, PermissionDenied; then nothing is saved.
    """
    access.require(author.user, "loop.propose", found.position.loop.site)
    require_reason(author)
    if found.word is Word.DOES_NOT:
        raise WorkflowRefused(_("It does not suit, so no draft is made of it: choose a candidate that suits."))
    with recorded():
        loop = put_in_place(found.position, found.candidate, author, opened_version=opened_version)
        new, old = (f"{one.name} ({one.terminals_name})" for one in (found.candidate, found.position.standing))
        subject = f"{found.position.tag} in {loop}: {new} in place of {old} is proposed. {author.reason}"
        tell_designers([loop], author.user, subject, reverse("loop", args=[loop.pk]))
        return loop


def tell_designers(loops: Sequence[Loop], actor: User, subject: str, link: str) -> None:
    """A line in the inbox of the designers of the sites, and of the owners of the loops; not of who did it."""
    people = access.people_who_may("loop.edit", {loop.site_id for loop in loops})
    found = dict.fromkeys([*people, *(loop.owner for loop in loops)])
    told = [person for person in found if person.pk != actor.pk]
    notices.send(notices.tell(person, NoticeKind.PROPOSED, subject, link) for person in told)


# ----------------------------------------------------------------------------------------------------------- in bulk


@dataclass(frozen=True)
class Made:
    """What became of one loop: the draft, or why there is none."""

    loop: Loop
    refusal: str = ""


def draft_all(pairs: Iterable[tuple[Position, Candidate]], author: Author) -> list[Made]:
    """Drafts of many loops with one reason, each by itself: what one refuses does not hinder the others.

    Every one goes the way of a save and has still to be approved. Raises EntryRefused without a reason.
    """
    require_reason(author)
    made = []
    for position, candidate in pairs:
        try:
            loop = put_in_place(position, candidate, author, opened_version=position.loop.version)
            made.append(Made(loop))
        except EntryRefused as refused:
            made.append(Made(position.loop, " ".join(refused.messages)))
        except (WorkflowRefused, PermissionDenied, StaleRecord) as refused:
            made.append(Made(position.loop, str(refused)))
    return made


def tell_of_drafts(made: Sequence[Made], author: Author) -> None:
    """One line for each designer of the sites, whatever the number of drafts."""
    done = [row.loop for row in made if not row.refusal]
    if done:
        tags = ", ".join(str(loop) for loop in done[:5]) + (" …" if len(done) > 5 else "")
        words = "1 loop has" if len(done) == 1 else f"{len(done)} loops have"
        subject = f"{words} a draft with a replacement: {tags}. {author.reason}"
        tell_designers(done, author.user, subject, f"{reverse('loop_list')}?state=draft")
