"""What the loop page shows of reviewers and remarks."""

from __future__ import annotations

from typing import Any

from loops.models import Loop, LoopState
from loops.services import reviews
from loops.services.contributors import contributors
from loops.topics import check_subject
from registry import access
from registry.language import in_fixed_language
from registry.models import User
from registry.words import lazily as _

WHOLE_LOOP = _("The whole loop")


def review_context(
    loop: Loop, user: User, circuits: list[dict[str, Any]], asked: str, deeds: dict[int, str] | None
) -> dict[str, Any]:
    """What the loop page shows of reviewers and remarks; `asked` is the check that a remark is to be made on, `deeds`
    what `contributors` says, where that is known already."""
    threads = reviews.remarks_of(loop)
    requests = list(reviews.requests_now(loop)) if loop.state == LoopState.IN_REVIEW else []
    # Who had a hand in it counts only for an approver, who may settle the remarks of others.
    if deeds is None:
        deeds = contributors(loop) if threads and access.may(user, "loop.approve", loop.site) else {}
    topics = [str(WHOLE_LOOP), *subjects(circuits)]
    return {
        "threads": [
            {
                "thread": thread,
                "form": f"reply-{thread.pk}",
                "open": thread.is_open,
                "can_settle": reviews.may_settle(thread, user, deeds),
            }
            for thread in threads
        ],
        "open_threads": sum(thread.is_open for thread in threads),
        "may_remark": access.may(user, "loop.remark", loop.site) and not loop.is_archived,
        "topics": topics if not asked or asked in topics else [asked, *topics],
        "topic": asked,
        "reviews": [
            {
                "request": item,
                "form": f"review-{item.pk}",
                "answer": getattr(item, "answer", None),
                "mine": item.reviewer_id == user.pk,
                "can_excuse": item.asked_by_id == user.pk or access.may(user, "loop.approve", loop.site),
            }
            for item in requests
        ],
        "may_ask": may_ask(loop, user),
    }


def may_ask(loop: Loop, user: User) -> bool:
    """Whether this person may ask others to review the loop as it stands: with the submission, or while it is in
    review."""
    if loop.is_archived or loop.state not in {LoopState.DRAFT, LoopState.RETURNED, LoopState.IN_REVIEW}:
        return False
    may_submit = access.may(user, "loop.submit", loop.site)
    return may_submit or (loop.state == LoopState.IN_REVIEW and access.may(user, "loop.approve", loop.site))


def subjects(circuits: list[dict[str, Any]]) -> list[str]:
    """What a remark can be made on: each check, source, device and cable of each circuit, in words.

    Each check is told its own words as `topic`, for the link beside it.
    """
    with in_fixed_language():
        return named(circuits)


def named(circuits: list[dict[str, Any]]) -> list[str]:
    """The same; in English, because what a remark is about is stored."""
    found = []
    for item in circuits:
        before = f"{item['name']}: " if len(circuits) > 1 else ""
        for check in item["checks"]:
            check["topic"] = before + check_subject(check)
        found += [check["topic"] for check in item["checks"]]
        found += [f"{before}{member.get_role_display()} {member.tag}" for member in item["members"]]
        found += [f"{before}Cable {cable.tag}" for cable in item["cables"]]
        found += [f"{before}Terminator {terminator.tag}" for terminator in item["terminators"]]
    return list(dict.fromkeys(found))
