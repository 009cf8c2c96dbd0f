"""What every page knows besides its own matter."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from registry import access
from registry.models import User
from registry.services.notices import unread_of
from registry.words import lazily as _

CAUTION = _(
    "This result is an aid to a competent person. "
    "Local codes, the certificates themselves and licensed practice decide."
)


def site_context(request: HttpRequest) -> dict[str, Any]:
    """The caution, the version and what the person may do in the register."""
    user = getattr(request, "user", None)
    return {
        "caution": CAUTION,
        "reset_by_mail": settings.PASSWORD_RESET_BY_MAIL,
        "site_version": settings.VERSION,
        "may_edit_register": isinstance(user, User) and access.may(user, "register.edit"),
        "unread_notices": lambda: unread_of(user) if isinstance(user, User) else 0,
        "may_edit_loops": isinstance(user, User) and access.may(user, "loop.edit"),
    }
