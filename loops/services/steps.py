"""Recording what is done with a loop on its way: its event, and its line in the change log."""

from __future__ import annotations

from typing import Any

from loops.models import Loop, Verb, WorkflowEvent
from registry.models import Revision, User
from registry.services.changes import Told, tell


def record_step(
    verb: Verb, loop: Loop, actor: User, revision: Revision, text: str, *, letter: str = "", **detail: Any
) -> WorkflowEvent:
    """Write the event of a step and tell the change log; `letter` where it is not that of the loop now."""
    text, letter = text.strip(), letter or loop.letter
    event = WorkflowEvent.objects.create(loop=loop, letter=letter, verb=verb, actor=actor, text=text, revision=revision)
    tell_of(verb, loop, actor, revision, text, letter=letter, **detail)
    return event


def tell_of(verb: str, loop: Loop, actor: User | None, revision: Revision, text: str = "", **detail: Any) -> None:
    """Tell the change log of a deed with one revision of a loop."""
    told = {"letter": loop.letter, "revision": revision.number} | ({"text": text} if text else {}) | detail
    tell(
        Told(
            verb=verb,
            kind=loop.record_kind,
            record_id=loop.pk,
            label=loop.label(),
            actor=actor,
            site_id=loop.site_id,
            digest=revision.digest,
            detail=told,
        )
    )
