"""A person's inbox. Looking changes nothing: a line is read when they say so."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from registry.models import User
from registry.services.notices import inbox, mark_read, unread_count

PAGE_SIZE = 50


@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """The lines of the person, newest first."""
    user: User = request.user  # type: ignore[assignment]
    page = Paginator(inbox(user), PAGE_SIZE).get_page(request.GET.get("page", "")[:9])
    context = {
        "section": "",
        "page_obj": page,
        "what": "notices",
        "query_string": "",
        "unread": unread_count(user),
    }
    return render(request, "registry/notices.html", context)


@require_POST
def read_all(request: HttpRequest) -> HttpResponse:
    """Mark every line of the person as read."""
    user: User = request.user  # type: ignore[assignment]
    mark_read(user)
    return HttpResponseRedirect(reverse("notices"))


@require_POST
def open_notice(request: HttpRequest, pk: int) -> HttpResponse:
    """Mark a line as read and go where it leads."""
    user: User = request.user  # type: ignore[assignment]
    notice = get_object_or_404(inbox(user), pk=pk)
    mark_read(user, [notice.pk])
    own = notice.link if url_has_allowed_host_and_scheme(notice.link, None) else reverse("notices")
    return HttpResponseRedirect(reverse("notices") if "stay" in request.POST else own)
