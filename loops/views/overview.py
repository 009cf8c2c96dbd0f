"""A plant at a glance: how near to their limits its loops are, which are nearest, and how each area stands."""

from __future__ import annotations

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


@require_safe
def overview(request: HttpRequest) -> HttpResponse:
    """The loops of the sites of whoever asks, by verdict, by margin and by area."""
    loops = selectors.listed_loops(person(request)).filter(archived_at=None)
    context = {
        "section": "home",
        "crumbs": [{"text": _("Home"), "url": "/"}, {"text": _("At a glance"), "url": ""}],
        "total": loops.count(),
        "verdicts": by_verdict(loops),
        "buckets": histogram(loops),
        "nearest": nearest(loops),
        "areas": by_area(loops),
        "words": [(verdict.value, verdict.label) for verdict in PRECEDENCE],
    }
    return render(request, "loops/overview.html", context)


def histogram(loops: QuerySet[Loop]) -> list[dict[str, Any]]:
    """How many loops have their least margin in each bucket, and how long a bar shows it (0 to 100)."""
    names = {f"bucket{number}": bucket for number, bucket in enumerate(BUCKETS)}
    counts = loops.order_by().aggregate(
        **{name: Count("pk", filter=bucket.condition) for name, bucket in names.items()},
        without=Count("pk", filter=Q(verification__least_margin__isnull=True)),
    )
    most = max(*counts.values(), 1)
    rows = [
        {"label": bucket.label, "count": counts[name], "url": bucket.url, "length": 100 * counts[name] // most}
        for name, bucket in names.items()
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
    reaching = Member.objects.filter(circuit__loop__in=loops.order_by().values("pk"), area__isnull=False)
    columns = (
        "area_id",
        "area__name",
        "area__site__code",
        "area__zone",
        "area__nec_class",
        "area__division",
        "area__group",
    )
    counted = (
        reaching.order_by()
        .values(*columns)
        .annotate(
            total=Count("circuit__loop", distinct=True),
            **{
                verdict.name.lower(): Count(
                    "circuit__loop", distinct=True, filter=Q(circuit__loop__verification__verdict=verdict)
                )
                for verdict in PRECEDENCE
            },
        )
    )
    rows = []
    for row in counted.order_by("area__site__code", "area__name"):
        zone, division = row["area__zone"], row["area__division"]
        place = (
            _("Zone %s") % zone
            if zone
            else _("Class %(c)s Division %(d)s") % {"c": row["area__nec_class"], "d": division}
        )
        cells = [
            {
                "verdict": verdict.value,
                "count": row[verdict.name.lower()],
                "url": listed(area=str(row["area_id"]), verdict=verdict.value),
            }
            for verdict in PRECEDENCE
        ]
        rows.append(
            {
                "name": row["area__name"],
                "site": row["area__site__code"],
                "place": f"{place}, {row['area__group']}",
                "total": row["total"],
                "url": listed(area=str(row["area_id"])),
                "cells": cells,
            }
        )
    return rows
