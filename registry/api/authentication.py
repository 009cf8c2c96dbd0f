"""Password by HTTP Basic: counted like the log-in, and not enough for whoever logs in with a second factor."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from drf_spectacular.authentication import BasicScheme
from rest_framework.authentication import BasicAuthentication
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied, Throttled

from registry.models import User
from registry.services.second_factors import has_factor, needs_factor


class PasswordAuthentication(BasicAuthentication):
    """User name and password with every request."""

    def authenticate_credentials(self, userid: str, password: str, request: Any = None) -> tuple[User, None]:
        """Raises Throttled after too many failures, else AuthenticationFailed or PermissionDenied."""
        try:
            user = get_adapter().authenticate(request._request, username=userid, password=password)
        except ValidationError as refused:
            raise Throttled(detail=" ".join(refused.messages)) from refused
        if user is None or not user.is_active:
            raise AuthenticationFailed(_("User name and password do not belong together."))
        if has_factor(user) or needs_factor(user):
            raise PermissionDenied(
                _("This account logs in with a second factor, and a password alone is none: log in on the pages.")
            )
        return user, None


class PasswordScheme(BasicScheme):
    """How the description of the API names it."""

    target_class = "registry.api.authentication.PasswordAuthentication"
    priority = 0
