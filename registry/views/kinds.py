"""What differs between the kinds of record: one table from which lists, pages, forms and addresses are made."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import access, measures, querysets
from registry.filters import Choice, Choices, Contains, Days, Ranges
from registry.models import (
    Basis,
    CableType,
    Certificate,
    CertificateStatus,
    HazardousArea,
    Scheme,
    Site,
    User,
)
from registry.models.equipment import GROUPS
from registry.models.schemes import LEAD_DAYS, read_lead_days
from registry.services.expiry import leads_by_scheme
from registry.showing import day, end_state, end_words, status_state
from registry.signs import with_signs
from registry.text_search import SEARCHED
from registry.views.kind_equipment import EQUIPMENT
from registry.views.pages import (
    ARCHIVED,
    CHANGED,
    LISTS,
    Column,
    KindPage,
    ambient,
    distinct,
    fixed,
    in_use,
    measured,
    same,
    text,
    titled,
)
from registry.words import lazily

# ------------------------------------------------------------------------------------------------------- certificates


def by_end(value: str, user: User) -> Q:
    today: dt.date = timezone.localdate()
    if value == "none":
        return Q(valid_to=None)
    if value == "run out":
        return Q(valid_to__lt=today)
    leads = {name: max(days) for name, days in leads_by_scheme().items()}
    soon = ~Q(scheme__in=leads) & Q(valid_to__lte=today + dt.timedelta(days=max(LEAD_DAYS)))
    for days in set(leads.values()):
        names = [name for name, lead in leads.items() if lead == days]
        soon |= Q(scheme__in=names, valid_to__lte=today + dt.timedelta(days=days))
    return Q(valid_to__gte=today) & (soon if value == "soon" else ~soon)


def day_cell(value: dt.date | None) -> dict[str, Any]:
    return text(day(value) if value else "")


def certificate_name(item: Certificate) -> dict[str, Any]:
    return titled(item, item.number, (_("Issue %(issue)s") % {"issue": item.issue}))


def certificate_status(item: Certificate) -> dict[str, Any]:
    state = status_state(item)
    return {"state": state} if state else text(item.get_status_display())


def certificate_end(item: Certificate) -> dict[str, Any]:
    today = timezone.localdate()
    state = end_state(item, today, read_lead_days(item.lead_days))  # type: ignore[attr-defined]
    return text(
        end_words(item, today),
        warn=state == "run out",
        soft=item.valid_to is None,
        strong=state == "soon",
    )


CERTIFICATE = KindPage(
    kind="certificate",
    note=lazily("Issue"),
    path="certificates",
    title=lazily("Certificates"),
    noun=lazily("a certificate"),
    singular=lazily("certificate"),
    plural=lazily("certificates"),
    section="certificates",
    model=Certificate,
    edit_action="register.edit",
    add_action="register.edit",
    searched=SEARCHED["certificate"],
    search_label=lazily("Number, holder or standard"),
    columns=(
        Column(lazily("Number"), certificate_name, "number", ("number", "issue")),
        Column(lazily("Scheme"), lambda item: text(item.scheme), "scheme", ("scheme", "number")),
        Column(lazily("Holder"), lambda item: text(item.holder), "holder", ("holder", "number")),
        Column(lazily("Status"), certificate_status, "status", ("status", "number")),
        Column(lazily("End"), certificate_end, "end", ("valid_to", "number")),
        Column(
            lazily("Equipment"),
            lambda item: text(item.equipment_count),
            "equipment",
            ("equipment_count", "number"),
            number=True,
        ),
        Column(lazily("Issued"), lambda item: day_cell(item.issued_on), "issued", ("issued_on", "number"), shown=False),
        Column(lazily("Valid to"), lambda item: day_cell(item.valid_to), shown=False),
        Column(lazily("Standards"), lambda item: text(item.standards), shown=False),
        Column(lazily("Conditions of use"), lambda item: text(item.specific_conditions), shown=False),
        CHANGED,
    ),
    filters=(
        Choice("scheme", lazily("Scheme"), distinct(Certificate, "scheme"), same("scheme")),
        Choice("status", lazily("Status"), fixed(CertificateStatus.choices), same("status")),
        Choice(
            "end",
            lazily("End"),
            fixed(
                [
                    ("none", lazily("No end date")),
                    ("run out", lazily("Has run out")),
                    ("soon", lazily("Soon, by its scheme")),
                    ("later", lazily("Later than that")),
                ]
            ),
            by_end,
        ),
        ARCHIVED,
        Days("issued", lazily("Issued"), "issued_on"),
        Days("valid_to", lazily("Valid to"), "valid_to"),
        Contains("holder", lazily("Holder"), "holder"),
        Contains("standards", lazily("Standards"), "standards"),
        Choice(
            "conditions",
            lazily("Conditions of use"),
            fixed([("yes", lazily("Has some")), ("no", lazily("Has none"))]),
            lambda value, user: ~Q(specific_conditions="") if value == "yes" else Q(specific_conditions=""),
            more=True,
        ),
        in_use(Certificate, "terminals"),
    ),
    counted={"equipment_count": Count("terminals__equipment", distinct=True)},
    counted_in={"equipment_count": "terminals"},
    fill=querysets.count_equipment,
    key_fields=("number",),
    empty_text=lazily("Add a certificate as it is printed; equipment then refers to it by number and issue."),
)


# ------------------------------------------------------------------------------------------------------------ schemes


def scheme_name(item: Scheme) -> dict[str, Any]:
    return titled(item, item.name, item.description)


SCHEME = KindPage(
    kind="scheme",
    note=lazily("Description"),
    path="schemes",
    title=lazily("Schemes"),
    noun=lazily("a scheme"),
    singular=lazily("scheme"),
    plural=lazily("schemes"),
    section="certificates",
    model=Scheme,
    edit_action="scheme.edit",
    add_action="scheme.edit",
    searched=("name", "description"),
    search_label=lazily("Name or where it holds"),
    columns=(
        Column(lazily("Scheme"), scheme_name, "name", ("name",)),
        Column(
            lazily("Form of its numbers"),
            lambda item: text(item.number_form or _("no common form"), soft=not item.number_form),
        ),
        Column(
            lazily("Told before an end"), lambda item: text(_("%(lead_days)s days") % {"lead_days": item.lead_days})
        ),
        Column(lazily("Control drawing"), lambda item: text("needed" if item.needs_control_drawing else "")),
        Column(
            lazily("Certificates"),
            lambda item: text(item.certificate_count),
            "used",
            ("certificate_count",),
            number=True,
        ),
    ),
    filters=(ARCHIVED,),
    counted={"certificate_count": querysets.certificates_of_scheme()},
    fill=querysets.count_certificates,
    key_fields=("name",),
    empty_text=lazily("Add the schemes whose certificates this installation holds."),
)


# -------------------------------------------------------------------------------------------------------- cable types


def cable_name(item: CableType) -> dict[str, Any]:
    return titled(item, item.name, item.description)


def cable_capacitance(item: CableType) -> dict[str, Any]:
    """Capacitance of the pair, or that it is given by core figures."""
    if not item.capacitance_f_per_m_text and item.core_core_f_per_m_text:
        return text(_("by core figures"))
    return measured("capacitance_f_per_m")(item)


CABLE_SHOWN = (
    "capacitance_f_per_m",
    "inductance_h_per_m",
    "inductance_per_resistance_h_per_ohm",
    "resistance_ohm_per_m",
)

CABLE_TYPE = KindPage(
    kind="cable_type",
    note=lazily("Description"),
    path="cable-types",
    title=lazily("Cable types"),
    noun=lazily("a cable type"),
    singular=lazily("cable type"),
    plural=lazily("cable types"),
    section="cable_types",
    model=CableType,
    edit_action="register.edit",
    add_action="register.edit",
    searched=("name", "maker", "description"),
    search_label=lazily("Name, maker or description"),
    columns=(
        Column(lazily("Name"), cable_name, "name", ("name",)),
        Column(lazily("Maker"), lambda item: text(item.maker), "maker", ("maker", "name")),
        Column("Cc", cable_capacitance, "c", ("capacitance_f_per_m", "name"), number=True),
        Column("Lc", measured("inductance_h_per_m"), "l", ("inductance_h_per_m", "name"), number=True),
        Column("Lc/Rc", measured("inductance_per_resistance_h_per_ohm"), number=True),
        Column("Rc", measured("resistance_ohm_per_m"), "r", ("resistance_ohm_per_m", "name"), number=True),
        Column(lazily("Loops"), lambda item: text(item.loop_count), "loops", ("loop_count", "name"), number=True),
        *(
            Column(parameter.short, measured(parameter.column), number=True, shown=False)
            for parameter in measures.parameters_of(CableType)
            if parameter.column not in CABLE_SHOWN
        ),
        Column(lazily("Conductor"), lambda item: text(item.conductor), shown=False),
        Column(lazily("Description"), lambda item: text(item.description), shown=False),
        CHANGED,
    ),
    filters=(
        Choice("maker", lazily("Maker"), distinct(CableType, "maker"), same("maker")),
        ARCHIVED,
        Ranges(measures.CABLE_TYPE),
        Choice("conductor", lazily("Conductor"), fixed(CableType.CONDUCTORS), same("conductor"), more=True),
        in_use(CableType, "runs"),
    ),
    counted={"loop_count": Count("runs__circuit__loop", distinct=True)},
    fill=partial(querysets.count_loops, "cable_type"),
    key_fields=("name",),
    empty_text=lazily("Add a type of cable with the values of its data sheet."),
)


# ----------------------------------------------------------------------------------------------------- sites and areas


def site_name(item: Site) -> dict[str, Any]:
    return titled(item, item.code, item.name)


SITE = KindPage(
    kind="site",
    note=lazily("Name"),
    path="sites",
    title=lazily("Sites"),
    noun=lazily("a site"),
    singular=lazily("site"),
    plural=lazily("sites"),
    section="sites",
    model=Site,
    view_action="site.view",
    edit_action="site.edit",
    add_action="site.add",
    searched=("code", "name"),
    search_label=lazily("Code or name"),
    columns=(
        Column(lazily("Site"), site_name, "code", ("code",)),
        Column(lazily("Basis"), lambda item: text(item.get_basis_display())),
        Column(lazily("Schemes accepted"), lambda item: text(item.schemes)),
        Column(lazily("Areas"), lambda item: text(item.area_count), "areas", ("area_count", "code"), number=True),
        Column(lazily("Loops"), lambda item: text(item.loop_count), "loops", ("loop_count", "code"), number=True),
        CHANGED,
    ),
    filters=(ARCHIVED, Choice("basis", lazily("Basis"), fixed(Basis.choices), same("basis")), Ranges(measures.SITE)),
    counted={"area_count": Count("areas", distinct=True), "loop_count": Count("loops", distinct=True)},
    fill=querysets.count_of_sites,
    key_fields=("code",),
    empty_text=lazily("The administrator of the installation adds sites and makes people members of them."),
)


def own_sites(user: User) -> Choices:
    return [(site.code, site.code) for site in access.own_sites(user)]


def area_name(item: HazardousArea) -> dict[str, Any]:
    return titled(item, item.name, item.drawing)


def area_class(item: HazardousArea) -> dict[str, Any]:
    return text(with_signs(item.classification), full=item.classification)


AREA = KindPage(
    kind="area",
    note=lazily("Drawing"),
    path="areas",
    title=lazily("Hazardous areas"),
    noun=lazily("an area"),
    singular=lazily("hazardous area"),
    plural=lazily("hazardous areas"),
    section="sites",
    model=HazardousArea,
    view_action="site.view",
    edit_action="area.edit",
    add_action="area.edit",
    searched=("name", "drawing", "site__code", "site__name"),
    search_label=lazily("Name, drawing or site"),
    columns=(
        Column(lazily("Area"), area_name, "name", ("name", "site__code")),
        Column(lazily("Site"), lambda item: text(item.site.code), "site", ("site__code", "name")),
        Column(lazily("Classification"), area_class, "zone", ("zone", "division", "name")),
        Column(lazily("Ambient"), ambient),
        Column(lazily("Loops"), lambda item: text(item.loop_count), "loops", ("loop_count", "name"), number=True),
        Column(lazily("Group"), lambda item: text(item.group), "group", ("group", "name"), shown=False),
        Column(lazily("Temperature class"), lambda item: text(item.temperature_class), shown=False),
        Column(lazily("Drawing"), lambda item: text(item.drawing), "drawing", ("drawing", "name"), shown=False),
        CHANGED,
    ),
    filters=(
        Choice("site", lazily("Site"), own_sites, same("site__code")),
        Choice(
            "zone",
            lazily("Zone"),
            fixed([(zone, f"Zone {zone}") for zone in ("0", "1", "2", "20", "21", "22")]),
            same("zone"),
        ),
        Choice("group", lazily("Group"), fixed([(name, name) for name in GROUPS]), same("group")),
        ARCHIVED,
        Ranges(measures.AREA),
        Choice(
            "division",
            lazily("Division"),
            fixed([("1", lazily("Division 1")), ("2", lazily("Division 2"))]),
            same("division"),
            more=True,
        ),
        Contains("class", lazily("Temperature class"), "temperature_class"),
        Contains("drawing", lazily("Drawing"), "drawing"),
        in_use(HazardousArea, "members"),
    ),
    counted={"loop_count": Count("members__circuit__loop", distinct=True)},
    fill=partial(querysets.count_loops, "area"),
    key_fields=("name",),
    empty_text=lazily("Add an area as the area classification drawing shows it."),
)

KINDS: dict[str, KindPage] = {page.kind: page for page in (EQUIPMENT, CERTIFICATE, SCHEME, CABLE_TYPE, SITE, AREA)}
LISTS.update(KINDS)
