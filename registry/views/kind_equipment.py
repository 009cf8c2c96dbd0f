"""How equipment appears in the browser: the cells and filters of its list."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from registry import measures, querysets
from registry.filters import Choice, Contains, Ranges
from registry.models import (
    Certificate,
    CertificateStatus,
    Equipment,
    EquipmentKind,
    Level,
    PermittedRow,
    Terminals,
    User,
)
from registry.models.equipment import DUST_GROUPS, EPLS, GAS_GROUPS
from registry.parameters import parameter_of
from registry.showing import quantity, short_parameters, status_state
from registry.text_search import SEARCHED
from registry.views.pages import (
    ARCHIVED,
    CHANGED,
    Column,
    KindPage,
    ambient,
    distinct,
    fixed,
    in_use,
    same,
    text,
    titled,
)
from registry.words import lazily

TERMINALS = ("terminals",)


SHORT_KINDS: dict[str, str] = {
    EquipmentKind.SOURCE.value: lazily("Source"),
    EquipmentKind.FIELD_DEVICE.value: lazily("Field device"),
    EquipmentKind.SIMPLE_APPARATUS.value: lazily("Simple apparatus"),
    EquipmentKind.INLINE.value: lazily("Inline item"),
}


def by_group(value: str, user: User) -> Q:
    return Q(**{"gas_group" if value in GAS_GROUPS else "dust_group": value})


def stated_epl(value: str, user: User) -> Q:
    return Q(**{"dust_epl" if value in EPLS["dust_epl"] else "gas_epl": value})


def equipment_name(item: Equipment) -> dict[str, Any]:
    return titled(item, item.type_name, item.function or item.description)


def equipment_terminals(item: Equipment) -> dict[str, Any]:
    return {
        "lines": [{"text": short_parameters(terminals), "label": terminals.name} for terminals in item.terminals.all()]
    }


def terminals_column(name: str) -> Column:
    """A value of each set of terminals on its side of the circuit."""
    parameter = parameter_of(Terminals, name)
    assert parameter is not None
    side = measures.SIDES[parameter.section]

    def cell(item: Equipment) -> dict[str, Any]:
        sets = [terminals for terminals in item.terminals.all() if terminals.side == side]
        return {"lines": [{"text": quantity(row, parameter)["value"], "label": row.name} for row in sets]}

    return Column(parameter.short, cell, shown=False)


def permitted_column(name: str) -> Column:
    """What each set of terminals permits for each group."""
    parameter = parameter_of(PermittedRow, name)
    assert parameter is not None

    def cell(item: Equipment) -> dict[str, Any]:
        rows = [row for terminals in item.terminals.all() for row in terminals.permitted.all()]
        return {"lines": [{"text": quantity(row, parameter)["value"], "label": row.group} for row in rows]}

    return Column(parameter.short, cell, shown=False, needs=("terminals__permitted",))


def equipment_ambient(item: Equipment) -> dict[str, Any]:
    return {"lines": [ambient(terminals) | {"label": terminals.name} for terminals in item.terminals.all()]}


def equipment_marking(item: Equipment) -> dict[str, Any]:
    found = [
        " ".join(part for part in (terminals.level, terminals.gas_group, terminals.dust_group) if part)
        for terminals in item.terminals.all()
    ]
    return text(", ".join(dict.fromkeys(part for part in found if part)) or _("unknown"), soft=not any(found))


def equipment_certificate(item: Equipment) -> dict[str, Any]:
    certificates = {row.certificate for row in item.terminals.all() if row.certificate}
    if not certificates:
        simple = item.kind == EquipmentKind.SIMPLE_APPARATUS
        return text(_("simple apparatus") if simple else _("none"), soft=True)
    lines = []
    for certificate in sorted(certificates, key=str):
        state = status_state(certificate)
        if not state and certificate.has_run_out(timezone.localdate()):
            state = "run out"
        lines.append({"text": certificate.number, "state": state})
    return {"lines": lines}


EQUIPMENT = KindPage(
    kind="equipment",
    note=lazily("Function"),
    path="equipment",
    title=lazily("Equipment"),
    noun=lazily("equipment"),
    singular=lazily("item of equipment"),
    plural=lazily("items of equipment"),
    section="equipment",
    model=Equipment,
    edit_action="register.edit",
    add_action="register.edit",
    searched=SEARCHED["equipment"],
    search_label=lazily("Maker, type or function"),
    rows=querysets.equipment_rows,
    loaded=querysets.with_terminals,
    columns=(
        Column(lazily("Type"), equipment_name, "type", ("type_name", "maker")),
        Column(lazily("Maker"), lambda item: text(item.maker), "maker", ("maker", "type_name")),
        Column("Kind", lambda item: text(SHORT_KINDS[item.kind]), "kind", ("kind", "maker", "type_name")),
        Column(lazily("Terminals"), equipment_terminals),
        Column(lazily("Level and group"), equipment_marking),
        Column(lazily("Certificate"), equipment_certificate),
        Column(
            lazily("Loops"),
            lambda item: text(item.loop_count),
            "loops",
            ("loop_count", "maker", "type_name"),
            number=True,
        ),
        Column(lazily("Function"), lambda item: text(item.function), "function", ("function", "maker"), shown=False),
        Column(lazily("Description"), lambda item: text(item.description), shown=False),
        Column(lazily("Ex marking"), lambda item: text(item.marking), shown=False),
        *(terminals_column(name) for name in ("uo_v", "io_a", "po_w", "um_v", "ui_v", "ii_a", "pi_w", "ci_f", "li_h")),
        *(permitted_column(name) for name in ("co_f", "lo_h", "lo_ro_h_per_ohm")),
        Column(lazily("Ambient"), equipment_ambient, shown=False),
        Column(lazily("Notes"), lambda item: text(item.notes), shown=False),
        CHANGED,
    ),
    counted={"loop_count": Count("terminals__members__circuit__loop", distinct=True)},
    counted_in={"loop_count": "terminals__members"},
    fill=partial(querysets.count_loops, "equipment"),
    filters=(
        Choice("maker", lazily("Maker"), distinct(Equipment, "maker"), same("maker")),
        Choice("level", lazily("Level"), fixed(Level.choices), same("level"), TERMINALS),
        Choice(
            "epl",
            "EPL",
            fixed([(name, name) for names in EPLS.values() for name in names]),
            stated_epl,
            TERMINALS,
            more=True,
        ),
        Choice(
            "group", lazily("Group"), fixed([(name, name) for name in (*GAS_GROUPS, *DUST_GROUPS)]), by_group, TERMINALS
        ),
        ARCHIVED,
        Ranges(measures.EQUIPMENT),
        Choice(
            "scheme", lazily("Scheme"), distinct(Certificate, "scheme"), same("certificate__scheme"), TERMINALS, True
        ),
        Choice(
            "status",
            lazily("Certificate is"),
            fixed(CertificateStatus.choices),
            same("certificate__status"),
            TERMINALS,
            more=True,
        ),
        Contains("certificate", lazily("Certificate number"), "certificate__number", TERMINALS),
        Choice(
            "compared",
            lazily("Compared"),
            fixed([("no", lazily("Not yet with its certificate")), ("yes", lazily("With its certificate"))]),
            lambda value, user: Q(unconfirmed=value == "no"),
            TERMINALS,
            more=True,
        ),
        Contains("function", lazily("Function"), "function"),
        Contains("marking", lazily("Ex marking"), "marking"),
        in_use(Equipment, "terminals__members"),
    ),
    tabs=Choice("kind", "Kind", fixed(list(SHORT_KINDS.items())), same("kind")),
    key_fields=("type_name",),
    empty_text=lazily("Add the first source or field device with the values of its certificate."),
)
