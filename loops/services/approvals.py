"""The way of a loop from draft to issued. Every step has one gait: may – time – change – record – announce."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Approval, Loop, LoopState, LoopVerdict, Verb, Verification, Withdrawal
from loops.services.confirmations import Matter, matters, open_matters
from loops.services.contributors import contributors
from loops.services.loops import changed_pins, is_whole
from loops.services.refusals import WorkflowRefused
from loops.services.reviews import ask, obstacles_to_sign
from loops.services.signing import MEANING, Proof, SignatureRefused, proven
from loops.services.steps import record_step
from loops.services.verification import changed_since
from registry import access
from registry.digests import digest
from registry.models import HazardousArea, Revision, User
from registry.services.changes import recorded
from registry.services.passkeys import Answer
from registry.services.records import latest_revision, lock, refuse_stale, snapshot
from registry.stored import said
from registry.words import lazily


@dataclass(frozen=True)
class Step:
    """One step of the workflow: from which states, by whom, to which state."""

    verb: Verb
    action: str
    sources: frozenset[LoopState]
    target: LoopState
    refusal: str


@dataclass(frozen=True)
class Known:
    """What a page has read of a loop already: its newest revision, the content of what its verdict is pinned to, and
    areas as they are now, by key."""

    revision: Revision | None
    pinned: Mapping[int, Mapping[str, Any]]
    areas: Mapping[int, HazardousArea]


STEPS = {
    step.verb: step
    for step in (
        Step(
            Verb.SUBMIT,
            "loop.submit",
            frozenset({LoopState.DRAFT, LoopState.RETURNED}),
            LoopState.IN_REVIEW,
            lazily("Only a draft can be submitted."),
        ),
        Step(
            Verb.TAKE_BACK,
            "loop.take_back",
            frozenset({LoopState.IN_REVIEW}),
            LoopState.DRAFT,
            lazily("Only a loop in review can be taken back."),
        ),
        Step(
            Verb.RETURN,
            "loop.return",
            frozenset({LoopState.IN_REVIEW}),
            LoopState.RETURNED,
            lazily("Only a loop in review can be returned."),
        ),
        Step(
            Verb.APPROVE,
            "loop.approve",
            frozenset({LoopState.IN_REVIEW}),
            LoopState.ISSUED,
            lazily("Only a loop in review can be approved."),
        ),
        Step(
            Verb.WITHDRAW,
            "loop.withdraw",
            frozenset(LoopState) - {LoopState.WITHDRAWN},
            LoopState.WITHDRAWN,
            lazily("Only an issue that is in force can be withdrawn."),
        ),
    )
}


def begin(verb: Verb, loop_id: int, user: User, opened_version: int | None) -> tuple[Step, Loop]:
    """Take the loop for writing and refuse what the person or the state does not allow."""
    step = STEPS[verb]
    loop = lock(Loop, loop_id, None)
    access.require(user, step.action, loop.site)
    refuse_stale(loop, opened_version)
    if loop.is_archived:
        raise WorkflowRefused(_("This loop is archived: bring it back first."))
    if loop.state not in step.sources:
        raise WorkflowRefused(
            _("%(refusal)s This one is %(lower)s.")
            % {"refusal": step.refusal, "lower": loop.get_state_display().lower()}
        )
    return step, loop


def finish(step: Step, loop: Loop, user: User, text: str, **detail: Any) -> Loop:
    """Change the state and record the step."""
    revision = latest_revision(loop)
    assert revision is not None
    loop.state = step.target
    loop.version += 1
    loop.save()
    record_step(step.verb, loop, user, revision, text, **detail)
    return loop


def obstacles(loop: Loop, changed: list[str] | None = None, known: Known | None = None) -> list[str]:
    """Why this loop cannot go to approval or be approved, each with what to do; empty when nothing is in the way.

    `changed` is what `changed_pins` says of it, `known` what else was read of it just now, where that is so.
    """
    verification = loop.verification
    if verification is None:
        return [_("The loop has no verdict yet: save it once.")]
    found = []
    if verification.verdict == LoopVerdict.FAILS:
        found.append(_("The loop does not comply: %(limiting)s") % {"limiting": said(verification.limiting)})
    elif verification.verdict == LoopVerdict.INCOMPLETE:
        found.append(_("The verdict is incomplete: %(limiting)s") % {"limiting": said(verification.limiting)})
    elif verification.verdict == LoopVerdict.BEYOND:
        found.append(
            _("The loop is beyond simple rules; a specialist must assess it outside of this record: %(limiting)s")
            % {"limiting": said(verification.limiting)}
        )
    verification.loop = loop
    if changed is None:
        changed = changed_pins(loop)
    if changed:
        found.append(
            _(
                "Changed in the register since the loop was judged: %(changed)s. Judge the loop again "
                "with the new values."
            )
            % {"changed": ", ".join(changed)}
        )
    revision = known.revision if known else latest_revision(loop)
    if revision is None or verification.revision_id != revision.pk:
        found.append(_("The verdict belongs to an older revision: save the loop once."))
    elif reason := changed_since(verification, *((known.pinned, known.areas) if known else ())):
        found.append(_("%(reason)s Judge the loop again.") % {"reason": reason})
    elif digest(content_of(loop) | {"archived": loop.is_archived}) != revision.digest:
        found.append(_("The stored rows differ from their revision: save the loop once."))
    return found


def obstacles_to_issue(
    loop: Loop, changed: list[str] | None = None, asked: list[Matter] | None = None, known: Known | None = None
) -> list[str]:
    """Everything that stands in the way of a signature, each with what to do; empty when nothing does.

    `changed` and `asked` are what `changed_pins` and `matters` say of the loop, where that is known already.
    """
    return (
        obstacles(loop, changed, known)
        + obstacles_to_sign(loop)
        + open_matters(loop, asked, known.pinned if known else None)
    )


def content_of(loop: Loop) -> dict[str, Any]:
    """The snapshot of a loop as its rows stand: of those that were just read with it, else read now."""
    return snapshot(loop, lambda record, name: getattr(record, name).all()) if is_whole(loop) else snapshot(loop)


def submit(
    loop_id: int,
    user: User,
    *,
    text: str = "",
    opened_version: int | None = None,
    reviewers: Iterable[int] = (),
) -> Loop:
    """Ask for approval, and people to review it (keys of users).

    Raises WorkflowRefused for a loop that does not comply in every check, or a reviewer who cannot review it.
    """
    with recorded():
        step, loop = begin(Verb.SUBMIT, loop_id, user, opened_version)
        if reasons := obstacles(loop):
            raise WorkflowRefused(" ".join(reasons))
        loop.submitted_by = user
        loop.submitted_at = timezone.now()
        finish(step, loop, user, text)
        ask(loop, user, reviewers)
        return loop


def take_back(loop_id: int, user: User, *, text: str = "", opened_version: int | None = None) -> Loop:
    """Take a loop in review back to draft."""
    with recorded():
        step, loop = begin(Verb.TAKE_BACK, loop_id, user, opened_version)
        return finish(step, loop, user, text)


def return_loop(loop_id: int, user: User, *, text: str, opened_version: int | None = None) -> Loop:
    """Return a loop in review to its designer; the reasons are required."""
    if not text.strip():
        raise WorkflowRefused(_("Say why you return the loop: the designer must know what to mend."))
    with recorded():
        step, loop = begin(Verb.RETURN, loop_id, user, opened_version)
        return finish(step, loop, user, text)


def refusal_to_sign(loop: Loop, user: User, deeds: dict[int, str] | None = None) -> str:
    """Why this person may not sign this loop, or an empty text; `deeds` is what `contributors` says, where that is
    known already."""
    if not access.may(user, "loop.approve", loop.site):
        return access.SIDES["loop.approve"]
    deed = (contributors(loop) if deeds is None else deeds).get(user.pk)
    return (_("You %(deed)s since its last approval: somebody else must approve it.") % {"deed": deed}) if deed else ""


def prove(
    loop_id: int,
    user: User,
    *,
    password: str = "",
    passkey: Answer | None = None,
    opened_version: int | None = None,
) -> Proof:
    """Have a person who may sign prove that it is them.

    Stands before the transaction that signs, in one of its own: a failure is counted whatever becomes of the signature,
    and attempts of one person come one after the other, so that none slips past the limit. Raises SignatureRefused for
    a wrong password or passkey, SignatureLimited after too many, and what `approve` raises for other reasons.
    """
    with transaction.atomic():
        loop, revision, verification = to_be_signed(loop_id, user, opened_version)
        found = proven(loop, revision, verification, user, password, passkey)
    if not isinstance(found, Proof):
        raise SignatureRefused(found)
    return found


def to_be_signed(loop_id: int, user: User, opened_version: int | None) -> tuple[Loop, Revision, Verification]:
    """What this person would sign, held for writing; refused where the person or the state does not allow it."""
    _step, loop = begin(Verb.APPROVE, loop_id, user, opened_version)
    if reason := refusal_to_sign(loop, user):
        raise PermissionDenied(reason)
    revision = latest_revision(loop)
    if loop.verification is None or revision is None:
        raise WorkflowRefused(" ".join(obstacles(loop)))
    return loop, revision, loop.verification


def approve(loop_id: int, user: User, proof: Proof, *, opened_version: int | None = None, text: str = "") -> Approval:
    """Sign the revision in review and its verification, with the proof of :func:`prove`.

    Refused for everybody who changed or submitted the loop since its last approval, superusers included (the database
    refuses it as well), and while anything stands in the way. The caller renders and stores the sheet in the same
    transaction.
    """
    with recorded():
        loop, revision, verification = to_be_signed(loop_id, user, opened_version)
        if (proof.user_id, proof.revision_id, proof.verification_id) != (user.pk, revision.pk, verification.pk):
            raise WorkflowRefused(_("This loop was changed while you signed it: look at it again, then sign."))
        asked = matters(loop, verification)
        if reasons := obstacles_to_issue(loop, asked=asked):
            raise WorkflowRefused(" ".join(reasons))
        assert loop.submitted_by is not None
        if digest({"inputs": verification.inputs, "results": verification.results}) != verification.digest:
            raise WorkflowRefused(_("The stored verification does not match its digest: tell the administrator."))
        approval = Approval.objects.create(
            loop=loop,
            letter=loop.letter,
            revision=revision,
            verification=verification,
            revision_digest=revision.digest,
            verification_digest=verification.digest,
            submitted_by=loop.submitted_by,
            approved_by=user,
            approved_at=proof.signed_at,
            prepared_name=loop.submitted_by.printed_name,
            printed_name=user.printed_name,
            meaning=MEANING,
            signed_with=proof.signed_with,
            evidence=proof.evidence,
            short_id=proof.short_id,
        )
        confirmed = [matter.mark for matter in asked if matter.given]
        detail: dict[str, Any] = {"approval": approval.pk, "verification": verification.digest, "confirmed": confirmed}
        detail |= {"signed_with": str(proof.signed_with)}
        detail |= {"evidence": digest(proof.evidence)} if proof.evidence else {}
        finish(STEPS[Verb.APPROVE], loop, user, text, **detail)
        return approval


def withdraw(approval_id: int, user: User, *, text: str, opened_version: int | None = None) -> Withdrawal:
    """End the issue in force: it must no longer be used; the reason is required.

    A loop that stands as issued becomes withdrawn; a later revision in preparation stays as it is.
    """
    if not text.strip():
        raise WorkflowRefused(_("Say why you withdraw it: whoever holds the sheet must know."))
    with recorded():
        approval = Approval.objects.get(pk=approval_id)
        step, loop = begin(Verb.WITHDRAW, approval.loop_id, user, opened_version)
        if in_force(loop) != approval:
            raise WorkflowRefused(step.refusal)
        withdrawal = Withdrawal.objects.create(
            approval=approval,
            reason=text.strip(),
            actor=user,
            printed_name=user.printed_name,
            withdrawn_at=timezone.now(),
        )
        if loop.state == LoopState.ISSUED:
            finish(step, loop, user, text)
        else:
            record_step(Verb.WITHDRAW, loop, user, approval.revision, text, letter=approval.letter)
        return withdrawal


def issues_in_force(loop_keys: Iterable[int]) -> dict[int, Approval]:
    """The issues of many loops that count now, by loop, with what each approved; in two queries."""
    newest = Approval.objects.filter(loop__in=list(loop_keys)).values("loop").annotate(newest=Max("pk"))
    keys = [row["newest"] for row in newest.order_by()]
    rows = Approval.objects.filter(pk__in=keys).select_related("verification__revision", "withdrawal")
    return {row.loop_id: row for row in rows if not hasattr(row, "withdrawal")}


def in_force(loop: Loop) -> Approval | None:
    """The issue of a loop that counts now: the newest one, unless it was withdrawn."""
    newest = loop.approvals.select_related("revision", "withdrawal").order_by("-pk").first()
    return None if newest is None or hasattr(newest, "withdrawal") else newest
