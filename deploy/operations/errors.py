"""The page for what nobody foresaw."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseServerError
from django.template import loader
from django.views.decorators.csrf import requires_csrf_token
from django_guid import get_guid


@requires_csrf_token
def server_error(request: HttpRequest, template_name: str = "500.html") -> HttpResponse:
    """Says that it was not the visitor's fault, with the mark by which the log tells of it."""
    page = loader.get_template(template_name).render({"request_id": get_guid() or ""})
    return HttpResponseServerError(page)
