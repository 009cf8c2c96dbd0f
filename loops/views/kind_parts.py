"""How parts of loops appear in lists of their own: runs of cable, and items where they are used."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from loops.models import CableRun, LoopState, LoopVerdict, Member
from loops.selectors import HEAVY
from loops.services.runs import RunShare, shares_by_loop
from loops.views.kind import cable_length, own_areas, own_sites
from registry import access
from registry.filters import Choice, Contains, Ranges
from registry.lengths import typed_length
from registry.models import EquipmentKind, User
from registry.parameters import shown
from registry.quantities import Kind
from registry.showing import day, status_state
from registry.views.pages import Column, KindPage, fixed, same, text, url_of
from registry.words import lazily

LOOP = "circuit__loop"


def parts_seen(model: type[CableRun] | type[Member]) -> Any:
    """The parts of the loops that a person may see; those of archived loops are not in the plant any more."""

    def seen(user: User) -> QuerySet[Any]:
        if not access.may(user, "loop.view"):
            return model._default_manager.none()
        sites = access.sites_of(user)
        return model._default_manager.filter(circuit__loop__site_id__in=sites, circuit__loop__archived_at=None)

    return seen


def part_tag(part: CableRun | Member) -> dict[str, Any]:
    loop = part.circuit.loop
    return text(part.tag, url=url_of("loop", loop.pk), note=loop.tag)


def loop_state(part: CableRun | Member) -> dict[str, Any]:
    return {"state": part.circuit.loop.state}


def loop_verdict(part: CableRun | Member) -> dict[str, Any]:
    found = part.circuit.loop.verification
    return {"verdict": found.verdict if found else "none"}


def with_loops(parts: QuerySet[Any]) -> QuerySet[Any]:
    heavy = (f"{LOOP}__{name}" for name in HEAVY)
    return parts.select_related(f"{LOOP}__site", f"{LOOP}__verification").defer(*heavy)


OF_LOOP = (
    Column(lazily("Verdict"), loop_verdict, "verdict", (f"{LOOP}__verification__verdict", "tag")),
    Column(lazily("State"), loop_state, "state", (f"{LOOP}__state", "tag")),
)
CIRCUIT = Column(lazily("Circuit"), lambda part: text(part.circuit.name), shown=False)
FURTHER_OF_LOOP = (
    Column(lazily("Service"), lambda part: text(part.circuit.loop.service), shown=False),
    Column(
        lazily("Site"),
        lambda part: text(part.circuit.loop.site.code),
        "site",
        (f"{LOOP}__site__code", "tag"),
        shown=False,
    ),
)
SITE = Choice("site", lazily("Site"), own_sites, same(f"{LOOP}__site__code"))
VERDICT = Choice("verdict", lazily("Verdict"), fixed(LoopVerdict.choices), same(f"{LOOP}__verification__verdict"))
STATE = Choice("state", lazily("State"), fixed(LoopState.choices), same(f"{LOOP}__state"))
"""Columns and filters that say what the loop of a part says."""


# ------------------------------------------------------------------------------------------------------ runs of cable


def run_rows(runs: QuerySet[Any]) -> QuerySet[Any]:
    return with_loops(runs).select_related("cable_type")


def fill_runs(runs: Iterable[CableRun]) -> None:
    """Write into runs what they count with in the verdict of their loop."""
    found = shares_by_loop({run.circuit.loop_id for run in runs})
    for run in runs:
        circuits = found.get(run.circuit.loop_id, [])
        place = run.circuit.position
        run.share = circuits[place].get(run.tag) if place < len(circuits) else None  # type: ignore[attr-defined]


def share_of(run: CableRun) -> RunShare | None:
    return getattr(run, "share", None)


def run_type(run: CableRun) -> dict[str, Any]:
    if run.cable_type is None:
        return text(_("unknown cable"), soft=True)
    return text(run.cable_type.name)


def run_length(run: CableRun) -> dict[str, Any]:
    """The length as it was typed, with the site's unit beside it where that is another."""
    typed = typed_length(run.length_m_text, run.circuit.loop.site.length_unit)
    return text(typed or _("unknown"), soft=not typed)


def used(column: str, kind: Kind) -> Callable[[CableRun], dict[str, Any]]:
    """A quantity that the verdict counts with; where it is the default of the basis, it says so."""

    def cell(run: CableRun) -> dict[str, Any]:
        share = share_of(run)
        value: Decimal | None = getattr(share, column, None)
        if share is None or value is None:
            return text(_("unknown"), soft=True)
        default = share.default_capacitance if column.startswith("capacitance") else share.default_inductance
        return text(f"{shown(value, kind)} {_('default')}" if default else shown(value, kind))

    return cell


CABLE_RUN = KindPage(
    kind="cable_run",
    note=lazily("Loop"),
    path="schedules/cables",
    title=lazily("Cable schedule"),
    noun=lazily("a run of cable"),
    singular=lazily("run of cable"),
    plural=lazily("runs of cable"),
    section="schedules",
    model=CableRun,
    view_action="loop.view",
    edit_action="",
    add_action="",
    searched=("tag", "circuit__loop__tag", "from_point", "to_point", "cable_type__name"),
    search_label=lazily("Tag, end or type"),
    seen=parts_seen(CableRun),
    rows=run_rows,
    fill=fill_runs,
    ordering=("tag", "circuit__loop__tag"),
    columns=(
        Column(lazily("Cable"), part_tag, "tag", ("tag", "circuit__loop__tag")),
        Column(lazily("From"), lambda run: text(run.from_point), "from", ("from_point", "tag")),
        Column(lazily("To"), lambda run: text(run.to_point), "to", ("to_point", "tag")),
        Column(lazily("Type"), run_type, "type", ("cable_type__name", "tag")),
        Column(
            lazily("Length"),
            run_length,
            "length",
            ("length_m", "tag"),
            number=True,
        ),
        Column("C used", used("capacitance_f", Kind.CAPACITANCE), number=True),
        Column("L used", used("inductance_h", Kind.INDUCTANCE), number=True),
        Column(lazily("Circuits in the cable"), lambda run: text(run.get_separation_display())),
        *OF_LOOP,
        CIRCUIT,
        Column(lazily("Part of a segment"), lambda run: text(run.get_role_display()), shown=False),
        Column(
            lazily("C per length"), used("capacitance_f_per_m", Kind.CAPACITANCE_PER_LENGTH), number=True, shown=False
        ),
        Column(
            lazily("L per length"), used("inductance_h_per_m", Kind.INDUCTANCE_PER_LENGTH), number=True, shown=False
        ),
        Column(lazily("Conductor"), lambda run: text(run.cable_type.conductor if run.cable_type else ""), shown=False),
        *FURTHER_OF_LOOP,
    ),
    filters=(
        SITE,
        VERDICT,
        STATE,
        Contains("type", lazily("Cable type"), "cable_type__name"),
        Choice(
            "separation",
            lazily("Circuits in the cable"),
            fixed(CableRun.Separation.choices),
            same("separation"),
            more=True,
        ),
        Ranges((cable_length(()),)),
    ),
    key_fields=("tag",),
    empty_text=lazily("Runs of cable come here from the loops that they belong to."),
)


# ------------------------------------------------------------------------------------------------ items, where they are


def item_rows(members: QuerySet[Any]) -> QuerySet[Any]:
    return with_loops(members).select_related("terminals__equipment", "terminals__certificate", "area")


def item_certificate(member: Member) -> dict[str, Any]:
    found = member.terminals.certificate
    if found is None:
        return text(_("none"), soft=True)
    state = status_state(found)
    return {"lines": [{"label": "", "text": f"{found.number} {_('issue')} {found.issue}", "state": state}]}


MEMBER = KindPage(
    kind="member",
    note=lazily("Loop"),
    path="schedules/items",
    title=lazily("Equipment by where it is used"),
    noun=lazily("an item"),
    singular=lazily("item"),
    plural=lazily("items"),
    section="schedules",
    model=Member,
    view_action="loop.view",
    edit_action="",
    add_action="",
    searched=("tag", "circuit__loop__tag", "terminals__equipment__type_name", "terminals__equipment__maker"),
    search_label=lazily("Tag, maker or type"),
    seen=parts_seen(Member),
    rows=item_rows,
    ordering=("terminals__equipment__maker", "terminals__equipment__type_name", "tag", "circuit__loop__tag"),
    columns=(
        Column(lazily("Item"), part_tag, "tag", ("tag", "circuit__loop__tag")),
        Column(
            lazily("Maker"),
            lambda row: text(row.terminals.equipment.maker),
            "maker",
            ("terminals__equipment__maker", "tag"),
        ),
        Column(
            lazily("Type"),
            lambda row: text(row.terminals.equipment.type_name),
            "type",
            ("terminals__equipment__type_name", "tag"),
        ),
        Column(lazily("Terminals"), lambda row: text(row.terminals.name)),
        Column(lazily("Role"), lambda row: text(row.get_role_display()), "role", ("role", "tag")),
        Column(
            lazily("Area"),
            lambda row: text(row.area.name if row.area else _("safe area")),
            "area",
            ("area__name", "tag"),
        ),
        Column(lazily("Certificate"), item_certificate, "certificate", ("terminals__certificate__number", "tag")),
        *OF_LOOP,
        Column(
            lazily("Made on"),
            lambda row: text(day(row.made_on) if row.made_on else ""),
            "made",
            ("made_on", "tag"),
            shown=False,
        ),
        CIRCUIT,
        *FURTHER_OF_LOOP,
    ),
    filters=(
        SITE,
        Choice("area", lazily("Area"), own_areas, same("area_id")),
        Choice("role", lazily("Role"), fixed(Member.Role.choices), same("role")),
        VERDICT,
        Choice("kind", lazily("Kind"), fixed(EquipmentKind.choices), same("terminals__equipment__kind"), more=True),
        replace(STATE, more=True),
        Contains("maker", lazily("Maker"), "terminals__equipment__maker"),
        Contains("type", lazily("Type"), "terminals__equipment__type_name"),
        Contains("certificate", lazily("Certificate number"), "terminals__certificate__number"),
    ),
    key_fields=("tag",),
    empty_text=lazily("Items come here from the loops that they are connected in."),
)
