"""Change one value of many records: chosen by the filters of the list, looked at, then saved as a whole."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from registry.models import User
from registry.plain import plain_text
from registry.services.many import ROWS, Found, change_many, most_of, places_of
from registry.services.records import Author
from registry.views.foreseeing import shown_effects
from registry.views.listing import asked_of, found_records, shown_records
from registry.views.lists import list_page
from registry.views.pages import KindPage
from registry.words import lazily

LABELS = {
    "place": lazily("What to change"),
    "value": lazily("New value"),
    "only": lazily("Only where it says"),
    "reason": lazily("Why"),
    "record": lazily("Records"),
}
LONGEST_VALUE = 500
LONGEST_REASON = 400


@require_http_methods(["GET", "HEAD", "POST"])
def many(request: HttpRequest, kind: KindPage) -> HttpResponse:
    """The records that a list shows, to be changed in one value; a check saves nothing."""
    user: User = request.user  # type: ignore[assignment]
    kind.require_edit(user)
    if request.method == "POST":
        return receive(request, kind, user)
    query = dict(request.GET.lists())
    ticked = keys_in(query.pop("record", []))
    asked = asked_of(kind, query, user)
    if asked.is_faulty:
        return list_page(request, kind, asked)
    found = shown_records(kind, user, asked)
    if ticked:
        found = found.filter(pk__in=ticked)
    chosen = list(found.values_list("pk", flat=True)[: most_of(kind.kind) + 1])
    more = len(chosen) > most_of(kind.kind)
    too_many = (len(ticked) or found_records(kind, user, asked).count()) * more
    return show(request, kind, user, [] if more else chosen, too_many=too_many)


def keys_in(texts: list[str]) -> list[int]:
    """The keys of records that a form names, each once."""
    return list(dict.fromkeys(int(text) for text in texts if text.isascii() and text.isdigit() and len(text) < 16))


def receive(request: HttpRequest, kind: KindPage, user: User) -> HttpResponse:
    """A check of what is typed, or the save of what was looked at."""
    keys = keys_in(request.POST.getlist("record"))
    most = most_of(kind.kind)
    offered = list(dict.fromkeys([*keys_in(request.POST.getlist("offered")), *keys]))[:most]
    seen = set(kind.visible(user).filter(pk__in=offered).values_list("pk", flat=True))
    if offered and not seen:
        raise Http404
    offered = [key for key in offered if key in seen]
    keys = [key for key in keys if key in seen][:most]
    place = places_of(kind.kind).get(request.POST.get("place", ""))
    typed = {name: request.POST.get(name, "").strip() for name in ("value", "only", "reason")}
    errors = errors_of(typed, place is None, not keys)
    if "back" in request.POST:
        return show(request, kind, user, offered, keys=keys)
    if errors or place is None:
        return show(request, kind, user, offered, keys=keys, errors=errors, status=400)
    mark = request.POST.get("mark", "") if "save" in request.POST else None
    author = Author(user, reason=typed["reason"])
    found = change_many(kind.kind, keys, place, typed["value"], typed["only"], author, mark)
    if found.faults:
        errors = {"value": [f"{record}: {text}" for record, text in found.faults[:20]]}
        return show(request, kind, user, offered, keys=keys, errors=errors, status=400)
    if mark is None or found.stale:
        return show(request, kind, user, offered, keys=keys, found=found, status=409 if found.stale else 200)
    messages.success(
        request,
        (
            _("Saved: %(label)s of %(changed)s %(plural)s.")
            % {
                "label": place.label,
                "changed": found.changed,
                "plural": kind.singular if found.changed == 1 else kind.plural,
            }
        ),
    )
    return HttpResponseRedirect(kind.list_url)


def errors_of(typed: dict[str, str], no_place: bool, nothing: bool) -> dict[str, list[str]]:
    """What is wrong with a form before any record is looked at."""
    errors: dict[str, list[str]] = {}
    if no_place:
        errors["place"] = [_("Choose what to change.")]
    if nothing:
        errors["record"] = [_("Choose at least one record.")]
    if not typed["reason"]:
        errors["reason"] = [_("Say why in a few words: it stands in the history of each record.")]
    for name, longest in (("value", LONGEST_VALUE), ("only", LONGEST_VALUE), ("reason", LONGEST_REASON)):
        if len(typed[name]) > longest:
            errors[name] = [(_("Shorten this to at most %(longest)s characters.") % {"longest": longest})]
        try:
            plain_text(typed[name])
        except ValidationError as error:
            errors[name] = list(error.messages)
    return errors


def show(
    request: HttpRequest,
    kind: KindPage,
    user: User,
    offered: list[int],
    *,
    keys: list[int] | None = None,
    errors: dict[str, list[str]] | None = None,
    found: Found | None = None,
    too_many: int = 0,
    status: int = 200,
) -> HttpResponse:
    """The form, or with `found` what the change does."""
    errors = errors or {}
    by_key = kind.visible(user).in_bulk(offered)
    places = places_of(kind.kind)
    context: dict[str, Any] = {
        "kind": kind,
        "section": kind.section,
        "records": [
            {"pk": key, "text": name_of(by_key[key]), "chosen": keys is None or key in keys}
            for key in offered
            if key in by_key and not by_key[key].is_archived
        ],
        "too_many": too_many,
        "most": most_of(kind.kind),
        "fields": [
            field(request, kind.kind, name, label, errors, places) for name, label in LABELS.items() if name != "record"
        ],
        "errors": [
            {"id": f"f-{name}", "label": LABELS[name], "text": text} for name, texts in errors.items() for text in texts
        ],
        "found": found,
        "place": places.get(request.POST.get("place", "")),
        "typed": {name: request.POST.get(name, "").strip() for name in ("place", "value", "only", "reason")},
        "keys": keys or [],
        "form_action": reverse(f"{kind.kind}_many"),
        "crumbs": [{"text": kind.title, "url": kind.list_url}, {"text": _("Change many"), "url": ""}],
    }
    if found and found.effects:
        context |= shown_effects(found.effects) | {"own": kind.kind == "loop"}
    return render(request, "registry/many.html", context, status=status)


def name_of(record: Any) -> str:
    """What a record is called among others, that of a site with its site."""
    site = getattr(record, "site", None)
    return f"{record.label()} ({site.code})" if site else str(record.label())


def field(
    request: HttpRequest, kind: str, name: str, label: str, errors: dict[str, list[str]], places: dict[str, Any]
) -> dict[str, Any]:
    """A field of the form as components/field.html shows it."""
    helps = {
        "value": _(
            "As in its form: a quantity with its unit, “not stated”, a choice in its words, another record by its"
            " name. Empty makes it unknown."
        ),
        "only": _("Only where this stands now; empty for all."),
        "reason": _("It stands in the history of each record."),
    }
    built = {
        "name": name,
        "id": f"f-{name}",
        "label": label,
        "value": request.POST.get(name, ""),
        "required": name in ("place", "reason"),
        "errors": errors.get(name, []),
        "help": helps.get(name, ""),
    }
    if name == "place":
        groups = [
            (heading, [(place.key, place.label) for place in places.values() if place.rows == rows])
            for rows, heading in (("", _("Of the record")), *ROWS.get(kind, {}).items())
        ]
        built |= {"kind": "select", "grouped": True, "choices": [(_("Choose"), [("", "…")]), *groups]}
    return built
