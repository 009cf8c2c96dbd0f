"""The pages of what leaves the house: signing, stored sheets, drafts."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from loops import selectors
from loops.models import Approval, Loop, LoopState, Verb
from loops.services.approvals import obstacles_to_issue, refusal_to_sign
from loops.services.confirmations import matters
from loops.services.refusals import WorkflowRefused
from loops.services.reviews import requests_now
from loops.services.signing import MEANING, SignatureLimited, new_nonce, passkey_options
from loops.telling import told
from loops.views.requests import opened_version, person, typed
from loops.views.since_issue import since_issue
from registry import access
from registry.services.passkeys import Answer
from registry.services.records import StaleRecord, latest_revision
from registry.views.files import kept_apart
from registry.words import lazily
from reports.files import file_name
from reports.models import Sheet
from reports.pdf import PageSize, PdfError
from reports.services import SheetDamaged, SheetNotMade, draft_pdf, issue, sheet_bytes
from reports.sheets.build import sheet_content
from reports.typicals import alike, typical_pdf

NO_VERDICT = lazily("This loop has no verdict yet: save it once, then print it.")
PAPERS = {"a4": PageSize.A4, "letter": PageSize.LETTER}


NONCES = "signing"
"""Where the session keeps the nonces of the pages that are open for signing, by loop."""
PAGES_KEPT = 20


@sensitive_post_parameters("password", "credential")
@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything that is being signed, and the signature."""
    loop = visible_loop(request, pk)
    if request.method != "POST":
        return approve_page(request, loop)
    password, passkey = request.POST.get("password", ""), passkey_answer(request, NONCES, loop.pk)
    if not password and passkey is None and person(request).has_usable_password():
        return approve_page(request, loop, _("Type your password: it signs the loop."), at="id-password", status=400)
    try:
        text = typed(request, "text", 2000)
        sheet = issue(loop.pk, person(request), password, opened_version(request), text, passkey=passkey)
    except StaleRecord:
        refusal = _("Somebody changed this loop since you opened it. Look at it again as it is now, then sign.")
        return approve_page(request, visible_loop(request, pk), refusal, status=409)
    except PermissionDenied as error:
        return approve_page(request, loop, str(error) or _("You may not sign this loop."), status=403)
    except SignatureLimited as error:
        return approve_page(request, visible_loop(request, pk), str(error), at="id-password", status=429)
    except WorkflowRefused as error:
        loop = visible_loop(request, pk)
        stands = loop.state == LoopState.IN_REVIEW and not loop.is_archived and not obstacles_to_issue(loop)
        at, status = ("id-password", 400) if stands else ("", 409)
        return approve_page(request, loop, str(error), at=at, status=status)
    except SheetNotMade as error:
        return approve_page(request, visible_loop(request, pk), str(error), status=500)
    messages.success(
        request, (_("%(tag)s was approved and issued: sheet %(number)s.") % {"tag": loop.tag, "number": sheet.number})
    )
    return redirect("loop", pk=loop.pk)


def passkey_answer(request: HttpRequest, name: str, pk: int) -> Answer | None:
    """What a passkey answered to the page that was open; its nonce, which the session keeps under a name, serves
    once."""
    text = request.POST.get("credential", "")
    if not text:
        return None
    nonces = request.session.get(name, {})
    nonce = nonces.pop(str(pk), "")
    request.session[name] = nonces
    return Answer(text, host_name(request), nonce)


def submit_note(loop: Loop) -> str:
    """What whoever submitted the loop last wrote to the approver."""
    return loop.events.filter(verb=Verb.SUBMIT).order_by("-pk").values_list("text", flat=True).first() or ""


def asked_of_passkey(request: HttpRequest, loop: Loop) -> Any:
    """What the page asks of a passkey; empty where the person has none."""
    if loop.verification is None:
        return {}
    nonce = new_nonce()
    revision = loop.verification.revision
    asked = passkey_options(loop, revision, loop.verification, person(request), host_name(request), nonce)
    if asked:
        keep_nonce(request, NONCES, loop.pk, nonce)
    return asked


def keep_nonce(request: HttpRequest, name: str, pk: int, nonce: str) -> None:
    """Keep the nonce of a page that is open for signing in the session, with those of the last pages."""
    others = [item for item in request.session.get(name, {}).items() if item[0] != str(pk)]
    request.session[name] = dict(others[1 - PAGES_KEPT :]) | {str(pk): nonce}


def host_name(request: HttpRequest) -> str:
    return request.get_host().partition(":")[0]


def visible_loop(request: HttpRequest, pk: int) -> Loop:
    """The loop with all that is shown of it, or 404 where there is none that the person may see."""
    loops = selectors.visible_loops(person(request)).select_related(
        "site", "submitted_by", "verification__revision__author"
    )
    loop: Loop = get_object_or_404(loops, pk=pk)
    access.require(person(request), "loop.view", loop.site)
    return loop


def approve_page(
    request: HttpRequest, loop: Loop, refusal: str = "", *, at: str = "", status: int = 200
) -> HttpResponse:
    """The page of signing; a refusal stands on top of it, with the remark as it was typed."""
    verification = loop.verification
    issued = last_issue(loop)
    in_review = loop.state == LoopState.IN_REVIEW and not loop.is_archived
    reason = refusal_to_sign(loop, person(request))
    asked = matters(loop)
    hindrances = obstacles_to_issue(loop, asked=asked) if in_review else []
    revision = verification.revision if verification else latest_revision(loop)
    can_sign = in_review and not reason and not hindrances
    passkey = asked_of_passkey(request, loop) if can_sign else {}
    has_password = person(request).has_usable_password()
    context: dict[str, Any] = {
        "section": "loops",
        "crumbs": [
            {"text": _("Loops"), "url": "/loops/"},
            {"text": loop.tag, "url": f"/loops/{loop.pk}/"},
            {"text": _("Sign"), "url": ""},
        ],
        "loop": loop,
        "verification": verification,
        "revision": revision,
        "content": sheet_content(loop, revision, verification, None) if verification and revision else None,
        "circuits": [
            (circuit, {**result, "checks": [with_arrow(check) for check in told(result)["checks"]]})
            for circuit, result in zip(revision.snapshot["circuits"], verification.results, strict=True)
        ]
        if verification and revision
        else [],
        "issued": issued,
        "changes": since_issue(issued, revision, verification) if revision else [],
        "matters": asked,
        "note": submit_note(loop) if in_review else "",
        "meaning": MEANING,
        "reviews": list(requests_now(loop)),
        "in_review": in_review,
        "reason": reason,
        "obstacles": hindrances,
        "can_sign": can_sign,
        "passkey": passkey,
        "has_password": has_password,
        "no_way_to_sign": can_sign and not passkey and not has_password,
        "errors": [{"id": at, "label": _("Password") if at else "", "text": refusal}] if refusal else [],
        "remark": request.POST.get("text", ""),
    }
    return render(request, "reports/approve.html", context, status=status)


def with_arrow(check: dict[str, Any]) -> dict[str, Any]:
    """A check with an arrow between what is compared, as the page of its loop has it."""
    return {**check, "subject": check["subject"].replace(" -> ", " → ")}


def last_issue(loop: Loop) -> Approval | None:
    """The newest approval of a loop."""
    return loop.approvals.select_related("revision", "verification").order_by("-pk").first()


def visible_sheet(request: HttpRequest, pk: int) -> Sheet:
    """A stored sheet, or 404 where there is none that the person may see."""
    sheets = Sheet.objects.filter(approval__loop__site_id__in=access.sites_of(person(request))).select_related(
        "approval__loop__site", "approval__revision"
    )
    sheet: Sheet = get_object_or_404(sheets, pk=pk)
    access.require(person(request), "sheet.view", sheet.approval.loop.site)
    return sheet


@require_safe
def sheet(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The bytes of an issued sheet, exactly as they were stored."""
    found = visible_sheet(request, pk)
    try:
        data = sheet_bytes(found)
    except SheetDamaged as error:
        return render(
            request, "reports/refused.html", {"heading": _("This sheet is damaged"), "text": error}, status=500
        )
    approval = found.approval
    name = file_name(approval.revision.snapshot["tag"], approval.letter)
    return pdf_response(data, name, inline=request.GET.get("view") == "1")


@require_safe
def draft(request: HttpRequest, pk: int) -> HttpResponseBase:
    """A print of the loop as it stands, marked as not issued on every page."""
    loop = visible_loop(request, pk)
    try:
        data = draft_pdf(loop, paper=PAPERS.get(request.GET.get("paper", "").lower()))
    except SheetNotMade as error:
        status = 409 if loop.verification is None else 500
        return render(request, "reports/refused.html", {"heading": _("No print"), "text": error}, status=status)
    return pdf_response(data, file_name(loop.tag, loop.letter, "draft"), inline=request.GET.get("view") == "1")


def pdf_response(data: bytes, name: str, *, inline: bool) -> HttpResponse:
    """A PDF to save, or to look at where it was asked for so."""
    response = HttpResponse(data, content_type="application/pdf")
    disposition = content_disposition_header(not inline, name)
    assert disposition is not None
    response["Content-Disposition"] = disposition
    return kept_apart(response)


@require_safe
def typical(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The loops that are like one."""
    loop = visible_loop(request, pk)
    context = {
        "section": "loops",
        "crumbs": [
            {"text": _("Loops"), "url": "/loops/"},
            {"text": loop.tag, "url": f"/loops/{loop.pk}/"},
            {"text": _("Typical"), "url": ""},
        ],
        "loop": loop,
        "found": alike(loop, person(request)),
    }
    return render(request, "reports/typical.html", context)


@require_safe
def typical_print(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The loops that are like one as one document."""
    loop = visible_loop(request, pk)
    made_at = timezone.now()
    found = alike(loop, person(request))
    if not found:
        return render(request, "reports/refused.html", {"heading": _("No print"), "text": NO_VERDICT}, status=409)
    try:
        data = typical_pdf(found, person(request), made_at)
    except (SheetDamaged, SheetNotMade, PdfError) as error:
        return render(request, "reports/refused.html", {"heading": _("No print"), "text": error}, status=500)
    return pdf_response(data, file_name(loop.tag, loop.letter, "typical"), inline=request.GET.get("view") == "1")
