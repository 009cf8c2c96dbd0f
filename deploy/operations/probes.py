"""What asks whether an instance lives: /livez, /readyz and /metrics, answered before anything else is done.

They come from machines that know no host name and no log-in, so they are answered in front of the checks of host,
transport and session. None says anything that a stranger could use.
"""

from __future__ import annotations

import contextlib
import hmac
import ipaddress
import logging
from collections.abc import Callable

from allauth.core.internal.httpkit import get_client_ip
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ImproperlyConfigured
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from deploy.operations.health import READY_CHECKS
from deploy.operations.metrics import TEXT_TYPE, metrics_text

logger = logging.getLogger(__name__)


@login_not_required
@never_cache
@require_safe
def livez(request: HttpRequest) -> HttpResponse:
    """This process answers."""
    return HttpResponse("alive\n", content_type="text/plain")


@login_not_required
@never_cache
@require_safe
def readyz(request: HttpRequest) -> HttpResponse:
    """Everything that a request needs is there; 503 names what is not, the log says why."""
    states = {}
    for name, check in READY_CHECKS.items():
        try:
            check()
            states[name] = "ok"
        except Exception as error:
            # A reason may name hosts and paths: it is for who reads the log.
            logger.warning("Not ready: %s: %s", name, error)
            states[name] = "failed"
    ready = set(states.values()) == {"ok"}
    return JsonResponse({"ready": ready, "checks": states}, status=200 if ready else 503)


@login_not_required
@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Counts for Prometheus, for allowed addresses or whoever has the token; nobody else learns that they are here."""
    if not may_read_metrics(request):
        return HttpResponse("Not found\n", status=404, content_type="text/plain")
    return HttpResponse(metrics_text(), content_type=TEXT_TYPE)


def may_read_metrics(request: HttpRequest) -> bool:
    token = settings.METRICS_TOKEN
    scheme, _, sent = request.headers.get("Authorization", "").partition(" ")
    if token and scheme.lower() == "bearer" and hmac.compare_digest(sent.strip().encode(), token.encode()):
        return True
    with contextlib.suppress(ValueError, ImproperlyConfigured):
        address = ipaddress.ip_address(get_client_ip(request) or "")
        return any(address in ipaddress.ip_network(network) for network in settings.METRICS_ALLOWED)
    return False


PATHS: dict[str, Callable[[HttpRequest], HttpResponse]] = {"/livez": livez, "/readyz": readyz, "/metrics": metrics}


class ProbesMiddleware:
    """Stands in front of all others."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        probe = PATHS.get(request.path_info)
        return probe(request) if probe else self.get_response(request)
