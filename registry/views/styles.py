"""The styles page: every piece that pages are made of, for whoever keeps the site."""

from __future__ import annotations

import json

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

SAMPLES = settings.BASE_DIR / "templates" / "styles.json"


@require_safe
def styles(request: HttpRequest) -> HttpResponse:
    """All components with sample data of an invented site (templates/styles.json)."""
    if not request.user.is_staff:
        raise PermissionDenied("The administrator of the installation may look at this.")
    return render(request, "styles.html", json.loads(SAMPLES.read_text("utf-8")))
