"""Telling the register where its records are used, and what a change of them would do to loops."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.urls import reverse

from loops.models import CableRun, Loop, Member
from loops.selectors import BASIS_CHANGED
from loops.services.verification import is_worse, rank, rank_of
from loops.services.whatif import Key, Proposal, WhatIf, loops_of, whatifs
from registry.models.base import Record
from registry.selectors import LOOPS_BY_KIND
from registry.uses import MOST_JUDGED, Effect, Effects, Use


def describe(record: Record, keys: Sequence[int]) -> list[Use]:
    """The uses of a record in some loops."""
    found = (
        Loop.objects.select_related("site", "verification")
        .defer("verification__inputs", "verification__results")
        .annotate(basis_changed=BASIS_CHANGED)
        .in_bulk(list(keys))
    )
    pins = pinned_numbers(record, keys)
    return [
        Use(
            tag=loop.tag,
            url=reverse("loop", args=[loop.pk]),
            service=loop.service,
            site=loop.site.code,
            state="archived" if loop.is_archived else loop.state,
            verdict=loop.verification.verdict if loop.verification else "",
            pinned=pins.get(loop.pk),
            basis_changed=loop.basis_changed,
        )
        for loop in (found[key] for key in keys if key in found)
    ]


def issued(kind: str, keys: Iterable[int]) -> set[int]:
    """Of some records by their keys: loops that were issued once, and what such loops use."""
    chosen = list(keys)
    loops = Loop.objects.filter(approvals__isnull=False)
    if kind == Loop.record_kind:
        return set(loops.filter(pk__in=chosen).values_list("pk", flat=True))
    if kind not in LOOPS_BY_KIND:
        return set()
    path = LOOPS_BY_KIND[kind]
    return set(loops.filter(**{f"{path}__in": chosen}).values_list(path, flat=True)) & set(chosen)


def pinned_numbers(record: Record, keys: Sequence[int]) -> dict[int, int]:
    """The oldest revision of a record that each loop is pinned to; areas and sites are not pinned."""
    rows: Any
    if record.record_kind == "cable_type":
        rows = CableRun.objects.filter(cable_type_id=record.pk).values_list(
            "circuit__loop", "cable_type_revision__number"
        )
    elif record.record_kind == "equipment":
        rows = Member.objects.filter(terminals__equipment_id=record.pk).values_list(
            "circuit__loop", "equipment_revision__number"
        )
    elif record.record_kind == "certificate":
        rows = Member.objects.filter(terminals__certificate_id=record.pk, certificate_revision__record_id=record.pk)
        rows = rows.values_list("circuit__loop", "certificate_revision__number")
    else:
        return {}
    found: dict[int, int] = {}
    for loop, number in rows.filter(circuit__loop__in=list(keys)):
        found[loop] = min(number, found.get(loop, number))
    return found


def foresee(
    proposals: Mapping[Key, tuple[Record, Mapping[str, Any]]], site_keys: Sequence[int], most: int = MOST_JUDGED
) -> Effects:
    """Judge the loops that rest on proposed contents; those at the given sites first, up to a number."""
    by_kind: dict[str, list[int]] = {}
    for kind, key in proposals:
        by_kind.setdefault(kind, []).append(key)
    keys = {key for kind, records in by_kind.items() for key in loops_of(kind, records).values_list("pk", flat=True)}
    rows = Loop.objects.filter(pk__in=keys).order_by("site__code", "tag").values_list("pk", "site_id")
    ordered = sorted(rows, key=lambda row: row[1] not in site_keys)
    chosen = [key for key, _ in ordered[:most]]
    offered = {key: Proposal(*value) for key, value in proposals.items()}
    touched = [found for found in whatifs(Loop.objects.filter(pk__in=chosen), offered) if found.touches_inputs]
    here = [effect_of(found) for found in touched if found.loop.site_id in site_keys]
    here.sort(key=lambda effect: (not effect.changes_verdict, effect.site, effect.tag))
    return Effects(len(keys), len(chosen), tuple(here), len(touched) - len(here))


def effect_of(found: WhatIf) -> Effect:
    loop, before, head = found.loop, found.loop.verification, found.head
    assert before is not None
    return Effect(
        tag=loop.tag,
        url=reverse("loop", args=[loop.pk]),
        site=loop.site.code,
        state=loop.state,
        letter=loop.letter,
        before=before.verdict,
        after=str(head["verdict"].value),
        function_before=before.function_verdict,
        function_after=head["function_verdict"],
        margin_before=found.margins[0],
        margin_after=found.margins[1],
        limiting=head["limiting"],
        unit=loop.site.length_unit,
        is_worse=is_worse(rank(head), rank_of(before)),
    )


def saved_effects(before: Sequence[Loop], after: Sequence[Loop]) -> Effects:
    """What a save did to the verdicts of loops, each as it stood before and as it stands now, in the same order."""
    found = []
    for old, new in zip(before, after, strict=True):
        if old.version == new.version or old.verification is None or new.verification is None:
            continue
        found.append(
            Effect(
                tag=old.tag,
                url=reverse("loop", args=[old.pk]),
                site=old.site.code,
                state=old.state,
                letter=old.letter,
                before=old.verification.verdict,
                after=new.verification.verdict,
                function_before=old.verification.function_verdict,
                function_after=new.verification.function_verdict,
                margin_before=old.verification.least_margin,
                margin_after=new.verification.least_margin,
                limiting=new.verification.limiting,
                unit=new.site.length_unit,
                is_worse=is_worse(rank_of(new.verification), rank_of(old.verification)),
            )
        )
    found.sort(key=lambda effect: (not effect.changes_verdict, effect.site, effect.tag))
    return Effects(len(found), len(found), tuple(found), 0)
