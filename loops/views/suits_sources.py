"""Which source for these devices? The question stands in the address; the sources of the register are judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from loops.entries import CableEntry, LoopEntry, MemberEntry
from loops.services.suitability.proposals import MOST_DEVICES, Asked, Offer, propose_sources, reason_name
from loops.views.requests import person
from loops.views.suits import suits_crumbs
from registry import access
from registry.lengths import permitted_length
from registry.models import HazardousArea, Terminals, User
from registry.reading import read_entry
from registry.views.forms import field_dict, offer

SHOWN_DEVICES = 3
SHOWN = 40


@dataclass
class Reading:
    """What was asked, as read: the question, or the faults by field."""

    asked: Asked | None = None
    errors: dict[str, list[str]] = field(default_factory=dict)


def read_question(data: Mapping[str, Any], user: User) -> Reading:
    """Read a question: "devices" (names of sets of terminals), "area", "cable_type", "length_m", "load_ohm" as text.

    Without a length the cable is as long as possible. Raises PermissionDenied for an area of a site of others.
    """
    found = Reading()
    names = [str(name) for name in data.get("devices") or () if str(name).strip()]
    if not names:
        found.errors["devices.0"] = [_("Name at least one device.")]
    if len(names) > MOST_DEVICES:
        found.errors["devices.0"] = [_("At most %d devices are judged at a time.") % MOST_DEVICES]
        names = names[:MOST_DEVICES]
    devices: list[Terminals] = []
    area: HazardousArea | None = None
    for number, name in enumerate(names):
        row = {"role": "device", "tag": f"D{number}", "terminals": name, "area": data.get("area", "")}
        cleaned, errors = read_entry(MemberEntry, row)
        for path, shown in (("terminals", f"devices.{number}"), ("area", "area")):
            if path in errors:
                found.errors[shown] = errors[path]
        if not errors:
            devices.append(cleaned["terminals"])
            area = cleaned["area"]
    if names and area is None and "area" not in found.errors and not found.errors:
        found.errors["area"] = [_("Choose the area in which the devices stand.")]
    if area is not None:
        access.require(user, "loop.view", area.site)
    cable, errors = read_entry(
        CableEntry, {"tag": "W1", "cable_type": data.get("cable_type", ""), "length_m": data.get("length_m", "")}
    )
    found.errors |= {path: texts for path, texts in errors.items() if path in ("cable_type", "length_m")}
    try:
        resistance = LoopEntry.base_fields["load_ohm"].clean(data.get("load_ohm", ""))
    except ValidationError as error:
        found.errors["load_ohm"] = [str(message) for message in error.messages]
    if not found.errors and area is not None:
        found.asked = Asked(devices, area, cable["cable_type"], cable["length_m"], resistance)
    return found


@require_safe
def sources(request: HttpRequest) -> HttpResponse:
    """The question, and the sources that answer it."""
    user = person(request)
    data: dict[str, Any] = {
        "devices": [text for text in request.GET.getlist("device") if text.strip()][: MOST_DEVICES + 1],
        **{name: request.GET.get(name, "").strip()[:200] for name in ("area", "cable_type", "length_m", "load_ohm")},
    }
    is_asked = bool(request.GET)
    found = read_question(data, user) if is_asked else Reading()
    context: dict[str, Any] = {
        "section": "suits",
        "crumbs": suits_crumbs((_("Which source?"), "")),
        "fields": fields_of(data, found.errors, user),
        "errors": [
            {"id": f"f-{path.replace('.', '-')}", "label": "", "text": text}
            for path, texts in found.errors.items()
            for text in texts
        ],
        "heading": _("Not judged: please mend the following"),
        "asked": found.asked,
    }
    if found.asked:
        offers, unit = propose_sources(found.asked), found.asked.site.length_unit
        context |= {
            "serving": [shown_offer(item, unit) for item in offers.serving[:SHOWN]],
            "unsure": [shown_offer(item, unit) for item in offers.unsure[:SHOWN]],
            "failing": [
                {"reason": reason, "count": len(rows), "rows": [shown_offer(item, unit) for item in rows[:SHOWN]]}
                for reason, rows in offers.reasons
            ],
            "count": len(offers.serving),
        }
    return render(request, "loops/suits/sources.html", context, status=400 if found.errors else 200)


def shown_offer(item: Offer, unit: str) -> dict[str, Any]:
    """A source as the page shows it, the longest cable in the unit of the site."""
    return {
        "name": item.candidate.name,
        "terminals": item.candidate.terminals_name,
        "description": item.candidate.item["description"],
        "function": item.candidate.item["function"],
        "url": reverse("equipment", args=[item.candidate.key]),
        "margin": item.margin,
        "headroom": item.headroom,
        "longest": permitted_length(item.longest, unit) if item.longest else "",
        "unlimited": item.limited_by == "none",
        "limited_by": limit_name(item.limited_by),
        "why": item.why,
    }


def limit_name(word: str) -> str:
    """What sets the longest cable, in words; empty where nothing does."""
    if word == "function":
        return _("function")
    return reason_name(word).lower() if word not in ("", "none") else ""


def fields_of(data: Mapping[str, Any], errors: Mapping[str, list[str]], user: User) -> dict[str, Any]:
    """The fields of the question."""
    choices: dict[str, list[tuple[str, str]]] = {}
    for entry, name in ((MemberEntry, "terminals"), (MemberEntry, "area"), (CableEntry, "cable_type")):
        offer(f"{entry.__name__}.{name}", entry.base_fields[name], choices, user)  # type: ignore[arg-type]

    def one(entry: Any, name: str, path: str, value: str, **more: Any) -> dict[str, Any]:
        shown = field_dict(entry, name, entry.base_fields[name], value, errors.get(path, []), "", choices)
        return shown | {"id": f"f-{path.replace('.', '-')}", "help": ""} | more

    names = list(data["devices"])
    count = max(SHOWN_DEVICES, len(names))
    devices = []
    for number in range(count):
        value = names[number] if number < len(names) else ""
        label = _("Device %d") % (number + 1)
        field = one(MemberEntry, "terminals", f"devices.{number}", value, label=label)
        devices.append(field | {"name": "device", "required": number == 0})
    return {
        "devices": devices,
        "rest": [
            one(MemberEntry, "area", "area", data["area"], label=_("Area"), required=True),
            one(CableEntry, "cable_type", "cable_type", data["cable_type"], label=_("Cable type")),
            one(
                CableEntry,
                "length_m",
                "length_m",
                data["length_m"],
                label=_("Length of the cable"),
                unit_hint="",
                help=_("For example 300 m. Empty: as long as possible."),
            ),
            one(
                LoopEntry,
                "load_ohm",
                "load_ohm",
                data["load_ohm"],
                label=_("Load in the loop"),
                unit_hint="",
                help=_("All resistance in series that is no cable, for example 250 ohm."),
            ),
        ],
    }
