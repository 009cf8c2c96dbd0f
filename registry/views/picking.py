"""Small answers while one types: names to pick from, and how a quantity is read."""

from __future__ import annotations

from collections.abc import Iterator

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry import access
from registry.entries import ENTRIES
from registry.fields import Reading
from registry.models import User
from registry.quantities import Kind, QuantityError
from registry.querysets import search_text
from registry.reading import EntryForm, RecordField
from registry.showing import told
from registry.stored import said
from registry.views.forms import within_sites

OFFERED = 30
ENTRY_CLASSES: list[type[EntryForm]] = list(ENTRIES.values())
"""Entries whose fields may be picked from; a package above the register appends its own when it is ready."""


def pickers() -> dict[str, RecordField]:
    """Every field that names another record, as "TerminalsEntry.certificate"."""
    return dict(found for entry in ENTRY_CLASSES for found in pickers_of(entry))


def pickers_of(entry: type[EntryForm]) -> Iterator[tuple[str, RecordField]]:
    for name, reader in entry.base_fields.items():
        if isinstance(reader, RecordField):
            yield f"{entry.__name__}.{name}", reader
    for child in entry.children.values():
        yield from pickers_of(child)


@require_safe
def pick(request: HttpRequest, name: str) -> HttpResponse:
    """At most thirty names that contain the text, those that begin with it first, as options of a datalist.

    The text is `q`, or the value of whatever field the page sends.
    """
    user: User = request.user  # type: ignore[assignment]
    access.require(user, "register.view")
    reader = pickers().get(name)
    if reader is None:
        raise Http404(_("There is no such field."))
    text = search_text(sent(request))
    named = within_sites(reader.named(), user).order_by("picked_name")
    first = list(named.filter(picked_name__istartswith=text).values_list("picked_name", flat=True)[:OFFERED])
    if text and len(first) < OFFERED:
        within = named.filter(picked_name__icontains=text).exclude(picked_name__istartswith=text)
        first += within.values_list("picked_name", flat=True)[: OFFERED - len(first)]
    return render(request, "registry/options.html", {"names": first})


@require_safe
def read_quantity(request: HttpRequest, kind: str) -> HttpResponse:
    """How the typed text of a quantity is read, or the message with its cure; empty for an empty text."""
    quantity = Kind.__members__.get(kind.upper())
    if quantity is None:
        raise Http404(_("There is no such quantity."))
    text = sent(request).strip()
    try:
        found = Reading.of(text, quantity)
    except QuantityError as error:
        return answer(said(str(error)))
    if found.value_si is None:
        return answer(_("Read as not stated by the certificate") if found.text else "")
    return answer(_("Read as %(quantity)s") % {"quantity": told(found.text, found.value_si, quantity)})


def sent(request: HttpRequest) -> str:
    """The text that was typed: `q`, or the value of whatever field the page sends."""
    return request.GET.get("q") or str(next(iter(request.GET.dict().values()), ""))


def answer(text: str) -> HttpResponse:
    return HttpResponse(text, content_type="text/plain; charset=utf-8")
