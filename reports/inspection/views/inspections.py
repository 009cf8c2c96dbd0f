"""Inspections of a loop: begun, looked at, put on paper, signed, given up."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from loops.models import Loop
from loops.selectors import visible_loops
from loops.services.signing import SignatureLimited, SignatureRefused, new_nonce
from loops.views.requests import person, typed
from registry import access
from registry.models import Attachment
from registry.services import passkeys, works
from registry.views.many import keys_in
from reports.files import file_name
from reports.inspection import rounds, services
from reports.inspection.due import due_of, months_of
from reports.inspection.models import PHOTO, Grade, Inspection, Occasion
from reports.inspection.paper import inspection_pdf, paper_of, shown_record
from reports.inspection.services import InspectionRefused
from reports.inspection.signing import MEANING, mark_of, passkey_options
from reports.inspection.views.filling import may_fill, visible
from reports.views import PAPERS, host_name, keep_nonce, passkey_answer, pdf_response

NONCES = "inspecting"
"""Where the session keeps the nonces of the pages that are open for signing, by inspection."""


def absolute(path: str) -> str:
    return f"{settings.SITE_URL.rstrip('/')}{path}"


def content_of(inspection: Inspection) -> dict[str, Any]:
    """What is shown of an inspection: the record as it was signed, else what it holds now."""
    signed = getattr(inspection, "signed", None)
    if signed is not None:
        record = signed.content
    else:
        record = services.record_now(inspection)
    link = absolute(reverse("inspection", args=[inspection.pk]))
    return shown_record(record, link, inspection.loop.site)


def photo_addresses(inspection: Inspection) -> dict[str, str]:
    """Where the photos of an inspection are seen, by the digest of each."""
    photos = Attachment.objects.filter(kind=PHOTO, record_id__in=inspection.lines.values("pk"), retirement=None)
    rows = photos.order_by("pk").values_list("sha256", "pk")
    return {sha256: reverse("inspection_photo", args=[inspection.pk, key]) for sha256, key in rows}


@require_http_methods(["GET", "HEAD", "POST"])
def of_loop(request: HttpRequest, pk: int) -> HttpResponse:
    """The inspections of a loop, when the next is due, and the form to begin one."""
    loop: Loop = get_object_or_404(visible_loops(person(request)).select_related("site"), pk=pk)
    access.require(person(request), "inspection.view", loop.site)
    refusal, status = "", 200
    if request.method == "POST":
        grade, occasion = typed(request, "grade", 8), typed(request, "occasion", 8)
        try:
            begun = services.begin(loop.pk, person(request), grade=grade, occasion=occasion)
        except InspectionRefused as error:
            refusal, status = str(error), 409
        else:
            return redirect("inspection", pk=begun.pk)
    due = due_of(loop)
    _revision, approval = services.what_to_look_at(loop)
    never = due is None or due.never
    rows = (
        services.visible_inspections(person(request)).filter(loop=loop).defer("signed__content", "revision__snapshot")
    )
    context = {
        "section": "loops",
        "crumbs": [
            {"text": _("Loops"), "url": reverse("loop_list")},
            {"text": loop.tag, "url": reverse("loop", args=[loop.pk])},
            {"text": _("Inspections"), "url": ""},
        ],
        "loop": loop,
        "approval": approval,
        "due": due,
        "due_state": due.state(timezone.localdate()) if due else "",
        "months": {Grade(grade).label: months for grade, months in months_of(loop.site).items()},
        "rows": rows,
        "grades": [
            (value, label, value == (due.grade if due and due.grade else "detailed")) for value, label in Grade.choices
        ],
        "occasions": [
            (value, label, value == ("initial" if never else "periodic")) for value, label in Occasion.choices
        ],
        "may_begin": not loop.is_archived and access.may(person(request), "inspection.make", loop.site),
        "refusal": refusal,
    }
    return render(request, "reports/inspection/loop.html", context, status=status)


@require_safe
def inspection(request: HttpRequest, pk: int) -> HttpResponse:
    """One inspection: under way with its places, or signed as its record says."""
    found = visible(request, pk)
    return inspection_page(request, found)


def inspection_page(
    request: HttpRequest, found: Inspection, refusal: str = "", *, at: str = "", status: int = 200
) -> HttpResponse:
    """The page of an inspection; a refusal stands on top of it."""
    shown = content_of(found)
    photos = photo_addresses(found)
    signed = getattr(found, "signed", None)
    defects = {row.line.position: row for row in signed.defects.select_related("line")} if signed else {}
    for place in shown["places"]:
        place["done"] = sum(bool(line["result"]) for line in place["lines"])
        place["is_open"] = place["done"] < len(place["lines"])
        for line in place["lines"]:
            line["photos"] = [row | {"url": photos.get(row["sha256"], "")} for row in line["photos"]]
            line["defect"] = defects.get(line["position"])
    fills = may_fill(found, person(request))
    passkey = asked_of_passkey(request, found, shown)
    has_password = person(request).has_usable_password()
    context = {
        "section": "inspections",
        "crumbs": [
            {"text": _("Inspections"), "url": reverse("inspections")},
            {"text": found.loop.tag, "url": reverse("loop_inspections", args=[found.loop_id])},
            {"text": str(found.pk), "url": ""},
        ],
        "inspection": found,
        "signed": signed,
        "shown": shown,
        "may_fill": fills,
        "meaning": MEANING,
        "passkey": passkey,
        "has_password": has_password,
        "has_no_way_to_sign": fills and not has_password and not passkeys.passkeys_of(person(request)),
        "mark": mark_of(shown["record"]) if fills and not shown["open"] else "",
        "next_place": next((place["number"] for place in shown["places"] if place["is_open"]), 1),
        "errors": [{"id": at, "label": _("Password") if at else "", "text": refusal}] if refusal else [],
    }
    return render(request, "reports/inspection/inspection.html", context, status=status)


def asked_of_passkey(request: HttpRequest, found: Inspection, shown: dict[str, Any]) -> Any:
    """What the page asks of a passkey; empty where nothing can be signed, or the person has none."""
    if not may_fill(found, person(request)) or shown["open"]:
        return {}
    nonce = new_nonce()
    asked = passkey_options(shown["record"], person(request), host_name(request), nonce)
    if asked:
        keep_nonce(request, NONCES, found.pk, nonce)
    return asked


@sensitive_post_parameters("password", "credential")
@require_POST
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign what was shown of an inspection, with a password or a passkey."""
    found = visible(request, pk)
    access.require(person(request), "inspection.make", found.loop.site)
    password, passkey = request.POST.get("password", ""), passkey_answer(request, NONCES, pk)
    if not password and passkey is None and person(request).has_usable_password():
        words = _("Type your password: it signs the inspection.")
        return inspection_page(request, found, words, at="id-password", status=400)
    try:
        if "remark" in request.POST:
            services.save_remark(pk, person(request), typed(request, "remark", 2000))
        signed = services.sign(pk, person(request), password, passkey, shown=request.POST.get("shown", ""))
    except SignatureLimited as error:
        return inspection_page(request, visible(request, pk), str(error), at="id-password", status=429)
    except SignatureRefused as error:
        return inspection_page(request, visible(request, pk), str(error), at="id-password", status=400)
    except InspectionRefused as error:
        return inspection_page(request, visible(request, pk), str(error), status=409)
    words = _("%(loop)s: the inspection was signed.") % {"loop": found.loop}
    if signed.defect_count:
        words += " " + _("Defects are followed up from here: %(count)d.") % {"count": signed.defect_count}
    messages.success(request, words)
    return redirect("inspection", pk=pk)


@require_POST
def give_up(request: HttpRequest, pk: int) -> HttpResponse:
    """End an inspection without a record."""
    found = visible(request, pk)
    access.require(person(request), "inspection.make", found.loop.site)
    try:
        services.give_up(pk, person(request), text=typed(request, "text", 400))
    except InspectionRefused as error:
        return inspection_page(request, visible(request, pk), str(error), status=409)
    messages.success(request, _("The inspection was given up; what was typed stays readable."))
    return redirect("loop_inspections", pk=found.loop_id)


@require_safe
def paper(request: HttpRequest, pk: int) -> HttpResponseBase:
    """An inspection as PDF: to be filled in by hand, or as it was filled in or signed."""
    found = visible(request, pk)
    shown = content_of(found)
    signed = getattr(found, "signed", None)
    moment = signed.signed_at if signed else timezone.now()
    title = _("Inspection %(pk)s of %(tag)s") % {"pk": found.pk, "tag": found.loop.tag}
    size = PAPERS.get(request.GET.get("paper", "").lower()) or paper_of(found.loop.site)
    data = inspection_pdf(title, [shown], moment, size)
    return pdf_response(data, file_name(found.loop.tag, f"inspection-{pk}"), inline=request.GET.get("view") == "1")


@require_safe
def round_paper(request: HttpRequest) -> HttpResponseBase:
    """Blank checklists of a few loops as one PDF; nothing is kept of it."""
    user = person(request)
    access.require(user, "inspection.view")
    keys = keys_in(request.GET.getlist("loop"))
    loops = rounds.chosen(user, keys[: rounds.MOST_AT_ONCE])
    if not loops:
        if keys:
            raise Http404
        messages.error(request, _("Tick the loops of the round first."))
        return redirect("inspections")
    grade, occasion = rounds.read_grade(request.GET.get("grade", ""), request.GET.get("occasion", ""))
    size = PAPERS.get(request.GET.get("paper", "").lower())
    data = rounds.round_pdf(loops, grade, occasion, size)
    name = file_name(loops[0].tag if len(loops) == 1 else "round", f"checklist-{grade}")
    return pdf_response(data, name, inline=request.GET.get("view") == "1")


@require_POST
def begin_round(request: HttpRequest) -> HttpResponse:
    """The checklists of a round: at once where they are few, else as long work."""
    user = person(request)
    access.require(user, "inspection.view")
    loops = rounds.chosen(user, keys_in(request.POST.getlist("loop"))[: rounds.MOST_LOOPS + 1])
    grade, occasion = rounds.read_grade(typed(request, "grade", 8), typed(request, "occasion", 8))
    if not loops:
        messages.error(request, _("Tick the loops of the round first."))
    elif len(loops) > rounds.MOST_LOOPS:
        messages.error(request, _("A round has at most %(most)d loops: tick fewer.") % {"most": rounds.MOST_LOOPS})
    elif len(loops) <= rounds.MOST_AT_ONCE:
        query = urlencode([*(("loop", loop.pk) for loop in loops), ("grade", grade), ("occasion", occasion)])
        return redirect(f"{reverse('inspection_round')}?{query}")
    else:
        asked = {"loops": [loop.pk for loop in loops], "grade": grade, "occasion": occasion}
        try:
            work = works.begin(user, rounds.KIND, rounds.title_of(loops, grade), asked)
        except works.WorkRefused as refused:
            messages.error(request, str(refused))
        else:
            return redirect("work", pk=work.pk)
    return redirect("inspections")
