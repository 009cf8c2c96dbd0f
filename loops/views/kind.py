"""How loops appear in lists: columns, filters, and what of them can be asked for by its size."""

from __future__ import annotations

from typing import Any

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When
from django.template.defaultfilters import truncatechars
from django.utils.translation import gettext as _

from loops import selectors
from loops.check_names import CHECK_NAMES
from loops.models import CableRun, Loop, LoopState, LoopVerdict
from loops.services.verification import CHECKS, PRECEDENCE
from registry import access
from registry.fields import QuantityField
from registry.filters import Choice, Choices, Contains, Days, Measure, Ranges, quantity_reader, share
from registry.lengths import lengths_in
from registry.models import HazardousArea, User
from registry.prepared import PreparedAmong
from registry.signs import with_signs
from registry.stored import said
from registry.views.pages import ARCHIVED, CHANGED, Column, KindPage, fixed, same, text, url_of
from registry.words import lazily

RANK = Case(
    *(When(verification__verdict=verdict, then=Value(index)) for index, verdict in enumerate(PRECEDENCE)),
    default=Value(len(PRECEDENCE)),
    output_field=IntegerField(),
)


# -------------------------------------------------------------------------------------------------------------- cells


def tag(loop: Loop) -> dict[str, Any]:
    return text(loop.tag, url=url_of("loop", loop.pk), note=loop.site.code)


def verdict(loop: Loop) -> dict[str, Any]:
    found = loop.verification
    fails = found is not None and found.function_verdict == "fail"
    return {"verdict": found.verdict if found else "none", "failing": _("Function fails") if fails else ""}


def function(loop: Loop) -> dict[str, Any]:
    found = loop.verification
    return {"verdict": found.function_verdict or "none" if found else "none"}


def decides(loop: Loop) -> dict[str, Any]:
    limiting = lengths_in(said(loop.verification.limiting), loop.site.length_unit) if loop.verification else ""
    return text(truncatechars(with_signs(limiting), 120), full=limiting, small=True)


def decides_check(loop: Loop) -> dict[str, Any]:
    return text(CHECK_NAMES.get(loop.verification.limiting_check, "") if loop.verification else "")


def margin(loop: Loop) -> dict[str, Any]:
    least = loop.verification.least_margin if loop.verification else None
    return text("" if least is None else f"{100 * least:.0f}\u00a0%")


def state(loop: Loop) -> dict[str, Any]:
    changed = getattr(loop, "basis_changed", False)
    return {"state": "archived" if loop.archived_at else loop.state, "open": _("Basis changed") if changed else ""}


def basis_reason(loop: Loop) -> dict[str, Any]:
    reasons = [said(reason) for reason in getattr(loop, "basis_reasons", ())]
    return text(with_signs("; ".join(reasons)), full="; ".join(reasons), small=True)


def areas(loop: Loop) -> dict[str, Any]:
    return text(", ".join(getattr(loop, "area_names", ())))


def rows(loops: QuerySet[Loop]) -> QuerySet[Loop]:
    """Loops with what every list of them shows."""
    return selectors.with_heads(loops).annotate(basis_changed=selectors.BASIS_CHANGED)


def fill_areas(loops: list[Loop]) -> None:
    """Write into loops the names of their areas."""
    names = selectors.areas_by_loop([loop.pk for loop in loops])
    for loop in loops:
        loop.area_names = names.get(loop.pk, [])  # type: ignore[attr-defined]


def fill_reasons(loops: list[Loop]) -> None:
    """Write into loops why the basis of their issue is no longer what it was."""
    reasons = selectors.basis_reasons([loop.pk for loop in loops])
    for loop in loops:
        loop.basis_reasons = reasons.get(loop.pk, [])  # type: ignore[attr-defined]


# ------------------------------------------------------------------------------------------------------------ filters


def own_sites(user: User) -> Choices:
    return [(site.code, str(site)) for site in access.own_sites(user)]


def own_areas(user: User) -> Choices:
    return [(str(pk), f"{code}: {name}") for pk, code, name in AREAS(access.sites_of(user))]


AREAS: PreparedAmong[tuple[int, str, str]] = PreparedAmong(
    lambda sites: (
        HazardousArea.objects.filter(site__pk__in=sites, archived_at=None)
        .order_by("site__code", "name")
        .values_list("pk", "site__code", "name")
    )
)


def owners(user: User) -> Choices:
    """The person who looks, then everybody else who owns a loop that they may see."""
    found = User.objects.filter(pk__in=selectors.visible_loops(user).order_by().values("owner")).exclude(pk=user.pk)
    return [("me", _("My loops")), *((person.username, person.printed_name) for person in found)]


def owned(value: str, user: User) -> Q:
    return Q(owner=user) if value == "me" else Q(owner__username=value)


def limited(value: str, user: User) -> Q:
    if value == "other":
        return ~Q(verification__limiting_check__in=["", *CHECKS])
    return Q(verification__limiting_check=value)


def function_is(value: str, user: User) -> Q:
    return Q(verification__function_verdict="" if value == "none" else value)


def cable_length(within: tuple[str, ...] = ("circuits", "cables")) -> Measure:
    field = CableRun._meta.get_field("length_m")
    assert isinstance(field, QuantityField)
    return Measure(
        "length_m",
        lazily("Length of a cable run"),
        lazily("Loop"),
        "length_m",
        quantity_reader(field.kind),
        "300 m",
        within,
        typed_column="length_m_text",
    )


def own_measure(column: str, label: str) -> Measure:
    field = Loop._meta.get_field(column)
    assert isinstance(field, QuantityField)
    reader = quantity_reader(field.kind)
    return Measure(column, label, lazily("Loop"), column, reader, field.kind.example, typed_column=field.text_name)


MEASURES = (
    Measure("margin", lazily("Least margin"), lazily("Verdict"), "verification__least_margin", share, "10 %"),
    cable_length(),
    own_measure("load_ohm", lazily("Load")),
    own_measure("safe_voltage_max_v", lazily("Highest voltage in the safe area")),
)
MEMBERS = ("circuits", "members")

LOOP = KindPage(
    kind="loop",
    note=lazily("Site"),
    path="loops",
    title=lazily("Loops"),
    noun=lazily("a loop"),
    singular=lazily("loop"),
    plural=lazily("loops"),
    section="loops",
    model=Loop,
    view_action="loop.view",
    edit_action="loop.edit",
    add_action="loop.edit",
    searched=("tag", "service"),
    search_label=lazily("Part of a tag or service"),
    seen=selectors.visible_loops,
    found=selectors.containing,
    rows=rows,
    counted={"verdict_rank": RANK},
    columns=(
        Column(lazily("Loop"), tag, "tag", ("tag", "site__code")),
        Column(lazily("Service"), lambda loop: text(loop.service), "service", ("service", "tag")),
        Column(lazily("Areas"), areas, fill=fill_areas),
        Column(lazily("Verdict"), verdict, "verdict", ("verdict_rank", "tag")),
        Column(lazily("What decides"), decides, wide=True),
        Column(lazily("Least margin"), margin, "margin", ("verification__least_margin", "tag"), number=True),
        Column(lazily("State"), state, "state", ("state", "tag")),
        Column(lazily("Revision"), lambda loop: text(loop.letter), "letter", ("letter", "tag")),
        Column(lazily("Owner"), lambda loop: text(str(loop.owner)), "owner", ("owner__username", "tag")),
        Column(CHANGED.label, CHANGED.cell, CHANGED.sort, CHANGED.order),
        Column(lazily("Deciding check"), decides_check, "check", ("verification__limiting_check", "tag"), shown=False),
        Column(lazily("Function"), function, shown=False),
        Column(lazily("What changed in its basis"), basis_reason, shown=False, fill=fill_reasons),
        Column(lazily("Site"), lambda loop: text(loop.site.code), "site", ("site__code", "tag"), shown=False),
        Column(lazily("Loop drawing"), lambda loop: text(loop.drawing), "drawing", ("drawing", "tag"), shown=False),
        Column(lazily("Load"), lambda loop: text(loop.load_ohm_text), number=True, shown=False),
        Column(lazily("Notes"), lambda loop: text(loop.notes), shown=False),
    ),
    filters=(
        Choice("site", lazily("Site"), own_sites, same("site__code")),
        Choice("verdict", lazily("Verdict"), fixed(LoopVerdict.choices), same("verification__verdict")),
        Choice("state", lazily("State"), fixed(LoopState.choices), same("state")),
        Choice("area", lazily("Area"), own_areas, same("area_id"), MEMBERS),
        Choice("owner", lazily("Owner"), owners, owned, nothing=lazily("Everybody")),
        ARCHIVED,
        Ranges(MEASURES),
        Choice(
            "check",
            lazily("Deciding check"),
            fixed([*CHECK_NAMES.items(), ("other", lazily("A value is missing"))]),
            limited,
            more=True,
        ),
        Choice(
            "failing",
            lazily("Failing"),
            fixed([("1", lazily("In safety or function"))]),
            lambda value, user: selectors.FAILING,
            more=True,
        ),
        Choice(
            "function",
            lazily("Function"),
            fixed(
                [
                    ("pass", lazily("Pass")),
                    ("fail", lazily("Fail")),
                    ("incomplete", lazily("Incomplete")),
                    ("none", lazily("Not judged")),
                ]
            ),
            function_is,
            more=True,
        ),
        Choice(
            "basis",
            lazily("Basis"),
            fixed([("changed", lazily("Changed since issue"))]),
            lambda value, user: Q(selectors.BASIS_CHANGED),
            more=True,
        ),
        Contains("service", lazily("Service"), "service"),
        Contains("uses", lazily("Type of an item"), "terminals__equipment__type_name", MEMBERS),
        Contains("cable", lazily("Cable type"), "cable_type__name", ("circuits", "cables")),
        Contains("certificate", lazily("Certificate number"), "terminals__certificate__number", MEMBERS),
        Days("changed", lazily("Changed"), "changed_at__date"),
    ),
    key_fields=("tag",),
    empty_text=lazily(
        "A loop joins a source, its field devices and the cables between them, and is judged at every save."
    ),
)
