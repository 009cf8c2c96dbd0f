"""The page on which a pack is asked for: which loops, with drafts or without."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from loops import selectors
from loops.views.kind import LOOP
from registry import access
from registry.models import Site, User
from registry.services.works import WorkRefused, begin
from registry.views.listing import asked_of, shown_records
from registry.views.lists import list_page
from reports.models import Sheet
from reports.packs.build import KIND, MOST_LOOPS, Pack

LONGEST_TITLE = 80
SHOWN = 40


@require_http_methods(["GET", "HEAD", "POST"])
def new_pack(request: HttpRequest) -> HttpResponse:
    """The loops that the list shows under its filters, or those whose tags are typed, as one PDF."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "sheet.view")
    asked = asked_of(LOOP, request.GET, user)
    if asked.is_faulty:
        return list_page(request, LOOP, asked)
    if not selectors.visible_loops(user).exists():
        messages.info(request, _("There is no loop yet to make a pack of."))
        return redirect("loop_list")
    typed = {name: request.POST.get(name, "").strip() for name in ("title", "tags")}
    drafts = bool(request.POST.get("drafts")) if request.method == "POST" else True
    lists = bool(request.POST.get("lists")) if request.method == "POST" else True
    keys = list(shown_records(LOOP, user, asked).values_list("pk", flat=True)[: MOST_LOOPS + 1])
    errors: list[dict[str, str]] = []
    if request.method == "POST":
        if typed["tags"]:
            keys, unknown = keys_of(user, typed["tags"])
            if unknown:
                text = _("No loop of your sites has the tag %(tags)s: mend it, or take it out.")
                errors.append({"id": "f-tags", "label": _("Only these tags"), "text": text % {"tags": unknown}})
        title = " ".join(typed["title"].split())
        if not title or len(title) > LONGEST_TITLE or not title.isprintable():
            text = _("Give the pack a title of at most %(most)s characters.") % {"most": LONGEST_TITLE}
            errors.append({"id": "f-title", "label": _("Title"), "text": text})
        if not errors and not 1 <= len(keys) <= MOST_LOOPS:
            text = _("A pack holds 1 to %(most)s loops: choose by filters or tags.") % {"most": f"{MOST_LOOPS:,}"}
            errors.append({"id": "f-tags", "label": _("Only these tags"), "text": text})
        if not errors:
            try:
                pack = Pack(title, tuple(keys), drafts, lists)
                return redirect("work", pk=begin(user, KIND, title, pack.as_asked()).pk)
            except WorkRefused as refused:
                errors.append({"id": "", "label": "", "text": str(refused)})
    context = page_context(user, keys) | {
        "errors": errors,
        "title": typed["title"] if request.method == "POST" else default_title(user),
        "tags": typed["tags"],
        "drafts": drafts,
        "lists": lists,
        "filters": asked.in_words(),
        "list_url": f"{LOOP.list_url}?{asked.query()}",
    }
    return render(request, "reports/pack_new.html", context, status=400 if errors else 200)


def keys_of(user: User, text: str) -> tuple[list[int], str]:
    """The keys of the loops whose tags are typed, and the first tag that none has."""
    tags = list(dict.fromkeys(part.strip() for part in text.replace(",", "\n").replace(";", "\n").splitlines()))
    keys: list[int] = []
    for tag in filter(None, tags[: MOST_LOOPS + 1]):
        found = list(
            selectors.visible_loops(user).filter(tag__iexact=tag[:40], archived_at=None).values_list("pk", flat=True)
        )
        if not found:
            return keys, tag[:40]
        keys += found
    return list(dict.fromkeys(keys)), ""


def page_context(user: User, keys: list[int]) -> dict[str, Any]:
    issued = Sheet.objects.filter(approval__loop__in=keys[:MOST_LOOPS]).values("approval__loop").distinct().count()
    shown = selectors.visible_loops(user).filter(pk__in=keys[:SHOWN]).order_by("site__code", "tag")
    return {
        "section": "schedules",
        "crumbs": [{"text": _("Documents"), "url": "/schedules/"}, {"text": _("Pack of sheets"), "url": ""}],
        "count": len(keys),
        "most": MOST_LOOPS,
        "too_many": len(keys) > MOST_LOOPS,
        "issued": issued,
        "shown": shown,
        "more": max(0, len(keys) - SHOWN),
    }


def default_title(user: User) -> str:
    """The sites of the person and the day."""
    codes = Site.objects.filter(pk__in=access.sites_of(user)).order_by("code").values_list("code", flat=True)[:3]
    return f"{', '.join(codes)} {_('loop sheets')} {timezone.localdate():%Y-%m-%d}"
