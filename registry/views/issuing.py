"""The next issue of a certificate: its form begins with the text of the issue that it follows."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from registry.models import Certificate, User
from registry.selectors import record_text
from registry.services.issues import next_issue, refusal_to_supersede, supersede, superseded_text
from registry.services.proposals import effects_of
from registry.services.records import REASON, Author, EntryRefused, StaleRecord
from registry.showing import name_of
from registry.views.details import find
from registry.views.editing import Draft, opened_version, reason_field, show
from registry.views.foreseeing import BACK, CONFIRMED, effects_page
from registry.views.forms import nest
from registry.views.kinds import CERTIFICATE


@require_http_methods(["GET", "HEAD", "POST"])
def next_issue_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The form of issue n + 1, and its save."""
    user: User = request.user  # type: ignore[assignment]
    old = find(request, CERTIFICATE, pk)
    assert isinstance(old, Certificate)
    CERTIFICATE.require_edit(user, old)
    if refusal := refusal_to_supersede(old):
        messages.info(request, refusal)
        return HttpResponseRedirect(CERTIFICATE.url(old))
    if request.method != "POST":
        fresh = {"issue": next_issue(old), "issued_on": "", "valid_to": "", "status": "current"}
        return form(request, old, Draft(CERTIFICATE, None, record_text(old) | fresh, version=str(old.version)))
    posted = {name: values[-1] for name, values in request.POST.lists() if values}
    draft = Draft(
        CERTIFICATE,
        None,
        nest(posted),
        reason=posted.get("_reason", "").strip()[:400],
        version=posted.get("_version", ""),
        unsaved=True,
    )
    if BACK in posted:
        return form(request, old, draft)
    author = Author(user, reason=draft.reason)
    try:
        if CONFIRMED not in posted and draft.reason:
            effects = effects_of("certificate", superseded_text(old), author, record_id=old.pk)
            if effects.matter:
                return effects_page(request, CERTIFICATE, old, effects, CERTIFICATE.url(old, "supersede"))
        new = supersede(old.pk, draft.data, author, opened_version=opened_version(draft))
    except EntryRefused as refused:
        draft.errors = {"_reason" if path == REASON else path: found for path, found in refused.errors.items()}
        return form(request, old, draft, status=400)
    except StaleRecord as stale:
        draft.version = str(stale.record.version)
        messages.warning(request, _("Somebody else saved the old issue meanwhile: look at it, then save again."))
        return form(request, old, draft, status=409)
    messages.success(
        request,
        (
            _("Issue %(issue)s is saved; issue %(issue2)s is superseded by it.")
            % {"issue": new.issue, "issue2": old.issue}
        ),
    )
    messages.info(
        request,
        _("Items rest on issue %(old)s until their terminals name issue %(new)s: compare their values first.")
        % {"old": old.issue, "new": new.issue},
    )
    return HttpResponseRedirect(CERTIFICATE.url(new))


def form(request: HttpRequest, old: Certificate, draft: Draft, status: int = 200) -> HttpResponse:
    """The form of the next issue as it stands."""
    more: dict[str, Any] = {
        "follows": old,
        "title": (_("Next issue of %(number)s") % {"number": old.number}),
        "reason": reason_field(draft) | {"required": True},
        "form_action": CERTIFICATE.url(old, "supersede"),
        "cancel_url": CERTIFICATE.url(old),
        "crumbs": [
            {"text": CERTIFICATE.title, "url": CERTIFICATE.list_url},
            {"text": name_of(old), "url": CERTIFICATE.url(old)},
            {"text": _("Next issue"), "url": ""},
        ],
    }
    return show(request, draft, status, **more)
