"""What a loop asks a person to confirm, what was confirmed of it, and by whom. Nothing is ever rewritten."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from loops.casefile import sentence
from loops.engine.checks.certificates import conditions_remark, suffix
from loops.models import Confirmation, Loop, Verification
from loops.services.refusals import WorkflowRefused
from loops.services.steps import tell_of
from loops.services.verification import CONTENTS
from registry import access
from registry.conditions import numbered_conditions
from registry.digests import digest
from registry.models import Deed, Revision, User
from registry.prepared import PreparedRead
from registry.services.changes import recorded
from registry.services.records import latest_revision, lock, refuse_stale

Kind = Confirmation.Kind
APART = ("about", "certificate_number")
"""What `conditions` says of a matter beside its own fields."""


@dataclass(frozen=True)
class Matter:
    """One thing to confirm; `given` is the confirmation that counts now, None while there is none.

    Nobody signs before all are confirmed: what nobody knows is no pass. `in_words`: a tick is not enough, whoever
    confirms says how it is met or how they know. That holds for the conditions of use (X), and for what speaks of a
    certificate itself: superseded, ended for new supply, of a status or scheme that nobody has given. Certificates that
    are withdrawn or suspended ask for nothing: the verdict is that the loop does not comply.
    """

    kind: str
    text: str
    mark: str
    in_words: bool = False
    tag: str = ""
    certificate: str = ""
    certificate_revision: int | None = None
    number: int | None = None
    case: str = ""
    given: Confirmation | None = None


def matters(
    loop: Loop, verification: Verification | None = None, pinned: Mapping[int, Mapping[str, Any]] | None = None
) -> list[Matter]:
    """Everything that the judged revision of a loop asks a person to confirm: conditions of use, then the rest.

    `pinned` holds the content of the certificates that it is pinned to, by revision, where that was read already.
    """
    verification = verification or loop.verification
    if verification is None:
        return []
    standing = standing_confirmations(loop)
    listed = list(conditions(verification.revision.snapshot, pinned))
    asked_one_by_one = {sentence(conditions_remark(row["tag"], row["certificate_number"])) for row in listed}
    rows = [*listed, *(row for row in general(verification) if row["text"] not in asked_one_by_one)]
    unique = {mark: values | {"mark": mark} for values in rows for mark in [digest(values["about"])]}
    return [
        Matter(given=standing.get(mark), **{name: value for name, value in values.items() if name not in APART})
        for mark, values in unique.items()
    ]


def conditions(
    loop_snapshot: Mapping[str, Any], pinned: Mapping[int, Mapping[str, Any]] | None = None
) -> Iterator[dict[str, Any]]:
    """The specific conditions of the certificates that a loop is pinned to, one by one for each item."""
    for row, key, content in certified(loop_snapshot, pinned):
        for number, text in numbered_conditions(content["specific_conditions"]):
            yield {
                "kind": Kind.CONDITION.value,
                "in_words": True,
                "text": text,
                "tag": row["tag"],
                "certificate": f"{content['number']} issue {content['issue']}",
                "certificate_number": content["number"],
                "certificate_revision": key,
                "number": number,
                "about": [Kind.CONDITION.value, row["tag"], row["terminals"]["id"], content["id"], number, text],
            }


def certified(
    loop_snapshot: Mapping[str, Any], pinned: Mapping[int, Mapping[str, Any]] | None
) -> Iterator[tuple[Mapping[str, Any], int, Mapping[str, Any]]]:
    """The members of a loop that are pinned to a certificate, with the key of its revision and its content."""
    members = [
        row for circuit in loop_snapshot["circuits"] for row in circuit["members"] if row.get("certificate_revision")
    ]
    if pinned is None:
        keys = {row["certificate_revision"]["id"] for row in members}
        pinned = dict(CONTENTS(keys))
    for row in members:
        key = row["certificate_revision"]["id"]
        yield row, key, pinned[key]


def general(verification: Verification) -> Iterator[dict[str, Any]]:
    """What no calculation can know, as the verdict names it; what a check of a certificate leaves open wants words."""
    for result in verification.results:
        left_open = [
            check["why"] for check in result["checks"] if (check["id"], check["verdict"]) == ("certificate", "confirm")
        ]
        for text in result.get("confirmations", []):
            yield {
                "kind": Kind.GENERAL.value,
                "in_words": any(text in why for why in left_open),
                "text": text,
                "case": result["case"],
                "about": [Kind.GENERAL.value, result["case"], text],
            }


def standing_confirmations(loop: Loop) -> dict[str, Confirmation]:
    """The confirmations that nobody took back, by the mark of their matter."""
    return {row.mark: row for row in STANDING(loop.pk)}


STANDING: PreparedRead[Confirmation] = PreparedRead(
    lambda loop: (
        Confirmation.objects.filter(loop_id=loop, takes_back=None, taken_back=None)
        .select_related("person")
        .order_by("pk")
    )
)


def has_conditions(number: str) -> bool:
    """Whether a certificate number says that there are specific conditions of use."""
    return suffix(number) == "X"


def unlisted_conditions(verification: Verification, pinned: Mapping[int, Mapping[str, Any]] | None = None) -> list[str]:
    """Certificates whose number ends in X and whose conditions nobody copied into the register."""
    contents = {key: content for _row, key, content in certified(verification.revision.snapshot, pinned)}
    return sorted(
        content["number"]
        for content in contents.values()
        if has_conditions(content["number"]) and not numbered_conditions(content["specific_conditions"])
    )


def open_matters(
    loop: Loop, asked: list[Matter] | None = None, pinned: Mapping[int, Mapping[str, Any]] | None = None
) -> list[str]:
    """What stands in the way of a signature: matters that nobody confirmed, each with what to do.

    `asked` is what `matters` says of the loop, `pinned` what its verdict is pinned to, where that is known already.
    """
    verification = loop.verification
    if verification is None:
        return []
    found = [
        (
            _(
                "Certificate %(number)s ends in X and its specific conditions of use are not in the "
                "register: copy them from the certificate, one a line, and judge the loop again."
            )
            % {"number": number}
        )
        for number in unlisted_conditions(verification, pinned)
    ]
    for matter in matters(loop, verification, pinned) if asked is None else asked:
        if matter.given is not None:
            continue
        if matter.kind == Kind.GENERAL:
            how = _("say on the loop's page how you know") if matter.in_words else _("confirm it on the loop's page")
            found.append(
                _("%(case)s: %(text)s Nobody has confirmed it yet: %(how)s.")
                % {"case": matter.case, "text": matter.text, "how": how}
            )
        else:
            found.append(
                _(
                    "%(tag)s: condition %(number)s of certificate %(certificate)s is not confirmed. Confirm "
                    "how it is met: %(text)s"
                )
                % {
                    "tag": matter.tag,
                    "number": matter.number,
                    "certificate": matter.certificate,
                    "text": matter.text,
                }
            )
    return found


def confirm(loop_id: int, user: User, *, mark: str, how: str, opened_version: int | None = None) -> Confirmation:
    """Confirm one matter of the loop as it stands.

    Some need words: how a condition is met, how one knows. Raises WorkflowRefused, StaleRecord,
    PermissionDenied.
    """
    how = how.strip()
    with recorded():
        loop, revision = held(loop_id, user, opened_version)
        matter = next((item for item in matters(loop) if item.mark == mark), None)
        if matter is None:
            raise WorkflowRefused(_("The loop no longer asks for this: look at it again."))
        if matter.given is not None:
            raise WorkflowRefused(
                _("%(printed_name)s confirmed this already.") % {"printed_name": matter.given.printed_name}
            )
        if matter.kind == Kind.CONDITION and not how:
            raise WorkflowRefused(_("Say how the condition is met: whoever approves and inspects the loop must know."))
        if matter.in_words and not how:
            raise WorkflowRefused(_("Say how you know: whoever approves and inspects the loop must be able to follow."))
        row = Confirmation.objects.create(
            loop=loop,
            letter=loop.letter,
            revision=revision,
            kind=matter.kind,
            tag=matter.tag,
            certificate_revision_id=matter.certificate_revision,
            number=matter.number,
            text=matter.text,
            mark=mark,
            how=how,
            person=user,
            printed_name=user.printed_name,
            confirmed_at=timezone.now(),
        )
        tell_of(Deed.CONFIRM, loop, user, revision, how, matter=matter.text, tag=matter.tag, mark=mark)
        return row


def confirm_each(
    loop_id: int, user: User, answers: Mapping[str, str], *, opened_version: int | None = None
) -> list[Confirmation]:
    """Confirm several matters, each by its mark with its own words: all of them or none.

    Raises what `confirm` raises; among several, the refusal begins with the matter that it speaks of.
    """
    with recorded():
        held(loop_id, user, opened_version)
        if not answers:
            raise WorkflowRefused(_("Nothing is ticked: tick each matter that you confirm."))
        rows = []
        for mark, how in answers.items():
            try:
                rows.append(confirm(loop_id, user, mark=mark, how=how, opened_version=opened_version))
            except WorkflowRefused as error:
                about = next((item for item in matters(Loop.objects.get(pk=loop_id)) if item.mark == mark), None)
                if about is None or len(answers) == 1:
                    raise
                name = f"{about.tag}: {about.text}" if about.tag else about.text
                raise WorkflowRefused(f"{name} {error}") from error
        return rows


def take_back(confirmation_id: int, user: User, *, why: str, opened_version: int | None = None) -> Confirmation:
    """Take a confirmation back by a later row; the reason is required."""
    why = why.strip()
    with recorded():
        given = Confirmation.objects.get(pk=confirmation_id, takes_back=None)
        loop, revision = held(given.loop_id, user, opened_version)
        if Confirmation.objects.filter(takes_back=given).exists():
            raise WorkflowRefused(_("This confirmation is taken back already."))
        if not why:
            raise WorkflowRefused(_("Say why you take it back: whoever relied on it must know."))
        row = Confirmation.objects.create(
            loop=loop,
            letter=loop.letter,
            revision=revision,
            kind=given.kind,
            tag=given.tag,
            certificate_revision_id=given.certificate_revision_id,
            number=given.number,
            text=given.text,
            mark=given.mark,
            how=why,
            person=user,
            printed_name=user.printed_name,
            confirmed_at=timezone.now(),
            takes_back=given,
        )
        tell_of(Deed.RETRACT, loop, user, revision, why, matter=given.text, tag=given.tag, mark=given.mark)
        return row


def held(loop_id: int, user: User, opened_version: int | None) -> tuple[Loop, Revision]:
    """The loop, held for writing by somebody who may confirm, with its newest revision."""
    loop = lock(Loop, loop_id, None)
    access.require(user, "loop.confirm", loop.site)
    refuse_stale(loop, opened_version)
    if loop.is_archived:
        raise WorkflowRefused(_("This loop is archived: bring it back first."))
    revision = latest_revision(loop)
    assert revision is not None
    return loop, revision
