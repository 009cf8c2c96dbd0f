"""Reading loops: what the pages and the API show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Count, Exists, Model, OuterRef, Prefetch, Q, QuerySet

from loops.models import Approval, BasisChange, CableRun, Circuit, Loop, LoopState, LoopVerdict, Member, Terminator
from registry import access
from registry.lengths import LengthUnit
from registry.models import HazardousArea, Revision, Site, User
from registry.prepared import PreparedRead, attach, grouped
from registry.selectors import record_text
from registry.text_search import SEARCHED, holding

HEAVY = ("verification__inputs", "verification__results")
"""Columns that no list needs: the whole case documents and results."""

FAILING = Q(verification__verdict=LoopVerdict.FAILS) | Q(verification__function_verdict="fail")
"""Loops that fail in safety or in function."""

BASIS_CHANGED = Exists(
    BasisChange.objects.filter(approval__loop=OuterRef("pk"), approval__withdrawal=None).exclude(
        Exists(Approval.objects.filter(loop=OuterRef("approval__loop"), pk__gt=OuterRef("approval")))
    )
)
"""Whether the issue in force of a loop rests on what was changed since, as a condition on loops."""


def visible_loops(user: User) -> QuerySet[Loop]:
    """The loops of all sites that a person is a member of, archived ones included."""
    if not access.may(user, "loop.view"):
        return Loop.objects.none()
    return Loop.objects.filter(site_id__in=access.sites_of(user))


def with_heads(loops: QuerySet[Loop]) -> QuerySet[Loop]:
    """Loops with site, owner and the head of their verdict, without its documents."""
    return loops.select_related("site", "owner", "verification", "submitted_by").defer(*HEAVY)


def listed_loops(user: User) -> QuerySet[Loop]:
    """Visible loops with their heads."""
    return with_heads(visible_loops(user))


def with_units(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Rows that name their site by its code as "site", each with what that site reads lengths in as "unit"."""
    units = dict(Site.objects.values_list("code", "length_unit"))
    return [dict(row) | {"unit": units.get(row["site"], LengthUnit.METRE)} for row in rows]


def containing(loops: QuerySet[Loop], text: str) -> QuerySet[Loop]:
    """Loops with a text in their tag, their service or the tag of a source or device; all of them without a text."""
    text = " ".join(text.split())
    if not text:
        return loops
    named = worded(Loop.objects.all(), "loop", text).values("pk")
    tagged = worded(Member.objects.all(), "member", text).values("circuit__loop")
    return loops.filter(pk__in=named.union(tagged))


def worded(rows: QuerySet[Any], kind: str, text: str) -> QuerySet[Any]:
    """Rows that hold a text in the columns of registry.text_search: each kind has an index of its own."""
    return holding(rows.order_by(), SEARCHED[kind], [text])


def areas_by_loop(loop_ids: Iterable[int]) -> dict[int, list[str]]:
    """Names of the hazardous areas that each loop reaches into, in one query."""
    rows = (
        Member.objects.filter(circuit__loop__in=list(loop_ids), area__isnull=False)
        .order_by("area__name")
        .values_list("circuit__loop_id", "area__name")
        .distinct()
    )
    found: dict[int, list[str]] = {}
    for loop_id, name in rows:
        found.setdefault(loop_id, []).append(name)
    return found


def basis_reasons(loop_ids: Iterable[int]) -> dict[int, list[str]]:
    """What the issue in force of each loop rests on and was changed since, in words; in one query."""
    later = Approval.objects.filter(loop=OuterRef("approval__loop"), pk__gt=OuterRef("approval"))
    rows = (
        BasisChange.objects.filter(approval__loop__in=list(loop_ids), approval__withdrawal=None)
        .exclude(Exists(later))
        .order_by("pk")
        .values_list("approval__loop_id", "reason")
    )
    found: dict[int, list[str]] = {}
    for loop_id, reason in rows:
        found.setdefault(loop_id, []).append(reason)
    return found


def whole_loops(user: User) -> QuerySet[Loop]:
    """Visible loops with everything that the editor shows, in a constant number of queries."""
    members = Member.objects.select_related(*MEMBER_USES)
    members = members.defer("equipment_revision__snapshot", "certificate_revision__snapshot")
    cables = CableRun.objects.select_related("cable_type", "cable_type_revision").defer("cable_type_revision__snapshot")
    circuits = Circuit.objects.prefetch_related(Prefetch("members", members), Prefetch("cables", cables), "terminators")
    loops = visible_loops(user).select_related("site", "owner", "submitted_by", "verification__revision")
    return loops.defer("verification__revision__snapshot").prefetch_related(Prefetch("circuits", circuits))


def whole_loop(user: User, pk: int) -> Loop | None:
    """A loop with everything that its page shows, if there is one that the person may see.

    Of what the loop uses only the names are read: a database and its library take half as long for what is not asked.
    """
    loop = seen(LOOP, user, pk)
    if loop is None:
        return None
    circuits = CIRCUITS(pk)
    for name, read in (("members", MEMBERS), ("cables", CABLES), ("terminators", TERMINATORS)):
        attach(circuits, name, grouped(read(pk), "circuit_id"))
    attach([loop], "circuits", {pk: circuits})
    return loop


MEMBER_USES = ("terminals__equipment", "terminals__certificate", "area", "equipment_revision", "certificate_revision")
MEMBER_NAMES = (
    "terminals__name",
    "terminals__equipment__maker",
    "terminals__equipment__type_name",
    "terminals__certificate__number",
    "terminals__certificate__issue",
    "equipment_revision__label",
    "equipment_revision__number",
    "certificate_revision__label",
    "certificate_revision__number",
)
CABLE_NAMES = ("cable_type__name", "cable_type_revision__label", "cable_type_revision__number")
NAMES_OF_PEOPLE = frozenset({"id", "username", "full_name", "first_name", "last_name"})


def own_columns(model: type[Model]) -> list[str]:
    return [column.name for column in model._meta.concrete_fields]


def named(relation: str, model: type[Model]) -> list[str]:
    """The columns of what a relation leads to."""
    return [f"{relation}__{name}" for name in own_columns(model)]


def not_shown(relation: str) -> list[str]:
    """The columns of a person that no page shows beside the name."""
    return [f"{relation}__{name}" for name in own_columns(User) if name not in NAMES_OF_PEOPLE]


def visible_loop(user: User, pk: int) -> Loop | None:
    """A loop with its site, if there is one that the person may see."""
    return seen(WITH_SITE, user, pk)


def judged_loop(user: User, pk: int) -> Loop | None:
    """A loop with its site, its owner and its verdict, if there is one that the person may see."""
    return seen(WITH_VERDICT, user, pk)


def seen(read: PreparedRead[Loop], user: User, pk: int) -> Loop | None:
    """A loop, if there is one that the person may see: the rule of `visible_loops` for one."""
    loop = read.first(pk) if access.may(user, "loop.view") else None
    return loop if loop and loop.site_id in access.sites_of(user) else None


WITH_SITE: PreparedRead[Loop] = PreparedRead(lambda pk: Loop.objects.filter(pk=pk).select_related("site"))
WITH_VERDICT: PreparedRead[Loop] = PreparedRead(
    lambda pk: Loop.objects.filter(pk=pk).select_related("site", "owner", "verification").defer("verification__inputs")
)
LOOP: PreparedRead[Loop] = PreparedRead(
    lambda pk: (
        Loop.objects.filter(pk=pk)
        .select_related("site", "owner", "submitted_by", "verification__revision")
        .defer(*not_shown("owner"), *not_shown("submitted_by"))
    )
)
CIRCUITS: PreparedRead[Circuit] = PreparedRead(lambda loop: Circuit.objects.filter(loop_id=loop))
MEMBERS: PreparedRead[Member] = PreparedRead(
    lambda loop: (
        Member.objects.filter(circuit__loop_id=loop)
        .select_related(*MEMBER_USES)
        .only(*own_columns(Member), *named("area", HazardousArea), *MEMBER_NAMES)
    )
)
CABLES: PreparedRead[CableRun] = PreparedRead(
    lambda loop: (
        CableRun.objects.filter(circuit__loop_id=loop)
        .select_related("cable_type", "cable_type_revision")
        .only(*own_columns(CableRun), *CABLE_NAMES)
    )
)
TERMINATORS: PreparedRead[Terminator] = PreparedRead(lambda loop: Terminator.objects.filter(circuit__loop_id=loop))
REVISIONS: PreparedRead[Revision] = PreparedRead(
    lambda loop: (
        Revision.objects.filter(kind="loop", record_id=loop)
        .select_related("author")
        .defer("snapshot", *not_shown("author"))
        .order_by("-number")
    )
)


def revisions_of(loop: Loop) -> list[Revision]:
    """All revisions of a loop, newest first, without their content."""
    return REVISIONS(loop.pk)


def areas_of(site_ids: Iterable[int]) -> QuerySet[HazardousArea]:
    """Areas of some sites that may be chosen now."""
    return HazardousArea.objects.filter(site_id__in=list(site_ids), archived_at=None).select_related("site")


def counts_by(loops: QuerySet[Loop]) -> dict[str, int]:
    """How many loops have each verdict; a loop without one counts as "none"."""
    rows = loops.order_by().values_list("verification__verdict").annotate(number=Count("pk"))
    return {verdict or "none": number for verdict, number in rows}


def waiting_for_approval(user: User, site_ids: Iterable[int]) -> QuerySet[Loop]:
    """Loops in review at some sites, the one that waits longest first."""
    return (
        listed_loops(user)
        .filter(state=LoopState.IN_REVIEW, archived_at=None, site_id__in=list(site_ids))
        .order_by("submitted_at", "pk")
    )


def record_names(loop: Loop) -> dict[str, Any]:
    """The nested text of a loop with the names that people type in place of keys (registry.reading.RecordField)."""
    data = record_text(loop)
    data["site"] = loop.site.code
    for circuit, row in zip(loop.circuits.all(), data["circuits"], strict=True):
        for member, text in zip(circuit.members.all(), row["members"], strict=True):
            text["terminals"] = str(member.terminals)
            # An area is one of the loop's own site: see loops.entries.
            text["area"] = f"{loop.site.code}: {member.area.name}" if member.area else ""
        for run, text in zip(circuit.cables.all(), row["cables"], strict=True):
            text["cable_type"] = run.cable_type.name if run.cable_type else ""
    return data
