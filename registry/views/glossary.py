"""The glossary of parameters and terms."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.parameters import PARAMETERS, SECTIONS
from registry.terms import TERMS


@require_safe
def parameters(request: HttpRequest) -> HttpResponse:
    """Every parameter with its symbol, its name, where it stands on a certificate and the standard that names it."""
    sections = [
        {"title": title, "parameters": [item for item in PARAMETERS if item.section == name]}
        for name, title in SECTIONS.items()
    ]
    return render(request, "registry/parameters.html", {"sections": sections, "terms": TERMS, "section": ""})
