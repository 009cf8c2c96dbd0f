"""Long work: how far it is, what came of it, and its file. Everybody sees their own alone."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from registry.models import User, Work
from registry.services import works as service
from registry.views.files import kept_apart

PAGE_SIZE = 50


def own_work(request: HttpRequest, pk: int) -> Work:
    user: User = request.user  # type: ignore[assignment]
    work: Work = get_object_or_404(service.works_of(user), pk=pk)
    return work


@require_safe
def works(request: HttpRequest) -> HttpResponse:
    """The long work of the person, newest first."""
    user: User = request.user  # type: ignore[assignment]
    page = Paginator(service.works_of(user), PAGE_SIZE).get_page(request.GET.get("page", "")[:9])
    context = {"section": "", "page_obj": page, "what": _("pieces of work"), "query_string": ""}
    return render(request, "registry/works.html", context)


@require_safe
@never_cache
def work_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One piece of work."""
    work = own_work(request, pk)
    crumbs = [{"text": _("Long work"), "url": reverse("works")}, {"text": work.title, "url": ""}]
    return render(request, "registry/work.html", {"section": "", "work": work, "crumbs": crumbs})


@require_safe
@never_cache
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that changes."""
    return render(request, "registry/work_progress.html", {"work": own_work(request, pk)})


@require_POST
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel it."""
    work = own_work(request, pk)
    service.cancel(work)
    return HttpResponseRedirect(reverse("work", args=[work.pk]))


@require_safe
def work_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The file that came of it."""
    work = own_work(request, pk)
    if not work.stored_as:
        return HttpResponseRedirect(reverse("work", args=[work.pk]))
    try:
        content = service.content_of(work)
    except service.FileDamaged as error:
        context = {"section": "", "work": work, "crumbs": [], "damaged": str(error)}
        return render(request, "registry/work.html", context, status=500)
    answer = HttpResponse(content, content_type=work.media_type)
    answer["Content-Disposition"] = content_disposition_header(True, work.file_name) or "attachment"
    return kept_apart(answer)
