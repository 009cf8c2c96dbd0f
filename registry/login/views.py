"""How I log in: password, second factors and open sessions of the person who asks."""

from __future__ import annotations

import logging
from collections.abc import Callable

from allauth.mfa.models import Authenticator
from allauth.socialaccount.providers.oauth2.client import OAuth2Error
from allauth.socialaccount.providers.openid_connect import views as openid
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe
from requests import RequestException

from registry.language import language_of
from registry.login.directories import refused
from registry.models import User
from registry.reading import read_key
from registry.sealing import Unreadable
from registry.services.second_factors import has_factor, needs_factor
from registry.services.sessions import end_sessions, open_sessions

logger = logging.getLogger(__name__)
TROUBLES = (RequestException, OAuth2Error, KeyError, ValueError)
"""What a service that is down, misconfigured or speaks nonsense leads to."""


@login_not_required
@require_safe
def through(request: HttpRequest, provider_id: str) -> HttpResponse:
    """To a log-in service."""
    return spoken(request, lambda: openid.login(request, provider_id))


@login_not_required
@require_safe
def back(request: HttpRequest, provider_id: str) -> HttpResponse:
    """Back from a log-in service."""
    return spoken(request, lambda: openid.callback(request, provider_id))


def spoken(request: HttpRequest, step: Callable[[], HttpResponse]) -> HttpResponse:
    try:
        return step()
    except TROUBLES:
        logger.exception("The log-in service does not answer as it should")
        return refused(request, _("The log-in service does not answer as it should: try again later."), 503)


@login_not_required
@require_safe
def cancelled(request: HttpRequest) -> HttpResponse:
    """The person thought better of it at the service."""
    return redirect("account_login")


@login_not_required
@require_safe
def reset(request: HttpRequest) -> HttpResponse:
    """A new password is set: it is good for logging in, nothing more."""
    return redirect("account_login")


@require_safe
def account(request: HttpRequest) -> HttpResponse:
    """The second factors and the open sessions of the person who asks."""
    user: User = request.user  # type: ignore[assignment]
    standing = Authenticator.objects.filter(user=user).order_by("created_at")
    by_type = {kind: [item for item in standing if item.type == kind] for kind in Authenticator.Type}
    codes = by_type[Authenticator.Type.RECOVERY_CODES]
    return render(
        request,
        "mfa/index.html",
        {
            "required_by": needs_factor(user),
            "has_factor": has_factor(user),
            "app": next(iter(by_type[Authenticator.Type.TOTP]), None),
            "passkeys": by_type[Authenticator.Type.WEBAUTHN],
            "languages": settings.LANGUAGES,
            "codes": codes,
            "codes_left": codes_left(codes[0]) if codes else 0,
            "sessions": [
                {"session": session, "current": session.session_key == request.session.session_key}
                for session in open_sessions(user)
            ],
        },
    )


def codes_left(codes: Authenticator) -> int | None:
    """How many recovery codes were not used; None where they cannot be read."""
    try:
        return len(codes.wrap().get_unused_codes())
    except Unreadable:
        return None


@require_POST
def choose_language(request: HttpRequest) -> HttpResponse:
    """Choose the language of one's pages; without one the browser decides."""
    user: User = request.user  # type: ignore[assignment]
    chosen = request.POST.get("language", "")
    if chosen and chosen not in dict(settings.LANGUAGES):
        messages.error(request, _("Choose one of the languages in the list."))
        return redirect("mfa_index")
    user.language = chosen
    user.save(update_fields=["language"])
    translation.activate(language_of(request))
    messages.success(request, _("The language is chosen."))
    return redirect("mfa_index")


@require_POST
def end(request: HttpRequest) -> HttpResponse:
    """End one session of one's own, or all but this one."""
    user: User = request.user  # type: ignore[assignment]
    only = read_key(request.POST.get("session", ""))
    count = end_sessions(user, keep=request.session.session_key or "", only=only)
    messages.success(request, ngettext("%d session has ended.", "%d sessions have ended.", count) % count)
    return redirect("mfa_index")
