"""A plant at a glance: how near to their limits its loops are, which are nearest, and how each area stands."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_FLOOR, Decimal
from typing import Any, NamedTuple

from django.db.models import Count, F, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from loops import selectors
from loops.models import Loop, LoopVerdict, Member
from loops.services.verification import PRECEDENCE
from loops.views.home import by_verdict, listed
from loops.views.requests import person
from registry.models import HazardousArea

NEAREST = 20


class Bucket(NamedTuple):
    """Least margins from `low` to `high`, both included, as shares; they are stored in steps of 0.0001."""

    label: Any
    low: Decimal | None
    high: Decimal | None

    @property
    def condition(self) -> Q:
        found = Q(verification__least_margin__isnull=False)
        if self.low is not None:
            found &= Q(verification__least_margin__gte=self.low)
        return found if self.high is None else found & Q(verification__least_margin__lte=self.high)

    @property
    def url(self) -> str:
        """The list of the loops in it."""
        ends = {"from1": self.low, "to1": self.high}
        return listed(
            quantity1="margin",
            sort="margin",
            **{name: f"{100 * end:.2f} %" for name, end in ends.items() if end is not None},
        )


BUCKETS = (
    Bucket(gettext_lazy("beyond the limit"), None, Decimal("-0.0001")),
    Bucket(gettext_lazy("under 5 %"), Decimal(0), Decimal("0.0499")),
    Bucket(gettext_lazy("5 % to 10 %"), Decimal("0.05"), Decimal("0.0999")),
    Bucket(gettext_lazy("10 % to 25 %"), Decimal("0.1"), Decimal("0.2499")),
    Bucket(gettext_lazy("25 % to 50 %"), Decimal("0.25"), Decimal("0.4999")),
    Bucket(gettext_lazy("50 % and more"), Decimal("0.5"), None),
)


NAMED = {f"bucket{number}": bucket for number, bucket in enumerate(BUCKETS)}


@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    """The loops of the sites of whoever asks, by verdict, by margin and by area."""
    loops = selectors.listed_loops(person(request)).filter(archived_at=None)
    counts = counted(loops)
    context = {
        "section": "home",
        "crumbs": [{"text": _("Home"), "url": "/"}, {"text": _("At a glance"), "url": ""}],
        "total": counts["total"],
        "verdicts": by_verdict(counts),
        "buckets": histogram(counts),
        "nearest": nearest(loops),
        "areas": by_area(loops),
        "words": [(verdict.value, verdict.label) for verdict in PRECEDENCE],
    }
    return render(request, "loops/overview.html", context)


def counted(loops: QuerySet[Loop]) -> dict[str, int]:
    """How many loops there are, have each verdict, and have their least margin in each bucket; in one pass."""
    return loops.order_by().aggregate(
        **{name: Count("pk", filter=bucket.condition) for name, bucket in NAMED.items()},
        **{verdict.value: Count("pk", filter=Q(verification__verdict=verdict)) for verdict in PRECEDENCE},
        without=Count("pk", filter=Q(verification__least_margin__isnull=True)),
        total=Count("pk"),
    )


def histogram(counts: Mapping[str, int]) -> list[dict[str, Any]]:
    """How many loops have their least margin in each bucket, and how long a bar shows it (0 to 100)."""
    most = max(*(counts[name] for name in (*NAMED, "without")), 1)
    rows = [
        {"label": bucket.label, "count": counts[name], "url": bucket.url, "length": 100 * counts[name] // most}
        for name, bucket in NAMED.items()
    ]
    rows[0]["bad"] = True
    without = counts["without"]
    return [*rows, {"label": _("no margin computed"), "count": without, "url": "", "length": 100 * without // most}]


def nearest(loops: QuerySet[Loop]) -> list[dict[str, Any]]:
    """The complying loops with the least margin, the nearest to its limit first; margins are cut, never rounded up."""
    complying = loops.filter(verification__verdict=LoopVerdict.COMPLIES, verification__least_margin__isnull=False)
    found = complying.annotate(least=F("verification__least_margin")).order_by("least", "tag")[:NEAREST]
    return [{"loop": loop, "margin": percent(loop.least)} for loop in found]


def percent(share: Decimal) -> str:
    """A share in percent with one place.

    >>> percent(Decimal("0.0799")), percent(Decimal("0"))
    ('7.9\u202f%', '0.0\u202f%')
    """
    return f"{(100 * share).quantize(Decimal('0.1'), ROUND_FLOOR)}\u202f%"


def by_area(loops: QuerySet[Loop]) -> list[dict[str, Any]]:
    """Each area that a loop reaches into, with how many loops of each verdict do, worst first."""
    reaching = Member.objects.filter(circuit__loop__in=loops.order_by().values("pk"), area__isnull=False).order_by()
    # A loop has one verdict: counted by area and verdict, no loop counts twice.
    counted = reaching.values_list("area_id", "circuit__loop__verification__verdict").annotate(
        Count("circuit__loop", distinct=True)
    )
    found: dict[int, dict[str, int]] = {}
    for area_id, verdict, number in counted:
        found.setdefault(area_id, {})[verdict or "none"] = number
    areas = HazardousArea.objects.filter(pk__in=found).select_related("site").order_by("site__code", "name")
    return [area_row(area, found[area.pk]) for area in areas]


def area_row(area: HazardousArea, counts: Mapping[str, int]) -> dict[str, Any]:
    """One area with its counts, each with the list that it counts."""
    place = (
        _("Zone %s") % area.zone
        if area.zone
        else _("Class %(c)s Division %(d)s") % {"c": area.nec_class, "d": area.division}
    )
    cells = [
        {
            "verdict": verdict.value,
            "count": counts.get(verdict.value, 0),
            "url": listed(area=str(area.pk), verdict=verdict.value),
        }
        for verdict in PRECEDENCE
    ]
    return {
        "name": area.name,
        "site": area.site.code,
        "place": f"{place}, {area.group}",
        "total": sum(counts.values()),
        "url": listed(area=str(area.pk)),
        "cells": cells,
    }
