"""What leaves the house: issuing a loop with its sheet, drafts, and reading what was stored."""

from __future__ import annotations

import datetime as dt
import hashlib
import logging

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from loops.models import Loop
from loops.services.approvals import approve, prove
from loops.services.refusals import WorkflowRefused
from loops.services.signing import Proof
from registry.models import User
from registry.services.changes import Deed, Told, recorded, tell
from registry.services.passkeys import Answer
from reports.models import Sheet
from reports.pdf import PageSize
from reports.sheets.build import paper_content
from reports.sheets.content import SheetContent
from reports.sheets.paper import sheet_pdf

logger = logging.getLogger(__name__)


class SheetNotMade(Exception):
    """The sheet could not be rendered; the text says what that means for the reader."""


class SheetDamaged(Exception):
    """Stored bytes do not match their digest: they are given to nobody."""


def issue(
    loop_id: int,
    user: User,
    password: str,
    opened_version: int | None,
    text: str = "",
    *,
    passkey: Answer | None = None,
) -> Sheet:
    """Sign a loop in review with a password or a passkey and store its sheet, in one transaction.

    The sheet is rendered before, from a rehearsal of the signature, so that nobody who writes has to wait for that;
    what the signature says then must be what was rendered, to the letter.

    Raises what loops.services.approvals.prove and approve raise (WorkflowRefused, PermissionDenied, StaleRecord;
    SignatureRefused, SignatureLimited), and SheetNotMade; then nothing is signed and the loop stays as it was.
    """
    proof = prove(loop_id, user, password=password, passkey=passkey, opened_version=opened_version)
    content = rehearsed(loop_id, user, proof, opened_version, text)
    data = rendered(content, paper_for(content))
    with recorded():
        approval = approve(loop_id, user, proof, opened_version=opened_version, text=text)
        if paper_content(approval.loop, approval.revision, approval.verification, approval) != content:
            raise WorkflowRefused(_("This loop was changed while you signed it: look at it again, then sign."))
        sheet = Sheet.objects.create(
            approval=approval,
            number=free_number(approval.loop, content.number),
            bytes=data,
            sha256=hashlib.sha256(data).hexdigest(),
        )
        tell(
            Told(
                Deed.ISSUE,
                "sheet",
                sheet.pk,
                sheet.number,
                actor=user,
                site_id=approval.loop.site_id,
                digest=sheet.sha256,
                detail={"loop": approval.loop_id, "letter": approval.letter},
            )
        )
        return sheet


def rehearsed(loop_id: int, user: User, proof: Proof, opened_version: int | None, text: str) -> SheetContent:
    """What the sheet will say: everything is done as it will be, and undone."""
    with recorded():
        approval = approve(loop_id, user, proof, opened_version=opened_version, text=text)
        content = paper_content(approval.loop, approval.revision, approval.verification, approval)
        transaction.set_rollback(True)
    return content


def draft_pdf(loop: Loop, *, made_at: dt.datetime | None = None, paper: PageSize | None = None) -> bytes:
    """A print of the loop as it stands, marked as a draft on every page; stored nowhere. Raises SheetNotMade."""
    verification = loop.verification
    if verification is None:
        raise SheetNotMade(_("This loop has no verdict yet: save it once, then print it."))
    content = paper_content(loop, verification.revision, verification, None, made_at=made_at or timezone.now())
    return rendered(content, paper or paper_for(content))


def sheet_bytes(sheet: Sheet) -> bytes:
    """The stored bytes, after checking that they are the ones that were issued. Raises SheetDamaged."""
    data = bytes(sheet.bytes)
    if hashlib.sha256(data).hexdigest() != sheet.sha256:
        raise SheetDamaged(
            _("The stored bytes of sheet %(number)s do not match their digest: tell the administrator.")
            % {"number": sheet.number}
        )
    return data


def paper_for(content: SheetContent) -> PageSize:
    """Letter where the site is judged by North American rules, else A4."""
    return PageSize.LETTER if content.basis_key == "NEC" else PageSize.A4


def rendered(content: SheetContent, paper: PageSize) -> bytes:
    """The sheet's bytes. Whatever fails in rendering is logged and told as SheetNotMade."""
    try:
        return sheet_pdf(content, paper)
    except Exception as error:
        logger.exception("Sheet %s could not be rendered", content.number)
        raise SheetNotMade(_("The sheet could not be made, so nothing was signed: tell the administrator.")) from error


def free_number(loop: Loop, number: str) -> str:
    """The number of a new sheet; another loop whose site and tag spell the same gets its key added."""
    return f"{number}-{loop.pk}" if Sheet.objects.filter(number=number).exists() else number


__all__ = ["SheetDamaged", "SheetNotMade", "draft_pdf", "issue", "sheet_bytes"]
