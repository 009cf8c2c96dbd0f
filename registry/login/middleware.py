"""Leads whoever lacks a second factor that one of their sites requires to where they set one up."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from registry.models import User
from registry.sealing import Unreadable
from registry.services.second_factors import needs_factor

logger = logging.getLogger(__name__)

SETTING_UP = frozenset(
    {
        "account_logout",
        "account_login",
        "account_reauthenticate",
        "language",
        "mfa_index",
        "mfa_list_webauthn",
        "mfa_activate_totp",
        "mfa_add_webauthn",
        "mfa_reauthenticate",
        "mfa_reauthenticate_webauthn",
        "password_change",
        "sessions_end",
    }
)
"""Names of the addresses that stay open meanwhile: the way to a factor and the way out."""


class SecondFactorMiddleware:
    """Stands behind the authentication; asks the database once a request for people who are logged in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponseBase | None:
        match = request.resolver_match
        if not isinstance(request.user, User) or match is None or match.view_name in SETTING_UP:
            return None
        sites = needs_factor(request.user)
        if not sites:
            return None
        if request.path.startswith("/api/"):
            names = ", ".join(site.code for site in sites)
            message = _("%s requires a second factor: log in on the pages and set one up.") % names
            return JsonResponse({"code": "second_factor_required", "message": message, "errors": {}}, status=403)
        return redirect("mfa_index")

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """A secret that cannot be read lets nobody in; the page says what helps."""
        if not isinstance(error, Unreadable):
            return None
        logger.error("A second factor cannot be read: was SECRET_KEY changed without SECRET_KEY_FALLBACKS?")
        return render(request, "mfa/unreadable.html", status=409)
