"""The editor of a loop: one page, every button a plain form button, nothing typed is ever lost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from loops import selectors
from loops.entries import LoopEntry
from loops.models import Loop, LoopState, LoopVerdict
from loops.services.loops import save_loop
from loops.services.preview import preview
from loops.telling import spoken
from loops.views import shown
from loops.views.difference import snapshot_names, three_ways
from loops.views.editor_form import editor_form
from loops.views.editor_rows import blank_loop, row_command, without_blank_rows
from loops.views.page import visible_loop
from loops.views.requests import opened_version, person, typed
from registry import access
from registry.differences import canonical, lay_over, snapshot_text
from registry.models import Revision, Site
from registry.services.records import REASON, Author, EntryRefused, StaleRecord, latest_revision
from registry.views.comparing import opened_revision
from registry.views.forms import closed_path, nest, without_keys

ROW_COMMANDS = ("_add", "_remove", "_duplicate", "_chain", "_up")


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """A new loop."""
    if not access.may(person(request), "loop.edit"):
        raise PermissionDenied(access.SIDES["loop.edit"])
    if request.method == "POST":
        return receive(request, None)
    sites = [
        site.code
        for site in Site.objects.filter(pk__in=access.sites_of(person(request)), archived_at=None)
        if access.may(person(request), "loop.edit", site)
    ]
    only = sites[0] if len(sites) == 1 else ""
    return show(request, None, blank_loop(only), focus="tag" if only else "site")


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    """An existing loop."""
    if request.method == "POST":
        # What is typed is all that counts: none of the stored rows is read.
        loop = get_object_or_404(selectors.visible_loops(person(request)).select_related("site"), pk=pk)
        access.require(person(request), "loop.edit", loop.site)
        return receive(request, loop)
    loop = visible_loop(request, pk)
    access.require(person(request), "loop.edit", loop.site)
    return show(request, loop, selectors.record_names(loop))


@require_safe
def duplicate(request: HttpRequest, pk: int) -> HttpResponse:
    """A new loop that begins with everything of another one but its tag."""
    loop = visible_loop(request, pk)
    access.require(person(request), "loop.edit", loop.site)
    data = without_keys(selectors.record_names(loop)) | {"tag": ""}
    return show(request, None, data, copied_from=loop, focus="tag")


def receive(request: HttpRequest, loop: Loop | None) -> HttpResponse:
    """Answer a POST: a row button, a judgement without saving, or a save."""
    data = nest({name: str(text) for name, text in request.POST.items()})
    command = next((name for name in ROW_COMMANDS if name in request.POST), "")
    if command:
        path, colon, role = request.POST[command].partition(":")
        focus = row_command(data, command, closed_path(request.POST, path) + colon + role)
        return show(request, loop, data, focus=focus, unsaved=True)
    data = without_blank_rows(data)
    if "_preview" in request.POST:
        return judge(request, loop, data)
    author = Author(person(request), reason=typed(request, "_reason", 400))
    try:
        if loop is None:
            saved = save_loop(data, author)
        else:
            saved = save_loop(data, author, loop_id=loop.pk, opened_version=opened_version(request))
    except EntryRefused as error:
        return show(request, loop, data, errors=error.errors, status=400, unsaved=True)
    except StaleRecord:
        return stale(request, visible_loop(request, loop.pk if loop else 0), data)
    except PermissionDenied as error:
        return show(request, loop, data, refusal=str(error), status=403, unsaved=True)
    verdict = saved.verification.get_verdict_display().lower() if saved.verification else _("not judged")
    complies = saved.verification is not None and saved.verification.verdict == LoopVerdict.COMPLIES
    say = messages.success if complies else messages.warning
    say(request, (_("%(tag)s was saved and judged: %(verdict)s.") % {"tag": saved.tag, "verdict": verdict}))
    return redirect("loop", pk=saved.pk)


def judge(request: HttpRequest, loop: Loop | None, data: dict[str, Any]) -> HttpResponse:
    """Show the verdict on what is typed; nothing is saved. A script gets the panel alone."""
    live = bool(getattr(request, "htmx", False))
    try:
        found = preview(data, person(request))
    except EntryRefused as error:
        if live:
            form = editor_form(data, error.errors, person(request))
            return render(request, "loops/preview.html", {"missing": form["errors"], "live": True})
        return show(request, loop, data, errors=error.errors, status=400, unsaved=True)
    except PermissionDenied as error:
        if live:
            return render(request, "loops/preview.html", {"missing": [{"text": str(error)}], "live": True})
        return show(request, loop, data, refusal=str(error), status=403, unsaved=True)
    panel = panel_context(found)
    if live:
        return render(request, "loops/preview.html", panel | {"live": True})
    return show(request, loop, data, unsaved=True, panel=panel)


def panel_context(found: Mapping[str, Any]) -> dict[str, Any]:
    """What the verdict panel shows of a judgement that was not stored."""
    unit = found["site"].length_unit
    return {
        "judged": {**found, "limiting": spoken(found["limiting"], unit)},
        "circuits": shown.circuits(Loop(), found["inputs"], found["results"], unit),
        "cures": shown.cures(found["results"], unit),
    }


def stale(request: HttpRequest, loop: Loop, data: dict[str, Any]) -> HttpResponse:
    """Somebody saved meanwhile: show what you and they changed, with your changes laid over theirs in the form.

    What you did not touch is theirs there, so that saving again takes nothing back that they did.
    """
    opened = opened_revision(loop, request.POST.get("_revision", ""))
    theirs = selectors.record_names(loop)
    original = snapshot_names(opened.snapshot) if opened else theirs
    before = canonical(LoopEntry, snapshot_text(opened.snapshot)) if opened else None
    newest = latest_revision(loop)
    return show(
        request,
        loop,
        lay_over(LoopEntry, before, canonical(LoopEntry, theirs), canonical(LoopEntry, data)),
        status=409,
        unsaved=True,
        compared=three_ways(original, theirs, data),
        saved_by=newest if newest != opened else None,
        laid=opened is not None,
    )


def show(
    request: HttpRequest,
    loop: Loop | None,
    data: Mapping[str, Any],
    *,
    errors: Mapping[str, list[str]] | None = None,
    status: int = 200,
    focus: str = "",
    refusal: str = "",
    unsaved: bool = False,
    panel: Mapping[str, Any] | None = None,
    compared: list[dict[str, Any]] | None = None,
    saved_by: Revision | None = None,
    laid: bool = False,
    copied_from: Loop | None = None,
) -> HttpResponse:
    """The editor with this text in it."""
    posted = request.POST if request.method == "POST" else {}
    fresh_version = loop is not None and (compared is not None or not posted)
    revision = latest_revision(loop) if loop is not None and fresh_version else None
    tag = loop.tag if loop else _("New loop")
    crumbs = [{"text": _("Loops"), "url": reverse("loop_list")}]
    if loop:
        crumbs.append({"text": loop.tag, "url": reverse("loop", args=[loop.pk])})
    context = {
        "section": "loops",
        "crumbs": [*crumbs, {"text": _("Edit") if loop else _("New loop"), "url": ""}],
        "loop": loop,
        "title": (_("Edit %(tag)s") % {"tag": tag}) if loop else tag,
        **editor_form(data, errors or {}, person(request), focus),
        "form_action": reverse("loop_edit", args=[loop.pk]) if loop else reverse("loop_new"),
        "cancel_url": reverse("loop", args=[loop.pk]) if loop else reverse("loop_list"),
        "version": loop.version if loop is not None and fresh_version else posted.get("_version", ""),
        "opened_revision": revision.number if revision else posted.get("_revision", ""),
        "reason": posted.get("_reason", ""),
        "reason_wanted": loop is not None and loop.approvals.exists(),
        "reason_errors": (errors or {}).get(REASON, []),
        "refusal": refusal or locked(loop),
        "unsaved": unsaved,
        "panel": panel,
        "compared": compared,
        "saved_by": saved_by,
        "laid": laid,
        "copied_from": copied_from,
    }
    return render(request, "loops/edit.html", context, status=status)


def locked(loop: Loop | None) -> str:
    """Why saving this loop will be refused as it stands."""
    if loop is not None and loop.is_archived:
        return _("This loop is archived: bring it back first, then change it.")
    if loop is not None and loop.state == LoopState.IN_REVIEW:
        return _("This loop is in review: take it back to draft first, then change it.")
    return ""
