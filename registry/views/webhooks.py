"""Webhooks: those that a site administrator keeps, a new one whose secret is shown once, and the log of one."""

from __future__ import annotations

from typing import Any

from allauth.account.decorators import reauthentication_required
from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from registry.models import User, Webhook
from registry.services import webhooks as service
from registry.services.records import EntryRefused
from registry.views.forms import error_list

SHOWN = 100
LABELS: dict[str, Any] = {
    "name": gettext_lazy("Name"),
    "url": gettext_lazy("Address"),
    "site": gettext_lazy("Site"),
    "kinds": gettext_lazy("Of these kinds alone"),
}
SAID = {
    "pause": gettext_lazy("%s is paused."),
    "go-on": gettext_lazy("%s goes on."),
    "end": gettext_lazy("%s is told nothing any more."),
}
COMMANDS = {"pause": service.pause, "go-on": service.go_on, "end": service.end}


def keeper(request: HttpRequest) -> User:
    """Who looks, who keeps webhooks of some site. Raises PermissionDenied."""
    user: User = request.user  # type: ignore[assignment]
    if not user.is_superuser and not service.sites_for(user):
        raise PermissionDenied(_("A site administrator may do this."))
    return user


@require_safe
def webhooks(request: HttpRequest) -> HttpResponse:
    """The webhooks that a person keeps."""
    user = keeper(request)
    context = {
        "section": "sites",
        "crumbs": [{"text": _("Sites & areas"), "url": reverse("site_list")}, {"text": _("Webhooks"), "url": ""}],
        "webhooks": service.webhooks_for(user),
        "origins": settings.WEBHOOK_ORIGINS,
    }
    return render(request, "registry/webhooks.html", context)


@reauthentication_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def new_webhook(request: HttpRequest) -> HttpResponse:
    """The form of a new webhook; its secret is shown in the answer, and never again."""
    user = keeper(request)
    if request.method != "POST":
        return form(request, user, {"kinds": []}, {})
    typed: dict[str, Any] = {name: request.POST.get(name, "") for name in LABELS}
    typed["kinds"] = [kind for kind in service.KINDS if f"kind.{kind}" in request.POST]
    try:
        webhook, secret = service.make(user, typed)
    except EntryRefused as refused:
        return form(request, user, typed, refused.errors, status=400)
    return show(request, webhook, secret=secret)


@require_http_methods(["GET", "HEAD", "POST"])
def webhook_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One webhook with the log of what it was told; a POST pauses it, goes on or ends it."""
    user = keeper(request)
    webhook = get_object_or_404(service.webhooks_for(user), pk=pk)
    if request.method != "POST":
        return show(request, webhook)
    wanted = request.POST.get("_do", "")
    if wanted in COMMANDS:
        COMMANDS[wanted](webhook, user)
        messages.success(request, SAID[wanted] % webhook)
    return HttpResponseRedirect(reverse("webhooks") if wanted == "end" else reverse("webhook", args=[pk]))


def show(request: HttpRequest, webhook: Webhook, **more: Any) -> HttpResponse:
    """The page of one; with the secret of a new one above."""
    context = {
        "section": "sites",
        "crumbs": [{"text": _("Webhooks"), "url": reverse("webhooks")}, {"text": webhook.name, "url": ""}],
        "webhook": webhook,
        "deliveries": webhook.deliveries.all()[:SHOWN],
        "waiting": service.untold(webhook).count(),
    }
    return render(request, "registry/webhook.html", context | more)


def form(
    request: HttpRequest, user: User, typed: dict[str, Any], errors: dict[str, list[str]], status: int = 200
) -> HttpResponse:
    """The form as it stands."""
    sites = [(site.code, str(site)) for site in service.sites_for(user)]
    every = [("", _("All sites"))] if user.is_superuser else []
    helps = {
        "url": _("A host that whoever runs the installation has allowed: %s.")
        % (", ".join(settings.WEBHOOK_ORIGINS) or _("none yet")),
        "site": _("It is told what is done at this site and in the shared register."),
    }
    fields = [
        {
            "name": name,
            "id": f"f-{name}",
            "label": LABELS[name],
            "kind": "select" if name == "site" else "text",
            "choices": [*every, *sites] if name == "site" else None,
            "value": typed.get(name, ""),
            "required": True,
            "help": helps.get(name, ""),
            "errors": errors.get(name, []),
            "wide": name == "url",
        }
        for name in ("name", "url", "site")
    ]
    ticks = [
        {
            "name": f"kind.{kind}",
            "id": f"f-kind-{kind}",
            "label": kind.replace("_", " "),
            "value": kind in typed["kinds"],
        }
        for kind in service.KINDS
    ]
    context = {
        "section": "sites",
        "crumbs": [{"text": _("Webhooks"), "url": reverse("webhooks")}, {"text": _("New"), "url": ""}],
        "fields": fields,
        "ticks": ticks,
        "kinds_label": LABELS["kinds"],
        "errors": error_list(errors, LABELS),
        "save_label": _("Make the webhook"),
        "cancel_url": reverse("webhooks"),
    }
    return render(request, "registry/webhook_new.html", context, status=status)
