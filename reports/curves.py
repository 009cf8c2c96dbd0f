"""The ignition-curve chart of a circuit, as a picture of its own that a page asks for when it is seen."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from csp.constants import NONE, UNSAFE_INLINE
from csp.decorators import csp_replace
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.utils.cache import get_conditional_response
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from loops.casefile import CaseError
from loops.services.curves import curves_of_document
from loops.services.tables import in_force, tables_of
from registry.models import Site
from reports.views import visible_loop

DRAWN = 2
"""Raised where the same case is drawn otherwise, so that no browser keeps the older picture."""


def has_chart(document: Mapping[str, Any]) -> bool:
    """Whether the curves of a case document can be drawn: group of the area, Uo and Io are there, and sums count."""
    sources = document.get("sources") or []
    known = all(source.get(key) not in (None, "not stated") for source in sources for key in ("Uo", "Io"))
    segment = document.get("fisco") or document.get("two_wise")
    return bool(sources) and known and bool(document.get("area", {}).get("group")) and not segment


# The picture is a document with styles of its own, shown as an image: it can run and load nothing.
@csp_replace({"default-src": [NONE], "style-src": [UNSAFE_INLINE]})  # type: ignore[arg-type]  # its types know views without parameters only
@require_safe
def ignition(request: HttpRequest, pk: int, number: int) -> HttpResponseBase:
    """Ignition curves and working point of one circuit (counted from 1) as it was last judged, as SVG."""
    loop = visible_loop(request, pk)
    verification = loop.verification
    if verification is None or not 1 <= number <= len(verification.inputs):
        raise Http404
    own = sorted(row.digest for row in in_force(loop.site).values())
    drawn_of = f"{verification.digest} {number} {own} {DRAWN} {get_language()}"
    tag = f'"{hashlib.sha256(drawn_of.encode()).hexdigest()[:32]}"'
    unchanged = get_conditional_response(request, etag=tag)
    if unchanged is not None:
        return unchanged
    response = HttpResponse(drawn(verification.inputs[number - 1], loop.site), content_type="image/svg+xml")
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def drawn(document: Mapping[str, Any], site: Site) -> bytes:
    """The chart of a case document. Raises Http404 where none can be drawn."""
    # The drawing library takes a second and tens of megabytes to load, so only who looks at a chart pays for it.
    from reports.diagrams.ignition import ignition_svg

    try:
        curves = curves_of_document(document, tables_of(site))
    except CaseError as error:
        raise Http404 from error
    if curves is None:
        raise Http404
    return ignition_svg(curves)
