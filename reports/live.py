"""The live page of an issued sheet: the code on the paper opens it, and it says what the paper is worth today."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from loops.models import Approval
from loops.services.contributors import newer_pins
from loops.services.verification import changed_since
from registry import access
from registry.models import User

CURRENT, SUPERSEDED, WITHDRAWN = "current", "superseded", "withdrawn"


@login_not_required
@require_safe
@never_cache
def live(request: HttpRequest, short_id: str) -> HttpResponse:
    """Current, superseded, withdrawn or basis changed.

    Without log-in only where the site allows it; an address that is not known then looks like one that is not allowed.
    """
    issues = Approval.objects.select_related("loop__site", "loop__verification", "revision", "verification")
    approval = issues.filter(short_id=short_id).first()
    user = request.user if isinstance(request.user, User) else None
    member = approval is not None and user is not None and approval.loop.site_id in access.sites_of(user)
    if approval is None or not (member or approval.loop.site.live_pages):
        if user is not None:
            raise Http404
        return redirect_to_login(request.get_full_path())
    return render(request, "reports/live.html", live_context(approval) | {"member": member})


def live_context(approval: Approval) -> dict[str, object]:
    """What the page says of one issue."""
    later = Approval.objects.filter(loop=approval.loop_id, pk__gt=approval.pk).order_by("-pk").first()
    withdrawal = getattr(approval, "withdrawal", None)
    state = WITHDRAWN if withdrawal else SUPERSEDED if later else CURRENT
    return {
        "approval": approval,
        "loop": approval.loop,
        "snapshot": approval.revision.snapshot,
        "sheet": getattr(approval, "sheet", None),
        "state": state,
        "later": later,
        "later_withdrawn": hasattr(later, "withdrawal"),
        "withdrawal": withdrawal,
        "marks": list(approval.basis_changes.all()),
        "basis_changed": basis_changed(approval) if state == CURRENT else "",
    }


def basis_changed(approval: Approval) -> str:
    """Why the proof of an issue in force no longer rests on what holds today; an empty text while it does."""
    if reason := changed_since(approval.verification):
        return reason
    if labels := newer_pins(approval.revision.snapshot):
        return _("Changed in the register since the loop was judged: %(labels)s.") % {"labels": ", ".join(labels)}
    return ""
