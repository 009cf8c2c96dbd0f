"""What differs between the kinds of record: one table from which lists, pages, forms and addresses are made."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from registry import querysets
from registry.models import (
    CableType,
    Certificate,
    CertificateStatus,
    Equipment,
    EquipmentKind,
    HazardousArea,
    Level,
    Scheme,
    Site,
    User,
)
from registry.models.equipment import DUST_GROUPS, GAS_GROUPS, GROUPS
from registry.models.schemes import LEAD_DAYS, read_lead_days
from registry.services.expiry import leads_by_scheme
from registry.showing import end_state, end_words, short_parameters, status_state
from registry.views.pages import (
    Choices,
    Column,
    Filter,
    KindPage,
    archived,
    distinct,
    fixed,
    measured,
    same,
    text,
    within,
)

ARCHIVED = Filter("archived", "Archived", fixed([("only", "Only archived"), ("all", "Archived too")]), archived)
MAKER = Filter("maker", "Maker", distinct(Equipment, "maker"), same("maker"))
CABLE_MAKER = Filter("maker", "Maker", distinct(CableType, "maker"), same("maker"))


# ---------------------------------------------------------------------------------------------------------- equipment


SHORT_KINDS: dict[str, str] = {
    EquipmentKind.SOURCE.value: "Source",
    EquipmentKind.FIELD_DEVICE.value: "Field device",
    EquipmentKind.SIMPLE_APPARATUS.value: "Simple apparatus",
    EquipmentKind.INLINE.value: "Inline item",
}


def by_group(queryset: QuerySet[Equipment], value: str) -> QuerySet[Equipment]:
    column = "gas_group" if value in GAS_GROUPS else "dust_group"
    return within(Equipment, f"terminals__{column}")(queryset, value)


def equipment_name(item: Equipment) -> dict[str, Any]:
    return text(
        item.type_name,
        url=reverse("equipment", args=[item.pk]),
        note=item.function or item.description,
        state="archived" if item.is_archived else "",
    )


def equipment_terminals(item: Equipment) -> dict[str, Any]:
    return {
        "lines": [{"text": short_parameters(terminals), "label": terminals.name} for terminals in item.terminals.all()]
    }


def equipment_marking(item: Equipment) -> dict[str, Any]:
    found = [
        " ".join(part for part in (terminals.level, terminals.gas_group, terminals.dust_group) if part)
        for terminals in item.terminals.all()
    ]
    return text(", ".join(dict.fromkeys(part for part in found if part)) or "unknown", soft=not any(found))


def equipment_certificate(item: Equipment) -> dict[str, Any]:
    certificates = {row.certificate for row in item.terminals.all() if row.certificate}
    if not certificates:
        simple = item.kind == EquipmentKind.SIMPLE_APPARATUS
        return text("simple apparatus" if simple else "none", soft=True)
    lines = []
    for certificate in sorted(certificates, key=str):
        state = status_state(certificate)
        if not state and certificate.has_run_out(timezone.localdate()):
            state = "run out"
        lines.append({"text": certificate.number, "state": state})
    return {"lines": lines}


EQUIPMENT = KindPage(
    kind="equipment",
    path="equipment",
    title="Equipment",
    noun="equipment",
    singular="item of equipment",
    plural="items of equipment",
    section="equipment",
    model=Equipment,
    edit_action="register.edit",
    add_action="register.edit",
    searched=("maker", "type_name", "description", "function", "marking"),
    search_label="Maker, type or function",
    rows=querysets.equipment_rows,
    loaded=querysets.with_terminals,
    columns=(
        Column("Type", equipment_name, "type", ("type_name", "maker")),
        Column("Maker", lambda item: text(item.maker), "maker", ("maker", "type_name")),
        Column("Kind", lambda item: text(SHORT_KINDS[item.kind]), "kind", ("kind", "maker", "type_name")),
        Column("Terminals", equipment_terminals),
        Column("Level and group", equipment_marking),
        Column("Certificate", equipment_certificate),
        Column("Loops", lambda item: text(item.loop_count), "loops", ("loop_count", "maker"), number=True),
    ),
    filters=(
        MAKER,
        Filter("level", "Level", fixed(Level.choices), within(Equipment, "terminals__level")),
        Filter("group", "Group", fixed([(name, name) for name in (*GAS_GROUPS, *DUST_GROUPS)]), by_group),
        Filter(
            "scheme",
            "Scheme",
            distinct(Certificate, "scheme"),
            within(Equipment, "terminals__certificate__scheme"),
        ),
        Filter(
            "status",
            "Certificate is",
            fixed(CertificateStatus.choices),
            within(Equipment, "terminals__certificate__status"),
        ),
        ARCHIVED,
    ),
    tabs=Filter("kind", "Kind", fixed(list(SHORT_KINDS.items())), same("kind")),
    key_fields=("type_name",),
    empty_text="Add the first source or field device with the values of its certificate.",
)


# ------------------------------------------------------------------------------------------------------- certificates


def by_end(queryset: QuerySet[Certificate], value: str) -> QuerySet[Certificate]:
    today: dt.date = timezone.localdate()
    if value == "none":
        return queryset.filter(valid_to=None)
    if value == "run out":
        return queryset.filter(valid_to__lt=today)
    leads = {name: max(days) for name, days in leads_by_scheme().items()}
    soon = ~Q(scheme__in=leads) & Q(valid_to__lte=today + dt.timedelta(days=max(LEAD_DAYS)))
    for days in set(leads.values()):
        names = [name for name, lead in leads.items() if lead == days]
        soon |= Q(scheme__in=names, valid_to__lte=today + dt.timedelta(days=days))
    ahead = queryset.filter(valid_to__gte=today)
    return ahead.filter(soon) if value == "soon" else ahead.exclude(soon)


def certificate_name(item: Certificate) -> dict[str, Any]:
    return text(
        item.number,
        url=reverse("certificate", args=[item.pk]),
        note=f"Issue {item.issue}",
        state="archived" if item.is_archived else "",
    )


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
    path="certificates",
    title="Certificates",
    noun="a certificate",
    singular="certificate",
    plural="certificates",
    section="certificates",
    model=Certificate,
    edit_action="register.edit",
    add_action="register.edit",
    searched=("number", "holder", "scheme", "standards"),
    search_label="Number, holder or standard",
    rows=querysets.certificate_rows,
    columns=(
        Column("Number", certificate_name, "number", ("number", "issue")),
        Column("Scheme", lambda item: text(item.scheme), "scheme", ("scheme", "number")),
        Column("Holder", lambda item: text(item.holder), "holder", ("holder", "number")),
        Column("Status", certificate_status, "status", ("status", "number")),
        Column("End", certificate_end, "end", ("valid_to", "number")),
        Column("Equipment", lambda item: text(item.equipment_count), "equipment", ("equipment_count",), number=True),
    ),
    filters=(
        Filter("scheme", "Scheme", distinct(Certificate, "scheme"), same("scheme")),
        Filter("status", "Status", fixed(CertificateStatus.choices), same("status")),
        Filter(
            "end",
            "End",
            fixed(
                [
                    ("none", "No end date"),
                    ("run out", "Has run out"),
                    ("soon", "Soon, by its scheme"),
                    ("later", "Later than that"),
                ]
            ),
            by_end,
        ),
        ARCHIVED,
    ),
    key_fields=("number",),
    empty_text="Add a certificate as it is printed; equipment then refers to it by number and issue.",
)


# ------------------------------------------------------------------------------------------------------------ schemes


def scheme_name(item: Scheme) -> dict[str, Any]:
    return text(
        item.name,
        url=reverse("scheme", args=[item.pk]),
        note=item.description,
        state="archived" if item.is_archived else "",
    )


SCHEME = KindPage(
    kind="scheme",
    path="schemes",
    title="Schemes",
    noun="a scheme",
    singular="scheme",
    plural="schemes",
    section="certificates",
    model=Scheme,
    edit_action="scheme.edit",
    add_action="scheme.edit",
    searched=("name", "description"),
    search_label="Name or where it holds",
    rows=querysets.scheme_rows,
    columns=(
        Column("Scheme", scheme_name, "name", ("name",)),
        Column(
            "Form of its numbers", lambda item: text(item.number_form or "no common form", soft=not item.number_form)
        ),
        Column("Told before an end", lambda item: text(f"{item.lead_days} days")),
        Column("Control drawing", lambda item: text("needed" if item.needs_control_drawing else "")),
        Column("Certificates", lambda item: text(item.certificate_count), "used", ("certificate_count",), number=True),
    ),
    filters=(ARCHIVED,),
    key_fields=("name",),
    empty_text="Add the schemes whose certificates this installation holds.",
)


# -------------------------------------------------------------------------------------------------------- cable types


def cable_name(item: CableType) -> dict[str, Any]:
    return text(
        item.name,
        url=reverse("cable_type", args=[item.pk]),
        note=item.description,
        state="archived" if item.is_archived else "",
    )


def cable_capacitance(item: CableType) -> dict[str, Any]:
    """Capacitance of the pair, or that it is given by core figures."""
    if not item.capacitance_f_per_m_text and item.core_core_f_per_m_text:
        return text("by core figures")
    return measured("capacitance_f_per_m")(item)


CABLE_TYPE = KindPage(
    kind="cable_type",
    path="cable-types",
    title="Cable types",
    noun="a cable type",
    singular="cable type",
    plural="cable types",
    section="cable_types",
    model=CableType,
    edit_action="register.edit",
    add_action="register.edit",
    searched=("name", "maker", "description"),
    search_label="Name, maker or description",
    rows=querysets.cable_type_rows,
    columns=(
        Column("Name", cable_name, "name", ("name",)),
        Column("Maker", lambda item: text(item.maker), "maker", ("maker", "name")),
        Column("Cc", cable_capacitance, "c", ("capacitance_f_per_m", "name"), number=True),
        Column("Lc", measured("inductance_h_per_m"), "l", ("inductance_h_per_m", "name"), number=True),
        Column("Lc/Rc", measured("inductance_per_resistance_h_per_ohm"), number=True),
        Column("Rc", measured("resistance_ohm_per_m"), "r", ("resistance_ohm_per_m", "name"), number=True),
        Column("Loops", lambda item: text(item.loop_count), "loops", ("loop_count", "name"), number=True),
    ),
    filters=(CABLE_MAKER, ARCHIVED),
    key_fields=("name",),
    empty_text="Add a type of cable with the values of its data sheet.",
)


# ----------------------------------------------------------------------------------------------------- sites and areas


def site_name(item: Site) -> dict[str, Any]:
    return text(
        item.code,
        url=reverse("site", args=[item.pk]),
        note=item.name,
        state="archived" if item.is_archived else "",
    )


SITE = KindPage(
    kind="site",
    path="sites",
    title="Sites",
    noun="a site",
    singular="site",
    plural="sites",
    section="sites",
    model=Site,
    view_action="site.view",
    edit_action="site.edit",
    add_action="site.add",
    searched=("code", "name"),
    search_label="Code or name",
    rows=querysets.site_rows,
    columns=(
        Column("Site", site_name, "code", ("code",)),
        Column("Basis", lambda item: text(item.get_basis_display())),
        Column("Schemes accepted", lambda item: text(item.schemes)),
        Column("Areas", lambda item: text(item.area_count), "areas", ("area_count", "code"), number=True),
        Column("Loops", lambda item: text(item.loop_count), "loops", ("loop_count", "code"), number=True),
    ),
    filters=(ARCHIVED,),
    key_fields=("code",),
    empty_text="The administrator of the installation adds sites and makes people members of them.",
)


def own_sites(user: User) -> Choices:
    return [(code, code) for code in querysets.visible(Site, user).values_list("code", flat=True)]


def area_name(item: HazardousArea) -> dict[str, Any]:
    return text(
        item.name,
        url=reverse("area", args=[item.pk]),
        note=item.drawing,
        state="archived" if item.is_archived else "",
    )


def area_ambient(item: HazardousArea) -> dict[str, Any]:
    low, high = (measured(name)(item) for name in ("ambient_min_degc", "ambient_max_degc"))
    return text(f"{low['text']} to {high['text']}")


AREA = KindPage(
    kind="area",
    path="areas",
    title="Hazardous areas",
    noun="an area",
    singular="hazardous area",
    plural="hazardous areas",
    section="sites",
    model=HazardousArea,
    view_action="site.view",
    edit_action="area.edit",
    add_action="area.edit",
    searched=("name", "drawing", "site__code", "site__name"),
    search_label="Name, drawing or site",
    rows=querysets.area_rows,
    columns=(
        Column("Area", area_name, "name", ("name", "site__code")),
        Column("Site", lambda item: text(item.site.code), "site", ("site__code", "name")),
        Column("Classification", lambda item: text(item.classification), "zone", ("zone", "division", "name")),
        Column("Ambient", area_ambient),
        Column("Loops", lambda item: text(item.loop_count), "loops", ("loop_count", "name"), number=True),
    ),
    filters=(
        Filter("site", "Site", own_sites, same("site__code")),
        Filter(
            "zone", "Zone", fixed([(zone, f"Zone {zone}") for zone in ("0", "1", "2", "20", "21", "22")]), same("zone")
        ),
        Filter("group", "Group", fixed([(name, name) for name in GROUPS]), same("group")),
        ARCHIVED,
    ),
    key_fields=("name",),
    empty_text="Add an area as the area classification drawing shows it.",
)

KINDS: dict[str, KindPage] = {page.kind: page for page in (EQUIPMENT, CERTIFICATE, SCHEME, CABLE_TYPE, SITE, AREA)}
