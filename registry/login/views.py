"""How I log in: password, second factors and open sessions of the person who asks."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from registry.models import User
from registry.services.second_factors import has_factor, needs_factor
from registry.services.sessions import end_sessions, open_sessions


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
            "codes": codes,
            "codes_left": len(codes[0].wrap().get_unused_codes()) if codes else 0,
            "sessions": [
                {"session": session, "current": session.session_key == request.session.session_key}
                for session in open_sessions(user)
            ],
        },
    )


@require_POST
def end(request: HttpRequest) -> HttpResponse:
    """End one session of one's own, or all but this one."""
    user: User = request.user  # type: ignore[assignment]
    one = request.POST.get("session", "")
    only = int(one) if one.isascii() and one.isdigit() and len(one) < 19 else None
    count = end_sessions(user, keep=request.session.session_key or "", only=only)
    messages.success(request, ngettext("%d session has ended.", "%d sessions have ended.", count) % count)
    return redirect("mfa_index")
