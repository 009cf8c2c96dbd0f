"""Who calls: a token, or a password by HTTP Basic, which is counted like the log-in and not enough for whoever logs in
with a second factor."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from drf_spectacular.authentication import BasicScheme
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, BasicAuthentication
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied, Throttled
from rest_framework.request import Request

from registry.models import ApiToken, User
from registry.services.second_factors import has_factor, needs_factor
from registry.services.tokens import token_in_force

LONGEST_TOKEN = 200


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


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer unlit_…`: a program in the name of a person, narrowed to what its token leaves."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        """Raises AuthenticationFailed for a token that is not in force, PermissionDenied without a second factor that
        a site requires."""
        scheme, _space, text = request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() != "bearer":
            return None
        token = token_in_force(text.strip()) if text.isascii() and len(text) < LONGEST_TOKEN else None
        if token is None:
            raise AuthenticationFailed(_("This token is not in force: make another on the page of your tokens."))
        if needs_factor(token.person):
            raise PermissionDenied(_("A site of this person requires a second factor: set one up on the pages first."))
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="api"'


class TokenScheme(OpenApiAuthenticationExtension):
    """How the description of the API names it."""

    target_class = "registry.api.authentication.TokenAuthentication"
    name = "tokenAuth"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer", "description": "A token of the page “API tokens”."}
