"""The answer to what nobody foresaw: a page, or the same in the shape of the API."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseServerError, JsonResponse
from django.template import loader
from django.views.decorators.csrf import requires_csrf_token
from django_guid import get_guid

from registry.api.errors import BASE


@requires_csrf_token
def server_error(request: HttpRequest, template_name: str = "500.html") -> HttpResponse:
    """Says that it was not the visitor's fault, with the mark by which the log tells of it."""
    mark = get_guid() or ""
    if request.path.startswith(BASE):
        message = f"Something went wrong within; nothing was saved. Tell the administrator of the mark {mark}."
        return JsonResponse({"code": "server_error", "message": message, "errors": {}}, status=500)
    page = loader.get_template(template_name).render({"request_id": mark})
    return HttpResponseServerError(page)
