"""After a change of the register: judge what depends on it, mark the issues that rest on it, tell those whose they are.

The change itself has been saved; this runs as a task. Run twice for the same change it does nothing the second time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db.models import QuerySet

from loops.models import Approval, BasisChange, Loop, LoopState, Purpose, Verification
from loops.services.approvals import in_force
from loops.services.contributors import PINS
from loops.services.essentials import essential, in_words
from loops.services.notices import News, tell_owners
from loops.services.steps import tell_of
from loops.services.verification import today_at
from loops.services.whatif import PORTION, WhatIf, loops_of, same_inputs, whatifs
from registry.digests import digest
from registry.language import in_fixed_language
from registry.models import Deed, Revision
from registry.prepared import PreparedRead
from registry.selectors import LOOPS_BY_KIND
from registry.services.changes import recorded

DIFFERENCES_SHOWN = 5


def rejudge(revision_keys: Sequence[int]) -> str:
    """Judge every loop that rests on changed records and mark their issues; returns what was done as a sentence."""
    causes = list(Revision.objects.filter(pk__in=revision_keys, kind__in=LOOPS_BY_KIND).order_by("pk"))
    keys = dependants(causes)
    news: list[News] = []
    judged = marked = 0
    for start in range(0, len(keys), PORTION):
        for found in whatifs(Loop.objects.filter(pk__in=keys[start : start + PORTION])):
            with in_fixed_language(), recorded():
                verification, is_new = stored(found)
                rows = mark(found, causes, verification)
            judged += 1
            marked += len(rows)
            if rows or (is_new and found.changes_verdict):
                reason = rows[0].reason if rows else outcome(found)
                news.append(News(found.loop, rows[0].approval if rows else None, reason))
    tell_owners(news)
    return f"{judged} loops judged, {marked} marks set on issues."


def dependants(causes: Iterable[Revision]) -> list[int]:
    """Keys of the loops that rest on changed records: as they are now, or as they were issued."""
    by_kind: dict[str, set[int]] = {}
    for cause in causes:
        by_kind.setdefault(cause.kind, set()).add(cause.record_id)
    found: set[int] = set()
    for kind, records in by_kind.items():
        found |= set(loops_of(kind, records).values_list("pk", flat=True))
    if by_kind:
        # An issue in force whose loop is being revised may rest on what the loop uses no more.
        revised = Loop.objects.filter(archived_at=None, approvals__isnull=False).exclude(state=LoopState.ISSUED)
        found |= set(revised.values_list("pk", flat=True))
    return sorted(found)


def stored(found: WhatIf) -> tuple[Verification | None, bool]:
    """Store a verdict with the register as it is now, where it rests on other values than the loop's own.

    Returns it, and whether it is new: one from the same values that is there already is kept.
    """
    own = found.loop.verification
    if own is None or not found.touches_inputs:
        return None, False
    last = latest_against_register(found.loop)
    if last is not None and same_inputs(last.inputs, found.inputs):
        return last, False
    row = Verification.objects.create(
        loop=found.loop,
        revision=own.revision,
        purpose=Purpose.REGISTER,
        inputs=found.inputs,
        results=found.results,
        judged_on=today_at(found.loop.site),
        digest=digest({"inputs": found.inputs, "results": found.results}),
        **found.head,
    )
    return row, True


def latest_against_register(loop: Loop, *, head: bool = False) -> Verification | None:
    """The newest verdict with the register's values since the loop itself was judged; with `head` without the documents
    that it rests on."""
    if loop.verification_id is None:
        return None
    if head:
        return HEAD_AGAINST_REGISTER.first(loop.pk, loop.verification_id)
    return against_register(loop.pk, loop.verification_id).first()


def against_register(loop: Any, after: Any) -> QuerySet[Verification]:
    """The verdicts of a loop with the register's values after one of its own, by their keys; the newest first."""
    return Verification.objects.filter(loop_id=loop, purpose=Purpose.REGISTER, pk__gt=after).order_by("-pk")


HEAD_AGAINST_REGISTER: PreparedRead[Verification] = PreparedRead(
    lambda loop, after: against_register(loop, after).defer("inputs", "results")[:1]
)


def mark(found: WhatIf, causes: Sequence[Revision], verification: Verification | None) -> list[BasisChange]:
    """Mark the issue in force of a loop with each change that touches its proof; what is marked already is left."""
    approval = in_force(found.loop)
    if approval is None:
        return []
    known = set(approval.basis_changes.values_list("revision_id", flat=True))
    rows = []
    for cause in causes:
        differences = [] if cause.pk in known else touched(approval, cause)
        if not differences:
            continue
        reason = f"{cause.label}, revision {cause.number}: {'; '.join(differences)}. {outcome(found)}"
        rows.append(
            BasisChange.objects.create(approval=approval, revision=cause, verification=verification, reason=reason)
        )
        text = {"change": cause.pk, "cause": cause.label}
        tell_of(Deed.BASIS, found.loop, None, approval.revision, reason, letter=approval.letter, **text)
    return rows


def outcome(found: WhatIf) -> str:
    """The verdict with the register as it is now, in a sentence."""
    with in_fixed_language():
        verdict = str(found.head["verdict"].label).lower()
    if not found.changes_verdict:
        return f"Judged with the register as it is now the verdict stays: {verdict}."
    return f"Judged with the register as it is now: {verdict}. {found.head['limiting']}".strip()


def touched(approval: Approval, cause: Revision) -> list[str]:
    """What a change of the register differs from what an issue rests on, in words; empty where it rests not on it."""
    before, sets = basis_of(approval, cause)
    if before is None:
        return []
    old, new = (essential(cause.kind, content, sets) for content in (before, cause.snapshot))
    if old == new:
        return []
    found = in_words(cause.kind, old, new)
    more = [f"{len(found) - DIFFERENCES_SHOWN} more"] if len(found) > DIFFERENCES_SHOWN else []
    return (found[:DIFFERENCES_SHOWN] + more) or ["changed"]


def basis_of(approval: Approval, cause: Revision) -> tuple[Mapping[str, Any] | None, set[int]]:
    """The content of the changed record that an issue rests on, and the sets of terminals that it uses of it."""
    content = approval.revision.snapshot
    rows = [row for circuit in content["circuits"] for name in ("members", "cables") for row in circuit[name]]
    earlier = Revision.objects.filter(kind=cause.kind, record_id=cause.record_id, number__lt=cause.number)
    if cause.kind in {"area", "site"}:
        areas = {row["area"]["id"] for row in rows if row.get("area")}
        uses = cause.record_id in areas if cause.kind == "area" else cause.record_id == content["site"]["id"]
        then = earlier.filter(created_at__lte=approval.verification.created_at).order_by("-number").first()
        return (then.snapshot if uses and then else None), set()
    pins = {row[name]["id"] for row in rows for name in PINS if row.get(name)}
    then = earlier.filter(pk__in=pins).order_by("-number").first()
    if then is None:
        return None, set()
    sets = {row["terminals"]["id"] for row in rows if "terminals" in row and row["equipment_revision"]["id"] == then.pk}
    return then.snapshot, sets
