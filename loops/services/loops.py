"""Saving a loop: text → entry → rows → revision → verification, in one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.entries import LoopEntry
from loops.models import CableRun, Loop, LoopState, Member, Verb
from loops.services.letters import letter_after
from loops.services.steps import record_step
from loops.services.verification import verify
from registry import access
from registry.choices import remembered_choices
from registry.models import CableType, HazardousArea, Revision, Terminals
from registry.prepared import PreparedRead
from registry.reading import read_entry
from registry.selectors import record_text
from registry.services.changes import recorded
from registry.services.records import (
    Author,
    EntryRefused,
    latest_revision,
    latest_revisions,
    lock,
    record_revision,
    refuse_stale,
    write,
)


def save_loop(
    data: Mapping[str, Any],
    author: Author,
    *,
    loop_id: int | None = None,
    opened_version: int | None = None,
    action: str = "loop.edit",
) -> Loop:
    """Read nested text and save it as a loop, with its revision and its verdict. `action` is what the author must be
    allowed at the site, before and after.

    An issued loop begins its next revision letter as a draft; what was issued stays as it is. Saving a withdrawn loop
    does so even where nothing differs: what was wrong may have been mended on site, and the way back to an issue leads
    through a signature. Raises EntryRefused, StaleRecord, PermissionDenied; then nothing is saved.
    """
    with remembered_choices():
        cleaned, errors = read_entry(LoopEntry, data)
    if errors:
        raise EntryRefused(errors)
    access.require(author.user, action, cleaned["site"])
    with recorded():
        loop = Loop(owner=author.user) if loop_id is None else lock(Loop, loop_id, None)
        if loop.pk:
            if loop.site_id == cleaned["site"].pk:
                loop.site = cleaned["site"]
            access.require(author.user, action, loop.site)
            refuse_stale(loop, opened_version)
            refuse_locked(loop, cleaned)
        refuse_archived(loop, cleaned)
        write(loop, cleaned, Pins(cleaned))
        loop = written(loop.pk)
        revision = record_revision(loop, author, anew=loop.state == LoopState.WITHDRAWN)
        if revision is not None and loop.state in {LoopState.ISSUED, LoopState.RETURNED, LoopState.WITHDRAWN}:
            reopen(loop, revision, author)
        verify(loop, revision or newest(loop))
        loop.save()
    return loop


def written(pk: int) -> Loop:
    """A loop as it stands in the database now, with its site and owner."""
    loop = WRITTEN.first(pk)
    assert loop is not None
    return loop


WRITTEN: PreparedRead[Loop] = PreparedRead(lambda pk: Loop.objects.filter(pk=pk).select_related("site", "owner"))


def newest(loop: Loop) -> Revision:
    """The newest revision of a loop that has been saved."""
    revision = latest_revision(loop)
    if revision is None:
        raise LookupError(_("%(loop)s has no revision.") % {"loop": loop})
    return revision


def refuse_locked(loop: Loop, cleaned: Mapping[str, Any]) -> None:
    """What may not change: a loop in review, an archived loop, the site of an issued one."""
    if loop.state == LoopState.IN_REVIEW:
        raise EntryRefused({"tag": [_("This loop is in review: take it back to draft first, then change it.")]})
    if loop.is_archived:
        raise EntryRefused({"tag": [_("This loop is archived: bring it back first, then change it.")]})
    for name in ("site", "tag"):
        if cleaned[name] != getattr(loop, name) and loop.approvals.exists():
            raise EntryRefused(
                {
                    name: [
                        (
                            _("The %(name)s of an issued loop stays: make a new loop and archive this one.")
                            % {"name": name}
                        )
                    ]
                }
            )


def refuse_archived(loop: Loop, cleaned: Mapping[str, Any]) -> None:
    """An archived type or area stays where the loop has it already, and is not chosen anew."""
    archived = [
        (f"circuits.{index}.{rows}.{position}.{name}", name, row[name])
        for index, circuit in enumerate(cleaned["circuits"])
        for rows, names in (("members", ("terminals", "area")), ("cables", ("cable_type",)))
        for position, row in enumerate(circuit[rows])
        for name in names
        if row[name] is not None and is_archived(row[name])
    ]
    if not archived:
        return
    members = Member.objects.filter(circuit__loop=loop) if loop.pk else Member.objects.none()
    runs = CableRun.objects.filter(circuit__loop=loop) if loop.pk else CableRun.objects.none()
    standing = {
        "terminals": set(members.values_list("terminals_id", flat=True)),
        "area": set(members.values_list("area_id", flat=True)),
        "cable_type": set(runs.values_list("cable_type_id", flat=True)),
    }
    errors = {
        path: [(_("%(name)s is archived: choose one that is in use.") % {"name": record})]
        for path, name, record in archived
        if record.pk not in standing[name]
    }
    if errors:
        raise EntryRefused(errors)


def is_archived(record: Terminals | HazardousArea | CableType) -> bool:
    return (record.equipment if isinstance(record, Terminals) else record).is_archived


def reopen(loop: Loop, revision: Revision, author: Author) -> None:
    """A change after issue or return starts a draft again; after an issue under the next letter."""
    if loop.state in {LoopState.ISSUED, LoopState.WITHDRAWN}:
        loop.letter = letter_after(loop.letter)
        record_step(Verb.REOPEN, loop, author.user, revision, author.reason)
    loop.state = LoopState.DRAFT
    loop.submitted_by = None
    loop.submitted_at = None


class Pins:
    """Pins each member and run to the newest revision of what it uses, at the moment of saving.

    With `named`, for a snapshot of rows that are never saved, the names of all revisions are read at once.
    """

    def __init__(self, cleaned: Mapping[str, Any], *, named: bool = False) -> None:
        members = [row for circuit in cleaned["circuits"] for row in circuit["members"]]
        runs = [row for circuit in cleaned["circuits"] for row in circuit["cables"]]
        self.newest = latest_revisions(
            {
                "equipment": {row["terminals"].equipment_id for row in members},
                "certificate": {row["terminals"].certificate_id for row in members if row["terminals"].certificate_id},
                "cable_type": {row["cable_type"].pk for row in runs if row["cable_type"]},
            }
        )
        keys = [key for found in self.newest.values() for key in found.values()] if named else []
        self.named = Revision.objects.only("label", "number").in_bulk(keys)

    def __call__(self, record: models.Model) -> None:
        if isinstance(record, Member):
            terminals = record.terminals
            self.pin(record, "equipment_revision", self.newest["equipment"][terminals.equipment_id])
            certificate = self.newest["certificate"].get(terminals.certificate_id or 0)
            self.pin(record, "certificate_revision", certificate)
        elif isinstance(record, CableRun):
            self.pin(record, "cable_type_revision", self.newest["cable_type"].get(record.cable_type_id or 0))

    def pin(self, record: models.Model, name: str, key: int | None) -> None:
        setattr(record, f"{name}_id", key)
        if key in self.named:
            setattr(record, name, self.named[key])


def is_whole(loop: Loop) -> bool:
    """Whether a loop was just read with all its rows (loops.selectors.whole_loops)."""
    return "circuits" in getattr(loop, "_prefetched_objects_cache", {})


def changed_pins(loop: Loop) -> list[str]:
    """Names of what was changed in the register since the loop was saved: its verdict rests on older values."""
    if is_whole(loop):
        circuits = loop.circuits.all()
        members = [row for circuit in circuits for row in circuit.members.all()]
        runs = [row for circuit in circuits for row in circuit.cables.all() if row.cable_type_id]
    else:
        rows = Member.objects.filter(circuit__loop=loop)
        members = list(rows.select_related("terminals__equipment", "terminals__certificate"))
        runs = list(CableRun.objects.filter(circuit__loop=loop, cable_type__isnull=False).select_related("cable_type"))
    newest = latest_revisions(
        {
            "equipment": {row.terminals.equipment_id for row in members},
            "certificate": {row.terminals.certificate_id for row in members if row.terminals.certificate_id},
            "cable_type": {row.cable_type_id for row in runs if row.cable_type_id},
        }
    )
    equipment, certificates, cables = (newest[kind] for kind in ("equipment", "certificate", "cable_type"))
    changed = [
        str(row.terminals.equipment)
        for row in members
        if equipment[row.terminals.equipment_id] != row.equipment_revision_id
    ]
    changed += [
        str(row.terminals.certificate)
        for row in members
        if certificates.get(row.terminals.certificate_id or 0) != row.certificate_revision_id
    ]
    changed += [str(row.cable_type) for row in runs if cables[row.cable_type_id or 0] != row.cable_type_revision_id]
    return list(dict.fromkeys(changed))


def refresh(loop_id: int, author: Author, *, opened_version: int | None = None) -> Loop:
    """Pin a loop to the newest revisions of all that it uses and judge it again, all else as it stands."""
    with recorded():
        loop = lock(Loop, loop_id, None)
        return save_loop(record_text(loop), author, loop_id=loop_id, opened_version=opened_version)


def archive_loop(loop: Loop, archived: bool, author: Author, *, opened_version: int | None = None) -> Loop:
    """Archive a loop or bring it back; the record and all that was issued stay readable."""
    access.require(author.user, "loop.edit", loop.site)
    with recorded():
        loop = lock(Loop, loop.pk, opened_version)
        if loop.state == LoopState.IN_REVIEW:
            raise EntryRefused({"tag": [_("This loop is in review: take it back to draft first.")]})
        loop.archived_at = timezone.now() if archived else None
        loop.version += 1
        verify(loop, record_revision(loop, author) or newest(loop))
        loop.save()
    return loop
