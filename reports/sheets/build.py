"""From the stored snapshot, the pinned revisions and the stored verification to what a sheet says.

Nothing is read from the register as it stands now: what a sheet prints is what was judged. The site's time zone, for
printing times, and what people have confirmed are taken as they are.
"""

from __future__ import annotations

import datetime as dt
import json
import zoneinfo
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Approval, Loop, LoopState, ReviewAnswer, Verb, Verification, WorkflowEvent
from loops.services.confirmations import Matter, matters
from loops.services.reviews import AGREED
from loops.services.tables import tables_of
from loops.views.since_issue import since_issue
from registry.context import CAUTION
from registry.language import in_language_of_the_house
from registry.models import Revision, Site
from registry.showing import name_of
from registry.stored import said
from registry.words import lazily
from reports.sheets import words
from reports.sheets.circuits import circuit_content, curves
from reports.sheets.content import Changed, Confirmed, Issue, Moment, SheetContent, Signature
from reports.sheets.lengths import content_in

CHANGES_SHOWN = 24
PREPARED = lazily("I have prepared this revision and submit it for approval.")


def sheet_content(
    loop: Loop,
    revision: Revision,
    verification: Verification,
    approval: Approval | None,
    *,
    made_at: dt.datetime | None = None,
) -> SheetContent:
    """What a sheet of this revision says; without an approval it is a draft, printed at `made_at` (else now)."""
    snapshot = revision.snapshot
    moment = approval.approved_at if approval else made_at or timezone.now()
    pinned = Revision.objects.in_bulk(pinned_keys(snapshot))
    drawings = area_drawings(snapshot, verification)
    inputs, results = verification.inputs, verification.results
    letter = approval.letter if approval else loop.letter
    basis = inputs[0].get("basis", "") if inputs else ""
    asked = matters(loop, verification)
    content = SheetContent(
        number=sheet_number(loop, snapshot["tag"], letter),
        issued=approval is not None,
        state=state_words(loop, approval),
        site=snapshot["site"]["name"],
        tag=snapshot["tag"],
        service=snapshot["service"],
        drawing=snapshot["drawing"],
        letter=letter,
        basis_key=basis,
        basis=words.BASES.get(basis, ""),
        judged_on=verification.judged_on.isoformat(),
        rules=rules_in_words(verification),
        made_at=moment,
        moment=moment_at(moment, loop.site),
        verdict=verification.verdict,
        word=words.VERDICTS[verification.verdict],
        limiting=said(verification.limiting),
        least_margin=words.percent(verification.least_margin),
        function_verdict=verification.function_verdict,
        function_word=words.FUNCTIONS.get(verification.function_verdict, ""),
        signatures=signatures(loop, revision, approval),
        circuits=tuple(
            circuit_content(
                circuit,
                document,
                result,
                pinned,
                drawings,
                tuple(confirmed(matter, loop.site) for matter in asked if matter.case == result["case"]),
            )
            for circuit, document, result in zip(snapshot["circuits"], inputs, results, strict=True)
        ),
        notes=snapshot["notes"],
        history=history(loop, approval),
        revision_number=revision.number,
        revision_digest=revision.digest,
        verification_digest=verification.digest,
        caution=CAUTION,
        link=f"{settings.SITE_URL.rstrip('/')}{live_address(loop, approval)}",
        conditions=tuple(confirmed(matter, loop.site) for matter in asked if matter.kind == "condition"),
        remark=remark_of(loop, approval),
    )
    return content_in(content, loop.site.length_unit)


def paper_content(
    loop: Loop,
    revision: Revision,
    verification: Verification,
    approval: Approval | None,
    *,
    made_at: dt.datetime | None = None,
) -> SheetContent:
    """What is printed of this revision: beside sheet_content what only paper shows, and what takes time to gather.

    The ignition curves, what changed since the issue before, and the record that travels with the sheet. It is in the
    language of the installation: many people read one sheet, and its bytes are kept.
    """
    with in_language_of_the_house():
        return gathered(loop, revision, verification, approval, made_at)


def gathered(
    loop: Loop,
    revision: Revision,
    verification: Verification,
    approval: Approval | None,
    made_at: dt.datetime | None,
) -> SheetContent:
    """The same in the language that holds."""
    content = sheet_content(loop, revision, verification, approval, made_at=made_at)
    tables = tables_of(loop.site)
    previous = previous_issue(loop, approval)
    changes = changes_since(previous, revision, verification)
    return replace(
        content,
        circuits=tuple(
            replace(circuit, curves=curves(document, tables))
            for circuit, document in zip(content.circuits, verification.inputs, strict=True)
        ),
        previous=previous.letter if previous else "",
        changes=tuple(changes[:CHANGES_SHOWN]),
        more_changes=max(0, len(changes) - CHANGES_SHOWN),
        record=record_of(revision, verification),
    )


def previous_issue(loop: Loop, approval: Approval | None) -> Approval | None:
    """The issue before this one; for a print of what is not issued, the newest issue."""
    issues = loop.approvals.select_related("revision", "verification").order_by("-pk")
    return issues.filter(pk__lt=approval.pk).first() if approval else issues.first()


def changes_since(previous: Approval | None, revision: Revision, verification: Verification) -> list[Changed]:
    """All that differs from the issue before, in words; nothing for a first issue."""
    if previous is None or previous.revision_id == revision.pk:
        return []
    parts = since_issue(previous, revision, verification)
    return [
        Changed(f"{part.title}: {row['label']}", row["before"], row["after"]) for part in parts for row in part.rows
    ]


def record_of(revision: Revision, verification: Verification) -> bytes:
    """The record, what it was judged from and the results as JSON: what a program reads from the sheet."""
    record = {
        "about": _("The record that this sheet prints, with the case documents that were judged and their results."),
        "revision": {"number": revision.number, "sha256": revision.digest, "content": revision.snapshot},
        "verification": {
            "sha256": verification.digest,
            "judged_on": verification.judged_on.isoformat(),
            "rules": verification.engine,
            "verdict": verification.verdict,
            "cases": verification.inputs,
            "results": verification.results,
        },
    }
    return json.dumps(record, ensure_ascii=False, sort_keys=True, indent=1).encode()


def confirmed(matter: Matter, site: Site) -> Confirmed:
    """A matter with who confirmed it and when, in the time of the site."""
    about = (
        _("%(tag)s: %(certificate)s, condition %(number)s")
        % {"tag": matter.tag, "certificate": name_of(matter.certificate), "number": matter.number}
        if matter.tag
        else ""
    )
    if matter.given is None:
        return Confirmed(said(matter.text), about=about)
    by = f"{matter.given.printed_name}, {moment_at(matter.given.confirmed_at, site).local}"
    return Confirmed(said(matter.text), by, matter.given.how, about)


def rules_in_words(verification: Verification) -> str:
    """The version of the rules, and the site's own tables where it has some."""
    tables = next((result["tables"] for result in verification.results if result.get("tables")), ())
    return ", ".join([verification.engine, *tables])


def state_words(loop: Loop, approval: Approval | None) -> str:
    """What the paper is worth. A print of an issued record is no issued sheet."""
    if approval is not None:
        return _("Issued")
    if loop.state == LoopState.ISSUED:
        return _("Print only: the issued sheet counts")
    return loop.get_state_display()


def sheet_number(loop: Loop, tag: str, letter: str) -> str:
    """The number of a sheet: site, tag and revision letter."""
    return f"{loop.site.code}-{tag}-{letter}"


def moment_at(moment: dt.datetime, site: Site) -> Moment:
    """A time in the zone of the site, named, and in UTC."""
    local = moment.astimezone(zoneinfo.ZoneInfo(site.time_zone))
    utc = moment.astimezone(dt.UTC)
    return Moment(f"{local:%Y-%m-%d %H:%M} {site.time_zone}", f"{utc:%Y-%m-%d %H:%M} UTC")


def live_address(loop: Loop, approval: Approval | None) -> str:
    """Where the code on the sheet leads: to the state of this issue; a draft leads to its loop."""
    if approval is not None and approval.short_id:
        return reverse("reports:live", args=[approval.short_id])
    return reverse("loop", args=[loop.pk])


def signatures(loop: Loop, revision: Revision, approval: Approval | None) -> tuple[Signature, ...]:
    """Who changed, prepared and approved. What has not been signed yet is there without a name."""
    site = loop.site
    changed = Signature(
        (_("Last change (save %(number)s)") % {"number": revision.number}),
        str(revision.author),
        moment_at(revision.created_at, site),
    )
    if approval is None:
        prepared = Signature(_("Prepared"))
        if loop.submitted_by is not None and loop.submitted_at is not None:
            submitted = moment_at(loop.submitted_at, site)
            prepared = Signature(_("Prepared"), loop.submitted_by.printed_name, submitted, PREPARED)
        return changed, prepared, *reviewed(loop, revision), Signature(_("Approved"))
    event = submission(loop, approval)
    return (
        changed,
        Signature(
            _("Prepared"), approval.prepared_name, moment_at(event.created_at, site) if event else None, PREPARED
        ),
        *reviewed(loop, revision, approval),
        Signature(_("Approved"), approval.printed_name, moment_at(approval.approved_at, site), approval.meaning),
    )


def reviewed(loop: Loop, revision: Revision, approval: Approval | None = None) -> list[Signature]:
    """Who reviewed the revision without objection, in the submission that was approved (else the last one)."""
    event = submission(loop, approval) if approval else None
    since = event.created_at if event else loop.submitted_at
    if since is None:
        return []
    answers = ReviewAnswer.objects.filter(
        request__revision=revision, answered_at__gte=since, word=ReviewAnswer.Word.AGREED
    ).order_by("pk")
    return [
        Signature(_("Reviewed"), answer.printed_name, moment_at(answer.answered_at, loop.site), AGREED)
        for answer in answers
    ]


def submission(loop: Loop, approval: Approval) -> WorkflowEvent | None:
    """The submission that an approval answered."""
    return (
        WorkflowEvent.objects.filter(
            loop=loop,
            verb=Verb.SUBMIT,
            letter=approval.letter,
            actor=approval.submitted_by_id,
            created_at__lte=approval.approved_at,
        )
        .order_by("-pk")
        .first()
    )


def remark_of(loop: Loop, approval: Approval | None) -> str:
    """What the approver wrote beside the signature."""
    if approval is None:
        return ""
    event = WorkflowEvent.objects.filter(loop=loop, verb=Verb.APPROVE, letter=approval.letter).order_by("-pk").first()
    return event.text if event else ""


def history(loop: Loop, approval: Approval | None) -> tuple[Issue, ...]:
    """Every issue up to this one, newest first, with the reason that began its letter."""
    approvals = loop.approvals.order_by("-pk")
    if approval is not None:
        approvals = approvals.filter(pk__lte=approval.pk)
    reasons = dict(
        WorkflowEvent.objects.filter(loop=loop, verb=Verb.REOPEN).order_by("pk").values_list("letter", "text")
    )
    return tuple(
        Issue(
            letter=row.letter,
            at=moment_at(row.approved_at, loop.site),
            prepared=row.prepared_name,
            approved=row.printed_name,
            reason=reasons.get(row.letter, "") or (_("First issue") if row.letter == "A" else ""),
            digest=row.revision_digest[:12],
        )
        for row in approvals
    )


def pinned_keys(snapshot: Mapping[str, Any]) -> set[int]:
    """Keys of the register revisions that a loop snapshot rests on."""
    return set(
        keys(row.get(name) for circuit in snapshot["circuits"] for row in circuit["members"] for name in MEMBER_PINS)
    ) | set(keys(row.get("cable_type_revision") for circuit in snapshot["circuits"] for row in circuit["cables"]))


MEMBER_PINS = ("equipment_revision", "certificate_revision")


def keys(relations: Iterable[Mapping[str, Any] | None]) -> list[int]:
    return [relation["id"] for relation in relations if relation]


def area_drawings(snapshot: Mapping[str, Any], verification: Verification) -> dict[int, str]:
    """The classification drawing of each area, as the area stood when the loop was judged."""
    areas = set(keys(row["area"] for circuit in snapshot["circuits"] for row in circuit["members"]))
    rows = (
        Revision.objects.filter(kind="area", record_id__in=areas, created_at__lte=verification.created_at)
        .order_by("number")
        .values_list("record_id", "snapshot__drawing")
    )
    return {key: drawing or "" for key, drawing in rows}
