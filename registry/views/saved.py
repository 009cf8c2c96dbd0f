"""What people keep of a list: their own columns and page size, and the views that they share with a site."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from registry import access
from registry.asking import SIZES, Asked
from registry.models import SavedView, Site, User
from registry.services.records import EntryRefused
from registry.services.views import change_view, delete_view, keep_layout, may_keep, save_view, views_beside, views_of
from registry.views.listing import asked_of
from registry.views.pages import LISTS, Column, KindPage


def list_of(kind: str, user: User) -> KindPage:
    """The list of a kind. Raises Http404, PermissionDenied."""
    if kind not in LISTS:
        raise Http404
    access.require(user, LISTS[kind].view_action)
    return LISTS[kind]


def back_to(page: KindPage, query: str) -> HttpResponse:
    """To the list, with a query that was posted: its parameters are read anew there."""
    return HttpResponseRedirect(f"{page.list_url}?{query}" if query else page.list_url)


@require_POST
def layout(request: HttpRequest, kind: str) -> HttpResponse:
    """Remember the columns and the page size that a person chose, and show the list with them."""
    user: User = request.user  # type: ignore[assignment]
    page = list_of(kind, user)
    asked = asked_of(page, request.POST.get("query", ""), user)
    known = [column.name for column in page.columns]
    chosen = [name for name in known if name in request.POST.getlist("column")]
    size = request.POST.get("size", "")
    usual = "usual" in request.POST
    keep_layout(user, kind, [] if usual else chosen, int(size) if size in map(str, SIZES) and not usual else None)
    return back_to(page, asked.query(columns="", size=""))


@require_POST
def new_view(request: HttpRequest, kind: str) -> HttpResponse:
    """Share what the list shows with a site under a name, or let a view show it from now on."""
    user: User = request.user  # type: ignore[assignment]
    page = list_of(kind, user)
    asked = asked_of(page, request.POST.get("query", ""), user)
    query = asked.query(view="", size="")
    try:
        if asked.is_faulty:
            raise EntryRefused({"": [_("A filter is not understood: mend it first, then save the view.")]})
        if "change" in request.POST:
            view = change_view(user, find(user, request.POST["change"]), query=query)
            messages.success(request, (_("The view “%(view)s” shows this from now on.") % {"view": view}))
        else:
            site = find_site(user, request.POST.get("site", ""))
            view = save_view(user, kind, site, request.POST.get("name", ""), query)
            messages.success(
                request,
                (
                    _("Saved: everybody at %(code)s finds the view “%(view)s” on this list.")
                    % {"code": site.code, "view": view}
                ),
            )
    except EntryRefused as refused:
        for text in refused.messages:
            messages.error(request, (_("The view is not saved. %(text)s") % {"text": text}))
        return back_to(page, asked.query())
    return HttpResponseRedirect(view_url(view))


def find(user: User, key: str) -> SavedView:
    """A view by its key. Raises Http404 where it belongs to a site of others."""
    number = int(key) if key.isascii() and key.isdigit() and len(key) < 16 else 0
    return get_object_or_404(views_of(user), pk=number)


def find_site(user: User, key: str) -> Site:
    """A site by its key; without one the only site of the person. Raises Http404."""
    keys = access.sites_of(user)
    wanted = int(key) if key.isascii() and key.isdigit() and len(key) < 16 else 0
    if not key and len(keys) == 1:
        wanted = keys[0]
    return get_object_or_404(Site, pk=wanted, pk__in=keys)


def view_url(view: SavedView) -> str:
    """The list as a view shows it."""
    rest = urlencode({"view": view.pk})
    return f"{LISTS[view.kind].list_url}?{view.query}&{rest}" if view.query else f"{LISTS[view.kind].list_url}?{rest}"


@require_http_methods(["GET", "HEAD", "POST"])
def view_page(request: HttpRequest, pk: int) -> HttpResponse:
    """A view: what it shows and whose it is; rename it, delete it."""
    user: User = request.user  # type: ignore[assignment]
    view = get_object_or_404(views_of(user), pk=pk)
    page = list_of(view.kind, user)
    errors: list[dict[str, str]] = []
    name = view.name
    if request.method == "POST":
        name = request.POST.get("name", "")
        try:
            if "delete" in request.POST:
                delete_view(user, view)
                messages.success(request, (_("Deleted the view “%(view)s”.") % {"view": view}))
                return HttpResponseRedirect(page.list_url)
            change_view(user, view, name=name)
            messages.success(request, (_("The view is called “%(view)s” now.") % {"view": view}))
            return HttpResponseRedirect(view_url(view))
        except EntryRefused as refused:
            errors = [{"id": "f-name", "label": _("Name"), "text": text} for text in refused.messages]
            view.refresh_from_db()
    context: dict[str, Any] = {
        "section": page.section,
        "view": view,
        "view_url": view_url(view),
        "chips": asked_of(page, view.query, user).conditions,
        "may_keep": may_keep(user, view),
        "errors": errors,
        "field": {
            "name": "name",
            "id": "f-name",
            "label": _("Name"),
            "value": name,
            "required": True,
            "errors": [error["text"] for error in errors],
        },
        "crumbs": [{"text": page.title, "url": page.list_url}, {"text": view.name, "url": ""}],
    }
    return render(request, "registry/view.html", context, status=400 if errors else 200)


def kept(page: KindPage, user: User, asked: Asked, columns: list[Column]) -> dict[str, Any]:
    """What a list shows of views and columns to choose."""
    views = views_beside(user, page.kind)
    current = next((view for view in views if str(view.pk) == asked.view), None)
    sites = access.own_sites(user)
    named = ",".join(column.name for column in columns)
    query = asked.query(view="")
    return {
        "views": [
            {"name": view.name, "url": view_url(view), "current": view == current, "site": view.site.code}
            for view in views
        ],
        "view": current,
        "view_changed": bool(current and current.query != asked.query(view="", size="")),
        "view_may_keep": bool(current and may_keep(user, current)),
        "view_sites": sites if access.may(user, "site.save_view") else [],
        "view_query": asked.query(view="", columns=named),
        "layout_query": query,
        "choosable": [
            {"name": column.name, "label": column.label, "chosen": column in columns} for column in page.columns[1:]
        ],
        "sizes": SIZES,
        "layout_action": reverse("list_layout", args=[page.kind]),
        "view_action": reverse("view_new", args=[page.kind]),
    }
