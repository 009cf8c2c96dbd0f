"""An inspection from its beginning to its signature: the only code that writes it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Approval, Loop
from loops.services.approvals import in_force
from loops.services.verification import today_at
from registry import access
from registry.digests import digest
from registry.language import in_fixed_language
from registry.models import Attachment, AttachmentRetirement, Deed, Revision, User
from registry.plain import plain_text
from registry.services import attachments
from registry.services.attachments import Place
from registry.services.changes import Told, recorded, tell
from registry.services.passkeys import Answer
from registry.services.records import latest_revision, lock
from reports.inspection import items
from reports.inspection.asfound import Finding, differs, fault_of, judged
from reports.inspection.checklist import Builder, DraftLine
from reports.inspection.defects import raise_defects
from reports.inspection.due import after_months, months_of
from reports.inspection.models import (
    PHOTO,
    Grade,
    Inspection,
    Line,
    Occasion,
    Priority,
    Result,
    SignedInspection,
    photos_of,
)
from reports.inspection.signing import MEANING, Proof, mark_of, proven, what_is_signed

MOST_OPEN = 10
"""How many inspections of one loop may be under way at the same time."""
LONGEST_NOTE = 1000
LONGEST_FOUND = 200


class InspectionRefused(Exception):
    """The step cannot be taken; the text says why and what to do."""


class LineFault(Exception):
    """What was typed in a line cannot be kept; `faults` holds messages by the name of the field."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        self.faults = dict(faults)
        super().__init__("; ".join(self.faults.values()))


@dataclass(frozen=True)
class LineText:
    """What somebody typed in one line."""

    result: str = ""
    note: str = ""
    priority: str = ""
    found: Mapping[str, str] = field(default_factory=dict)

    @property
    def mark(self) -> str:
        """What tells two states of a line apart."""
        found = {name: text for name, text in self.found.items() if text}
        return digest([self.result, self.note, self.priority, found])[:16]


def state_of(line: Line) -> LineText:
    """What a line holds."""
    return LineText(line.result, line.note, line.priority, line.found)


def begin(loop_id: int, user: User, *, grade: str, occasion: str) -> Inspection:
    """Begin an inspection of a loop with the lines of its grade. Raises InspectionRefused, PermissionDenied."""
    if grade not in Grade.values or occasion not in Occasion.values:
        raise InspectionRefused(_("Choose how deep to look, and on which occasion."))
    if occasion == Occasion.INITIAL and grade != Grade.DETAILED:
        # IEC 60079-17:2013, 4.3, from memory.
        raise InspectionRefused(_("The inspection before first use is a detailed one: choose that grade."))
    with recorded():
        loop = lock(Loop, loop_id, None)
        access.require(user, "inspection.make", loop.site)
        if loop.is_archived:
            raise InspectionRefused(_("This loop is archived: bring it back first."))
        if Inspection.objects.filter(loop=loop, given_up_at=None, signed=None).count() >= MOST_OPEN:
            raise InspectionRefused(_("Too many inspections of this loop are under way: sign or give up one of them."))
        revision, approval = what_to_look_at(loop)
        inspection = Inspection.objects.create(
            loop=loop,
            grade=grade,
            occasion=occasion,
            revision=revision,
            approval=approval,
            items_version=items.VERSION,
            begun_by=user,
            begun_at=timezone.now(),
        )
        drafts = lines_of(loop, revision, grade, occasion)
        Line.objects.bulk_create(
            Line(
                inspection=inspection,
                position=position,
                place=draft.place[:120],
                subject=draft.subject[:60],
                item=draft.item,
                text=draft.text,
                expected=draft.expected,
                values=draft.values,
                target=draft.target,
            )
            for position, draft in enumerate(drafts, start=1)
        )
        return inspection


def held(inspection_id: int, user: User) -> Inspection:
    """An inspection under way, held for writing by somebody who may. Raises InspectionRefused, PermissionDenied."""
    found = Inspection.objects.select_for_update(of=("self",)).select_related("loop__site", "revision", "approval")
    inspection = found.get(pk=inspection_id)
    access.require(user, "inspection.make", inspection.loop.site)
    if hasattr(inspection, "signed"):
        raise InspectionRefused(_("This inspection is signed: what was found stays as it was signed."))
    if inspection.given_up_at:
        raise InspectionRefused(_("This inspection was given up: begin another."))
    return inspection


# -------------------------------------------------------------------------------------------------------------- lines


def save_line(inspection_id: int, line_id: int, user: User, typed: LineText, opened: str | None = None) -> Line:
    """Keep what was typed in one line, with the verdict of what was found where that differs from the record.

    `opened` is the mark of the line as the page showed it. Raises LineFault, InspectionRefused, PermissionDenied.
    """
    with recorded():
        inspection = held(inspection_id, user)
        line = Line.objects.select_related("saved_by").get(pk=line_id, inspection=inspection)
        faults = faults_of(line, typed)
        if faults:
            raise LineFault(faults)
        before = state_of(line)
        if typed.mark == before.mark:
            return line
        if opened is not None and opened != before.mark:
            words = _("%(who)s saved this line since you opened it: “%(what)s”. Look at it, then save yours again.")
            raise LineFault({"result": words % {"who": line.saved_by, "what": in_short(line)}})
        line.result, line.note, line.priority = typed.result, typed.note, typed.priority
        line.found = {name: text for name, text in typed.found.items() if text}
        line.judgement = judgement(inspection, [line])
        line.saved_by, line.saved_at = user, timezone.now()
        line.save()
        return line


def in_short(line: Line) -> str:
    """What a line says, in a few words."""
    return ", ".join([str(Result(line.result).label), *([line.note] if line.note else [])])


def faults_of(line: Line, typed: LineText) -> dict[str, str]:
    """What is wrong with what was typed in a line, by the name of the field."""
    faults: dict[str, str] = {}
    if typed.result not in Result.values:
        faults["result"] = _("Choose one of the results.")
    if typed.priority and typed.priority not in Priority.values:
        faults["priority"] = _("Choose one of the priorities.")
    for name, text in [("note", typed.note), *typed.found.items()]:
        try:
            plain_text(text)
        except ValidationError as error:
            faults[name] = str(error.messages[0])
    known = {value["name"]: value for value in line.values}
    for name, text in typed.found.items():
        if text and name in known and (fault := fault_of(name, text)):
            faults[name] = fault
    if faults:
        return faults
    if typed.result == Result.DEFECT:
        if not typed.note:
            faults["note"] = _("Say what is wrong: whoever remedies it must know.")
        if not typed.priority:
            faults["priority"] = _("Say how soon it is to be remedied.")
    elif typed.result == Result.NOT_CHECKED and not typed.note:
        faults["note"] = _("Say why it was not checked: it stays open until somebody looks.")
    elif typed.result in (Result.OK, Result.NOT_APPLICABLE) and differing(line, typed.found):
        faults["result"] = _("What was found differs from the record: that is a defect, of the plant or of the record.")
    return faults


def differing(line: Line, found: Mapping[str, str]) -> dict[str, str]:
    """The values that were found to differ from the record."""
    expected = {value["name"]: value["expected"] for value in line.values}
    return {
        name: text for name, text in found.items() if text and name in expected and differs(name, expected[name], text)
    }


def judgement(inspection: Inspection, lines: list[Line]) -> dict[str, Any] | None:
    """The verdict of the loop with what some lines found; None where nothing differs from the record."""
    findings = [Finding(line.target, found) for line in lines if (found := differing(line, line.found))]
    return judged(inspection.loop, inspection.revision, findings) if findings else None


def save_remark(inspection_id: int, user: User, text: str) -> Inspection:
    """Keep the remark on an inspection as a whole."""
    with recorded():
        inspection = held(inspection_id, user)
        inspection.remark = text
        inspection.save(update_fields=["remark"])
        return inspection


# ------------------------------------------------------------------------------------------------------------- photos


def place_of(line: Line) -> Place:
    return Place(PHOTO, line.pk, f"{line.inspection}, {line}"[:240], line.inspection.loop.site_id)


def add_photo(inspection_id: int, line_id: int, user: User, *, name: str, content: bytes) -> Attachment:
    """Attach a photo to a line of an inspection under way. Raises FileRefused, InspectionRefused, PermissionDenied."""
    media_type = attachments.media_type_of(content)
    with recorded():
        inspection = held(inspection_id, user)
        line = Line.objects.select_related("inspection__loop").get(pk=line_id, inspection=inspection)
        return attachments.take_in(place_of(line), user, name=name, content=content, media_type=media_type)


def retire_photo(inspection_id: int, photo_id: int, user: User, *, reason: str) -> AttachmentRetirement:
    """Let a photo no longer count, before the inspection is signed. Raises FileRefused, InspectionRefused."""
    with recorded():
        inspection = held(inspection_id, user)
        photo = Attachment.objects.get(pk=photo_id, kind=PHOTO)
        line = Line.objects.select_related("inspection__loop").get(pk=photo.record_id, inspection=inspection)
        return attachments.let_go(photo, place_of(line), user, reason=reason)


# ------------------------------------------------------------------------------------------------------------ the end


def give_up(inspection_id: int, user: User, *, text: str) -> Inspection:
    """End an inspection without a record; the reason is required. Raises InspectionRefused, PermissionDenied."""
    if not text:
        raise InspectionRefused(_("Say why it is given up."))
    with recorded():
        inspection = held(inspection_id, user)
        inspection.given_up_at = timezone.now()
        inspection.save(update_fields=["given_up_at"])
        tell_of(Deed.DISCARD, inspection, user, "", text=text)
        return inspection


def prove(inspection_id: int, user: User, password: str, passkey: Answer | None, shown: str) -> Proof:
    """See that it is the person who signs what the inspection holds now, and that this is what was shown.

    Raises InspectionRefused, SignatureRefused, SignatureLimited, PermissionDenied.
    """
    with transaction.atomic():
        inspection = held(inspection_id, user)
        lines = filled_lines(inspection)
        record = record_of(inspection, lines, judgement(inspection, lines))
        # A passkey's challenge is made of what was shown, so that its answer fits nothing else.
        if passkey is None and shown != mark_of(record):
            raise InspectionRefused(
                _("What this inspection holds is not what you were shown: look at it as it is now, then sign.")
            )
    return proven(record, user, password, passkey)


def sign(
    inspection_id: int, user: User, password: str, passkey: Answer | None = None, *, shown: str = ""
) -> SignedInspection:
    """Sign an inspection: its content becomes a record that nobody changes, and each defect is followed up from here.

    `shown` is the mark of what the person saw (reports.inspection.signing.mark_of): with a password nothing else is
    signed.

    Raises InspectionRefused, SignatureRefused and SignatureLimited (loops.services.signing), PermissionDenied.
    """
    proof = prove(inspection_id, user, password, passkey, shown)
    with recorded():
        inspection = held(inspection_id, user)
        lines = filled_lines(inspection)
        now, day = timezone.now(), today_at(inspection.loop.site)
        as_found = judgement(inspection, lines)
        body = record_of(inspection, lines, as_found)
        if what_is_signed(body) != proof.signed:
            raise InspectionRefused(_("Somebody changed a line in this moment: look at it again, then sign."))
        is_complete = all(line.result != Result.NOT_CHECKED for line in lines)
        due = next_due(inspection, day) if is_complete else None
        content = body | {
            "inspector": user.printed_name,
            "meaning": MEANING,
            "signed_at": now.astimezone(dt.UTC).isoformat(timespec="seconds"),
            "inspected_on": day.isoformat(),
            "next_due_on": due.isoformat() if due else "",
            "complete": is_complete,
        }
        signed = SignedInspection.objects.create(
            inspection=inspection,
            loop=inspection.loop,
            grade=inspection.grade,
            occasion=inspection.occasion,
            content=content,
            digest=digest(content),
            defect_count=sum(line.result == Result.DEFECT for line in lines),
            is_complete=is_complete,
            verdict=as_found["verdict"] if as_found else "",
            inspected_on=day,
            next_due_on=due,
            inspector=user,
            printed_name=user.printed_name[:120],
            meaning=MEANING,
            signed_at=now,
            signed_with=proof.signed_with,
            evidence=proof.evidence,
        )
        told = {"grade": inspection.grade, "defects": signed.defect_count, "complete": is_complete}
        tell_of(Deed.INSPECT, inspection, user, signed.digest, **told, signed_with=str(proof.signed_with))
        raise_defects(signed, [line for line in lines if line.result == Result.DEFECT], user)
        return signed


def filled_lines(inspection: Inspection) -> list[Line]:
    """The lines of an inspection that may be signed. Raises InspectionRefused while one has no result."""
    lines = list(inspection.lines.select_related("saved_by"))
    if open_lines := sum(not line.result for line in lines):
        raise InspectionRefused(
            _("%(count)d lines have no result yet: give each one, “not checked” where nobody could look.")
            % {"count": open_lines}
        )
    return lines


def next_due(inspection: Inspection, day: dt.date) -> dt.date | None:
    """When the next inspection of the same grade is due by the intervals of the site; None where none is planned."""
    months = months_of(inspection.loop.site).get(inspection.grade)
    return after_months(day, months) if months else None


def head_of(loop: Loop, revision: Revision, approval: Approval | None, grade: str, occasion: str) -> dict[str, Any]:
    """What is inspected, and by what, as plain data."""
    content = revision.snapshot
    areas = (row["area"]["name"] for circuit in content["circuits"] for row in circuit["members"] if row["area"])
    return {
        "loop": content["tag"],
        "service": content["service"],
        "drawing": content["drawing"],
        "site": str(loop.site),
        "areas": list(dict.fromkeys(areas)),
        "grade": grade,
        "occasion": occasion,
        "basis": items.BASIS,
        "items_version": items.VERSION,
        "revision": {"number": revision.number, "digest": revision.digest},
        "issue": approval.letter if approval else "",
        "remark": "",
    }


def record_now(inspection: Inspection) -> dict[str, Any]:
    """What an inspection under way holds now, as plain data with the verdict of what was found."""
    lines = list(inspection.lines.select_related("saved_by"))
    return record_of(inspection, lines, judgement(inspection, lines))


def what_to_look_at(loop: Loop) -> tuple[Revision, Approval | None]:
    """The revision that an inspection of a loop rests on: that of the issue in force, else the newest one."""
    approval = in_force(loop)
    revision = approval.revision if approval else latest_revision(loop)
    assert revision is not None
    return revision, approval


def lines_of(loop: Loop, revision: Revision, grade: str, occasion: str) -> list[DraftLine]:
    """The lines of an inspection; in English, because they are stored."""
    with in_fixed_language():
        return list(Builder(loop, revision.snapshot).lines(grade, occasion == Occasion.INITIAL))


def blank_record(loop: Loop, grade: str, occasion: str) -> dict[str, Any]:
    """An inspection that nobody has begun, as plain data in the shape of `record_of`: for paper."""
    revision, approval = what_to_look_at(loop)
    lines = lines_of(loop, revision, grade, occasion)
    blank: dict[str, Any] = {"result": "", "found": {}, "note": "", "priority": "", "judgement": None, "photos": []}
    rows = [vars(line) | blank | {"position": position} for position, line in enumerate(lines, start=1)]
    return head_of(loop, revision, approval, grade, occasion) | {"lines": rows, "as_found": None}


def record_of(inspection: Inspection, lines: list[Line], as_found: dict[str, Any] | None) -> dict[str, Any]:
    """The whole content of an inspection as plain data."""
    photos = photos_of(lines)
    head = head_of(inspection.loop, inspection.revision, inspection.approval, inspection.grade, inspection.occasion)
    return head | {
        "number": inspection.pk,
        "items_version": inspection.items_version,
        "begun_by": inspection.begun_by.printed_name,
        "begun_at": inspection.begun_at.astimezone(dt.UTC).isoformat(timespec="seconds"),
        "remark": inspection.remark,
        "lines": [
            {
                "position": line.position,
                "place": line.place,
                "subject": line.subject,
                "item": line.item,
                "text": line.text,
                "expected": line.expected,
                "values": line.values,
                "result": line.result,
                "found": line.found,
                "note": line.note,
                "priority": line.priority,
                "judgement": line.judgement,
                "saved_by": line.saved_by.printed_name if line.saved_by else "",
                "saved_at": line.saved_at.astimezone(dt.UTC).isoformat(timespec="seconds") if line.saved_at else "",
                "photos": [{"name": row.name, "sha256": row.sha256} for row in photos[line.pk]],
            }
            for line in lines
        ],
        "as_found": as_found,
    }


def tell_of(verb: Deed, inspection: Inspection, user: User, mark: str, **detail: Any) -> None:
    """Tell the change log what became of an inspection."""
    loop = inspection.loop
    told = {"loop": loop.pk, "revision_of_loop": inspection.revision.number} | detail
    tell(Told(verb, "inspection", inspection.pk, str(inspection), user, loop.site_id, mark, told))


def visible_inspections(user: User) -> QuerySet[Inspection]:
    """The inspections of all loops that a person may see."""
    sites = access.sites_of(user) if access.may(user, "inspection.view") else []
    return Inspection.objects.filter(loop__site_id__in=sites).select_related(
        "loop__site", "begun_by", "approval", "revision", "signed__inspector"
    )
