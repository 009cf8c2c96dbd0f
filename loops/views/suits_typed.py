"""A nameplate typed in at a place of a loop: the word comes at once, nothing is saved."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from loops.services.refusals import WorkflowRefused
from loops.services.suitability.answers import answer
from loops.services.suitability.positions import Position
from loops.services.suitability.typed import CERTIFICATE, read_typed, send_typed
from loops.views.requests import person, typed
from loops.views.suits import position_of, shown_position, suits_crumbs
from loops.views.suits_check import context_of
from registry import access
from registry.entries import CertificateEntry, EquipmentEntry
from registry.models import EquipmentKind, Terminals
from registry.services.records import Author, EntryRefused
from registry.views.forms import FormNode, drop_blank_rows, error_list, form_tree, labels_of, nest

ITEM = ("maker", "type_name", "function", "marking")
PAPER = ("scheme", "number", "valid_to", "specific_conditions")
PLATE = {
    Terminals.Side.DEVICE: "level gas_group dust_group gas_epl dust_epl isolation ui_v ii_a pi_w ci_f li_h "
    "ambient_min_degc",
    Terminals.Side.SOURCE: "level gas_group gas_epl dust_epl output isolation uo_v io_a po_w ro_ohm uq_v um_v "
    "ambient_min_degc ambient_max_degc",
}
"""What stands on a nameplate, by the side of the terminals."""
WORKS = {
    Terminals.Side.DEVICE: "needs_kind hart needs_v needs_at_4ma_v needs_max_a pull_in_a coil_ohm coil_max_degc "
    "series_ohm drop_v",
    Terminals.Side.SOURCE: "supply_v supply_at_20ma_v supply_ohm supply_hart_ohm",
}
"""What a data sheet says of the function."""
LISTED = {Terminals.Side.DEVICE: "temperature_classes", Terminals.Side.SOURCE: "permitted"}
SIMPLE = "simple_kind justification simple_w surface_m2 thermal_k_per_w ci_f li_h isolation"
ROWS = 2


@require_http_methods(["GET", "HEAD", "POST"])
def typed_item(request: HttpRequest, pk: int, member_pk: int) -> HttpResponse:
    """The form; after a POST the answer above it, or the faults; with a reason the question goes to the engineer."""
    plant, position = position_of(request, pk, member_pk)
    if request.method != "POST":
        return show(request, position, blank(position), {})
    sending = "_send" in request.POST
    if sending:
        access.require(person(request), "loop.propose", position.loop.site)
    data = drop_blank_rows(nest(request.POST.dict()), EquipmentEntry)
    candidate, errors = read_typed(position, data)
    if candidate is None:
        return show(request, position, data, errors, status=400)
    found = answer(plant, position, candidate)
    context = context_of(request, found) | {"may_ask": access.may(person(request), "loop.propose", position.loop.site)}
    if not sending:
        return show(request, position, data, {}, context)
    try:
        send_typed(found, Author(person(request), reason=typed(request, "_reason", 400)))
    except (WorkflowRefused, PermissionDenied) as refused:
        return show(request, position, data, {}, context | {"refusal": str(refused)}, status=409)
    except EntryRefused as refused:
        text = " ".join(refused.messages)
        return show(request, position, data, {}, context | {"refusal": text}, status=400)
    messages.success(request, _("The designers were asked: the values stand as a remark on the loop."))
    return redirect("loop", pk=position.loop.pk)


def blank(position: Position) -> dict[str, Any]:
    """What the form shows first: the names of the terminals as they are now."""
    return {"terminals": [{"name": row["name"]} for row in position.standing.sets]}


def show(
    request: HttpRequest,
    position: Position,
    data: dict[str, Any],
    errors: dict[str, list[str]],
    context: dict[str, Any] | None = None,
    status: int = 200,
) -> HttpResponse:
    """The page with what was typed."""
    loop = position.loop
    item_url = reverse("suits_item", args=[loop.pk, position.member])
    form, labels = form_of(position, data, errors)
    page = {
        "section": "suits",
        "loop": loop,
        "item": shown_position(position),
        "item_url": item_url,
        "form": form,
        "errors": error_list(errors, labels),
        "heading": _("Not judged: please mend the following"),
        "carried": [(name, value) for name, value in request.POST.items() if not name.startswith(("_", "csrf"))],
        "reason": typed(request, "_reason", 400),
    }
    crumbs = suits_crumbs(
        (loop.tag, reverse("suits_loop", args=[loop.pk])), (position.tag, item_url), (_("Nameplate"), "")
    )
    return render(request, "loops/suits/typed.html", (context or {}) | page | {"crumbs": crumbs}, status=status)


def form_of(
    position: Position, data: dict[str, Any], errors: dict[str, list[str]]
) -> tuple[dict[str, Any], dict[str, str]]:
    """The fields of the form by their parts, and the names of all of them."""
    rows = data.get("terminals")
    rows = rows if isinstance(rows, list) else []
    filled = []
    for number, place in enumerate(position.places):
        row = dict(rows[number]) if number < len(rows) and isinstance(rows[number], dict) else {}
        listed = LISTED[Terminals.Side(place.side)]
        found = row.get(listed)
        given = found if isinstance(found, list) else []
        row[listed] = [*(given if isinstance(given, list) else []), *({} for _ in range(ROWS))][
            : max(ROWS, len(given or []))
        ]
        filled.append(row)
    tree = form_tree(EquipmentEntry, data | {"terminals": filled}, errors)
    paper_data = data.get(CERTIFICATE)
    paper = form_tree(CertificateEntry, paper_data if isinstance(paper_data, dict) else {}, errors, CERTIFICATE)
    simple = position.standing.item["kind"] == EquipmentKind.SIMPLE_APPARATUS
    sets = [
        set_of_fields(node, Terminals.Side(place.side), simple)
        for node, place in zip(tree.rows["terminals"], position.places, strict=True)
    ]
    for name in PAPER:
        paper.fields[name]["required"] = False
    form = {
        "item": [tree.fields[name] for name in ITEM],
        "paper": [] if simple else [paper.fields[name] for name in PAPER],
        "sets": sets,
    }
    return form, labels_of(tree) | labels_of(paper, _("Certificate"))


def set_of_fields(node: FormNode, side: Terminals.Side, simple: bool) -> dict[str, Any]:
    """The fields of one set of terminals."""
    names = (SIMPLE if simple else PLATE[side]).split()
    return {
        "name": node.fields["name"],
        "plate": [node.fields[name] for name in names],
        "works": [] if simple else [node.fields[name] for name in WORKS[side].split()],
        "rows": [[*row.fields.values()] for row in node.rows[LISTED[side]]],
        "rows_title": _("Temperature class, by ambient temperature")
        if side == Terminals.Side.DEVICE
        else _("Permitted capacitance and inductance, by group"),
    }
