"""What a pack holds: the sheet of each loop, as it was issued or as a draft, with what the sheet says."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _

from loops import selectors
from loops.models import Loop
from loops.services.approvals import in_force
from registry import access
from registry.models import User
from reports import pdf
from reports.models import Sheet
from reports.services import SheetDamaged, paper_for, sheet_bytes
from reports.sheets.build import paper_content, sheet_content
from reports.sheets.content import SheetContent
from reports.sheets.paper import sheet_document

PORTION = 50


@dataclass(frozen=True)
class Part:
    """One loop: `data` are the bytes of its issued sheet; a draft has a document that is yet to be rendered."""

    loop_id: int
    content: SheetContent
    data: bytes = b""
    sha256: str = ""
    document: pdf.Document | None = None

    @property
    def issued(self) -> bool:
        return self.document is None


@dataclass(frozen=True)
class LeftOut:
    """A loop that has no place in a pack, and why."""

    tag: str
    why: str


def parts_of(user: User, keys: Sequence[int], *, drafts: bool, made_at: dt.datetime) -> Iterator[Part | LeftOut]:
    """The parts of a pack by site and tag: the issue in force of each loop, else a draft where drafts are wanted.

    Raises PermissionDenied where the person may not see a loop (any more), SheetDamaged for stored bytes that are not
    those that were issued.
    """
    visible = selectors.visible_loops(user).filter(pk__in=list(keys))
    ordered = list(visible.order_by("site__code", "tag").values_list("pk", flat=True))
    if len(ordered) != len(set(keys)):
        raise PermissionDenied(_("You may not see all of these loops any more: choose again."))
    for start in range(0, len(ordered), PORTION):
        portion = ordered[start : start + PORTION]
        loops = visible.select_related("site", "submitted_by", "verification__revision__author").in_bulk(portion)
        for key in portion:
            yield part_of(user, loops[key], drafts=drafts, made_at=made_at)


def part_of(user: User, loop: Loop, *, drafts: bool, made_at: dt.datetime) -> Part | LeftOut:
    """The part of one loop."""
    access.require(user, "sheet.view", loop.site)
    approval = in_force(loop)
    if approval is not None:
        sheet = Sheet.objects.filter(approval=approval).first()
        if sheet is None:
            raise SheetDamaged(_("The sheet of %(tag)s is missing: tell the administrator.") % {"tag": loop.tag})
        content = sheet_content(loop, approval.revision, approval.verification, approval)
        return Part(loop.pk, content, sheet_bytes(sheet), sheet.sha256)
    if not drafts:
        return LeftOut(loop.tag, _("it has no issue in force"))
    if loop.verification is None:
        return LeftOut(loop.tag, _("it has no verdict yet"))
    content = paper_content(loop, loop.verification.revision, loop.verification, None, made_at=made_at)
    return Part(loop.pk, content, document=sheet_document(content, paper_for(content)))
