"""Log-in through a service (OpenID Connect): whose account it is, and which roles its groups give."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from allauth.core.exceptions import ImmediateHttpResponse
from allauth.socialaccount.adapter import DefaultSocialAccountAdapter
from allauth.socialaccount.models import SocialAccount, SocialLogin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from registry.models import User
from registry.services.directory import roles_by_groups
from registry.services.second_factors import note_factor


class Directories(DefaultSocialAccountAdapter):
    """Services let in whom an administrator has given an account; they make none."""

    def is_open_for_signup(self, request: HttpRequest, sociallogin: SocialLogin) -> bool:
        return False

    def pre_social_login(self, request: HttpRequest, sociallogin: SocialLogin) -> None:
        """Bind the account at the first log-in, then set the roles that its groups give."""
        settings = sociallogin.account.get_provider(request).app.settings
        name = sociallogin.account.get_provider(request).app.name
        if sociallogin.state.get("process") != "login":
            refuse(request, _("Accounts are bound to %s by logging in with it.") % name)
        claims = claims_of(request, sociallogin.account.extra_data)
        if not sociallogin.is_existing:
            bind(request, sociallogin, str(claims.get(settings["account_claim"]) or ""), name)
        person: User = sociallogin.user
        if settings["roles"] and person.is_active:
            groups = groups_of(claims.get(settings["groups_claim"]))
            if groups is None:
                refuse(
                    request,
                    _("%(name)s did not say your groups (claim %(claim)s): tell whoever runs this installation.")
                    % {"name": name, "claim": settings["groups_claim"]},
                )
            else:
                roles_by_groups(person, settings["roles"], groups, name)


def claims_of(request: HttpRequest, data: Mapping[str, Any]) -> dict[str, Any]:
    """What the service says of the person, the ID token before the user info (OpenID Connect Core 1.0, 5.3.2)."""
    token, info = data.get("id_token") or {}, data.get("userinfo") or {}
    if token and info and token.get("sub") != info.get("sub"):
        refuse(request, _("The log-in service spoke of two different people: nobody was let in."))
    return {**info, **token}


def groups_of(claim: Any) -> list[str] | None:
    """The groups of a claim; None where it holds none that can be read, which is not the same as no group."""
    if isinstance(claim, str):
        return [claim]
    if isinstance(claim, list) and all(isinstance(item, str) for item in claim):
        return claim
    return None


def bind(request: HttpRequest, sociallogin: SocialLogin, username: str, name: str) -> None:
    """Bind the person whom the service names to the account of that name; from then on the service's own key counts."""
    person = User.objects.filter(username__iexact=username).first() if username else None
    if person is None:
        refuse(
            request,
            _("There is no account “%(username)s” here: ask an administrator of your site to add you by that name.")
            % {"username": username or "?"},
        )
    elif person.is_superuser:
        # Whoever keeps the directory would otherwise become administrator of the installation by a name.
        refuse(request, _("The administrator of the installation logs in with a password."))
    elif SocialAccount.objects.filter(user=person, provider=sociallogin.account.provider).exists():
        refuse(
            request,
            _("The account “%(username)s” belongs to somebody else at %(name)s: ask an administrator.")
            % {"username": username, "name": name},
        )
    elif person.is_active:
        sociallogin.connect(request, person)
        note_factor(person, f"bound to {name}", actor=person)
    else:
        sociallogin.user = person


def refuse(request: HttpRequest, why: str) -> None:
    """End the log-in with a page that says why."""
    raise ImmediateHttpResponse(refused(request, why, 403))


def refused(request: HttpRequest, why: str, status: int) -> HttpResponse:
    return render(request, "socialaccount/authentication_error.html", {"why": why}, status=status)
