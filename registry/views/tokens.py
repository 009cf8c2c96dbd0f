"""One's own tokens of the API: which there are, a new one whose text is shown once, and the end of one."""

from __future__ import annotations

from typing import Any

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.models import ApiToken, Scope, User
from registry.services import tokens as service
from registry.services.records import EntryRefused
from registry.views.forms import error_list

LABELS: dict[str, Any] = {name: field.label for name, field in service.TokenEntry.base_fields.items()}


@require_safe
@never_cache
def tokens(request: HttpRequest) -> HttpResponse:
    """The tokens of who looks."""
    return show(request)


@reauthentication_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def new_token(request: HttpRequest) -> HttpResponse:
    """The form of a new token; its text is shown in the answer, and never again."""
    if request.method != "POST":
        return form(request, {"scope": Scope.READ.value, "days": "90"}, {})
    user: User = request.user  # type: ignore[assignment]
    typed = {name: request.POST.get(name, "") for name in LABELS}
    try:
        token, text = service.make_token(user, typed)
    except EntryRefused as refused:
        return form(request, typed, refused.errors, status=400)
    return show(request, made=token, text=text)


@require_POST
def revoke_token(request: HttpRequest, pk: int) -> HttpResponse:
    """End a token of one's own at once."""
    user: User = request.user  # type: ignore[assignment]
    token = get_object_or_404(ApiToken.objects.select_related("person", "site"), person=user, pk=pk)
    service.revoke(token, user)
    messages.success(request, _("%s is revoked: nothing gets in with it any more.") % token)
    return HttpResponseRedirect(reverse("tokens"))


def show(request: HttpRequest, **more: Any) -> HttpResponse:
    """The list; with a new token's text above it."""
    user: User = request.user  # type: ignore[assignment]
    context = {"section": "", "crumbs": crumbs(), "tokens": service.tokens_of(user)}
    return render(request, "registry/tokens.html", context | more)


def form(request: HttpRequest, typed: dict[str, str], errors: dict[str, list[str]], status: int = 200) -> HttpResponse:
    """The form as it stands."""
    user: User = request.user  # type: ignore[assignment]
    sites = [("", _("All sites of mine")), *((site.code, str(site)) for site in service.sites_for(user))]
    choices: dict[str, Any] = {
        "scope": Scope.choices,
        "site": sites,
        "days": [(str(days), _("%d days") % days) for days in service.DAYS],
    }
    helps = {
        "name": _("What uses it, for example “Maintenance planning, nightly”."),
        "scope": _("It does nothing that you may not do yourself, and never approves, confirms or keeps people."),
    }
    fields = [
        {
            "name": name,
            "id": f"f-{name}",
            "label": label,
            "kind": "select" if name in choices else "text",
            "choices": choices.get(name),
            "value": typed.get(name, ""),
            "required": name != "site",
            "help": helps.get(name, ""),
            "errors": errors.get(name, []),
        }
        for name, label in LABELS.items()
    ]
    context = {
        "section": "",
        "crumbs": [*crumbs()[:-1], {"text": _("API tokens"), "url": reverse("tokens")}, {"text": _("New"), "url": ""}],
        "fields": fields,
        "errors": error_list(errors, LABELS),
        "save_label": _("Make the token"),
        "cancel_url": reverse("tokens"),
    }
    return render(request, "registry/token_new.html", context, status=status)


def crumbs() -> list[dict[str, str]]:
    return [{"text": _("How I log in"), "url": reverse("mfa_index")}, {"text": _("API tokens"), "url": ""}]
