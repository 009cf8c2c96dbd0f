"""The page of one record: what it says, what it rests on, where it is used, what looks wrong, what it used to say."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from registry import access
from registry.conditions import numbered_conditions
from registry.doubting import doubts
from registry.models import CableType, Certificate, Equipment, HazardousArea, Scheme, Site, User
from registry.models.base import Record
from registry.models.schemes import LEAD_DAYS
from registry.plausibility import sentences
from registry.querysets import visible
from registry.selectors import loops_using, revisions_of
from registry.services.attachments import MODELS, files_by_record, files_of
from registry.services.expiry import leads_by_scheme
from registry.services.issues import issues_of, refusal_to_supersede
from registry.showing import (
    end_state,
    end_words,
    name_of,
    permitted_cells,
    quantities,
    status_state,
    temperature_cells,
    terminals_sections,
)
from registry.standards import read_standards
from registry.uses import describe, notes
from registry.views.pages import KindPage

LOOPS_SHOWN = 50
PINNED_KINDS = ("equipment", "certificate", "cable_type")
"""Loops are pinned to revisions of these; what they take from areas and sites is as it stands."""

EQUIPMENT_SHOWN = 100
REVISIONS_BESIDE = 4


def find(request: HttpRequest, kind: KindPage, pk: int) -> Record:
    """The record that the person may see, or 404; 403 without any role."""
    user: User = request.user  # type: ignore[assignment]
    access.require(user, kind.view_action)
    record: Record = get_object_or_404(kind.loaded(visible(kind.model, user)), pk=pk)
    return record


@require_safe
def record_page(request: HttpRequest, kind: KindPage, pk: int) -> HttpResponse:
    """One record."""
    return record_answer(request, kind, find(request, kind, pk))


def record_answer(request: HttpRequest, kind: KindPage, record: Record, file_refusal: str = "") -> HttpResponse:
    """The page of a record, after a refused file with the refusal in words."""
    user: User = request.user  # type: ignore[assignment]
    here, number_of_loops = loops_using(record, user)
    page = Paginator(here.values_list("pk", flat=True), LOOPS_SHOWN).get_page(request.GET.get("page", "")[:9])
    revisions = list(revisions_of(record)[:REVISIONS_BESIDE])
    context: dict[str, Any] = {
        "kind": kind,
        "section": kind.section,
        "record": record,
        "crumbs": [{"text": kind.title, "url": kind.list_url}, {"text": name_of(record), "url": ""}],
        "doubts": sentences(doubts(record)),
        "loops": describe(record, list(page)),
        "page_obj": page,
        "pins": kind.kind in PINNED_KINDS,
        "loops_elsewhere": number_of_loops - page.paginator.count,
        "loop_count": number_of_loops,
        "revisions": revisions,
        "newest": revisions[0].number if revisions else 0,
        "may_edit": kind.may_edit(user, record),
        "may_add": kind.may_edit(user),
        "urls": {view: kind.url(record, view) for view in ("edit", "duplicate", "archive", "restore", "history")},
    }
    if kind.kind in MODELS:
        context |= {
            "files": files_of(kind.kind, record.pk),
            "files_url": reverse(f"{kind.kind}_attach", args=[record.pk]) if context["may_edit"] else "",
            "file_refusal": file_refusal,
            "largest_file_mb": settings.ATTACHMENT_MAX_BYTES // 1_000_000,
        }
    context |= CONTENTS[kind.kind](record, user)
    return render(request, f"registry/{kind.kind}.html", context, status=400 if file_refusal else 200)


# ----------------------------------------------------------------------------------------------------------- contents


def equipment_content(record: Equipment, user: User) -> dict[str, Any]:
    today = timezone.localdate()
    keys = [terminals.certificate_id for terminals in record.terminals.all() if terminals.certificate_id]
    papers = files_by_record("certificate", keys)
    return {
        "head": [
            {"label": "Kind", "value": record.get_kind_display()},
            {"label": _("Maker"), "value": record.maker},
            {"label": _("Type"), "value": record.type_name},
            {"label": _("Ex marking"), "value": record.marking or _("not entered")},
        ],
        "terminals": [
            {
                "set": terminals,
                "facts": terminals_facts(terminals),
                "certificate": terminals.certificate,
                "certificate_files": papers.get(terminals.certificate_id or 0, []),
                "certificate_end": end_words(terminals.certificate, today) if terminals.certificate else "",
                "certificate_state": status_state(terminals.certificate) if terminals.certificate else "",
                "has_run_out": bool(terminals.certificate and terminals.certificate.has_run_out(today)),
                "sections": terminals_sections(terminals),
                "permitted": [permitted_cells(row) for row in terminals.permitted.all()],
                "classes": [temperature_cells(row) for row in terminals.temperature_classes.all()],
            }
            for terminals in record.terminals.all()
        ],
        "unconfirmed": [terminals.name for terminals in record.terminals.all() if terminals.unconfirmed],
    }


def terminals_facts(terminals: Any) -> list[dict[str, Any]]:
    gives = terminals.side == "source"
    facts = [
        {"label": _("Side"), "value": terminals.get_side_display()},
        {"label": _("Level of protection"), "value": terminals.level or _("unknown")},
        {
            "label": _("Group"),
            "value": ", ".join(name for name in (terminals.gas_group, terminals.dust_group) if name) or _("unknown"),
        },
        {
            "label": "EPL",
            "value": ", ".join(name for name in (terminals.gas_epl, terminals.dust_epl) if name) or _("not stated"),
        },
        {"label": _("Earthing"), "value": terminals.get_isolation_display()},
    ]
    if gives:
        facts.insert(1, {"label": _("Output"), "value": terminals.get_output_display() or _("unknown")})
    if terminals.needs_kind or terminals.hart:
        works = [terminals.get_needs_kind_display(), "HART" if terminals.hart else ""]
        facts.append({"label": _("Works as"), "value": ", ".join(filter(None, works))})
    if terminals.simple_kind:
        facts.append({"label": _("Simple apparatus"), "value": terminals.get_simple_kind_display()})
    return facts


def certificate_content(record: Certificate, user: User) -> dict[str, Any]:
    today = timezone.localdate()
    on_it = Equipment.objects.filter(terminals__certificate=record).distinct().order_by("maker", "type_name")
    state = status_state(record)
    status = {"state": state} if state else {"value": record.get_status_display()}
    return {
        "head": [
            {"label": _("Number"), "value": record.number},
            {"label": _("Issue"), "value": record.issue},
            {"label": _("Scheme"), "value": record.scheme},
            {"label": _("Status"), **status},
        ],
        "items": [
            {"label": _("Holder"), "value": record.holder},
            *([{"label": _("Control drawing"), "value": record.control_drawing}] if record.control_drawing else []),
            {"label": _("Issued on"), "value": record.issued_on},
        ],
        "standards": read_standards(record.standards),
        "issues": issues_of(record),
        "acceptance": acceptance(record, user),
        "may_supersede": not refusal_to_supersede(record) and access.may(user, "register.edit"),
        "end": end_words(record, today),
        "end_state": end_state(record, today, leads_by_scheme().get(record.scheme, LEAD_DAYS)),
        "conditions": [text for _, text in numbered_conditions(record.specific_conditions)],
        "equipment": on_it[:EQUIPMENT_SHOWN],
        "equipment_count": on_it.count(),
    }


def acceptance(record: Certificate, user: User) -> list[dict[str, Any]]:
    """The person's sites, each with whether it accepts the scheme of a certificate."""
    sites = visible(Site, user).filter(archived_at=None).order_by("code")
    name = record.scheme.casefold()
    return [
        {"site": site, "accepts": name in {scheme.casefold() for scheme in site.accepted_schemes}} for site in sites
    ]


def scheme_content(record: Scheme, user: User) -> dict[str, Any]:
    named = Certificate.objects.filter(scheme=record.name, archived_at=None)
    accepting = [site for site in visible(Site, user).filter(archived_at=None) if record.name in site.accepted_schemes]
    return {
        "head": [
            {"label": _("Scheme"), "value": record.name},
            {"label": _("Where it holds"), "value": record.description or _("not entered")},
            {"label": _("Control drawing"), "value": "needed" if record.needs_control_drawing else _("not needed")},
        ],
        "items": [
            {"label": _("Form of its numbers"), "value": record.number_form or _("no common form")},
            {"label": _("Example"), "value": record.number_example},
            {"label": _("Told before an end"), "value": (_("%(lead_days)s days") % {"lead_days": record.lead_days})},
        ],
        "accepting": accepting,
        "certificate_count": named.count(),
        "certificates_url": reverse("certificate_list") + "?" + urlencode({"scheme": record.name}),
    }


def cable_content(record: CableType, user: User) -> dict[str, Any]:
    counted = {
        "inductance_h_per_m": record.get_inductance_is_display(),
        "resistance_ohm_per_m": record.get_resistance_is_display(),
    }
    by_cores = bool(record.core_core_f_per_m_text)
    values = [
        item | {"note": counted.get(item["parameter"].column, "") if item["state"] == "value" else ""}
        for item in quantities(record, ["cable"])
        if by_cores or item["parameter"].column not in {"core_core_f_per_m", "core_screen_f_per_m"}
    ]
    return {
        "head": [
            {"label": _("Cable type"), "value": record.name},
            {"label": _("Maker"), "value": record.maker or _("not entered")},
            {"label": _("Screen"), "value": record.get_screen_display()},
            {"label": _("Conductor"), "value": record.conductor or _("not entered")},
        ],
        "sections": [
            {"title": _("Values for each length"), "items": values},
            {"title": _("Construction"), "items": quantities(record, ["construction"])},
        ],
    }


def site_content(record: Site, user: User) -> dict[str, Any]:
    areas = record.areas.filter(archived_at=None)
    return {
        "head": [
            {"label": _("Site"), "value": record.code},
            {"label": _("Name"), "value": record.name},
            {"label": _("Basis"), "value": record.get_basis_display()},
            {"label": _("Schemes accepted"), "value": record.schemes},
        ],
        "sections": [{"title": _("Safe area"), "items": quantities(record, ["site"])}],
        "items": [
            {"label": _("Time zone"), "value": record.time_zone},
            {"label": _("Lengths shown in"), "value": record.get_length_unit_display()},
            {"label": _("Months between inspections"), "value": months_in_words(record)},
            *notes(record),
        ],
        "areas": areas[:EQUIPMENT_SHOWN],
        "area_count": areas.count(),
        "may_add_area": access.may(user, "area.edit", record),
        "may_keep_people": access.may(user, "site.people", record),
    }


def months_in_words(site: Site) -> str:
    """The intervals of inspection by grade."""
    rows = (("visual", site.visual_months), ("close", site.close_months), ("detailed", site.detailed_months))
    return ", ".join(f"{grade} {months or _('not planned')}" for grade, months in rows)


def area_content(record: HazardousArea, user: User) -> dict[str, Any]:
    place = record.get_zone_display() or f"{record.get_nec_class_display()}, {record.get_division_display()}"
    return {
        "head": [
            {"label": _("Site"), "value": record.site.code, "url": reverse("site", args=[record.site_id])},
            {"label": _("Zone") if record.zone else _("Class and division"), "value": place},
            {"label": _("Group"), "value": record.group},
            {
                "label": _("Surface temperature") if record.is_dust else _("Temperature class"),
                "value": record.temperature_class,
            },
        ],
        "sections": [{"title": _("Ambient temperature"), "items": quantities(record, ["area"])}],
        "items": [{"label": _("Area classification drawing"), "value": record.drawing}],
    }


CONTENTS: dict[str, Any] = {
    "equipment": equipment_content,
    "certificate": certificate_content,
    "scheme": scheme_content,
    "cable_type": cable_content,
    "site": site_content,
    "area": area_content,
}
