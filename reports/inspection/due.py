"""When the loops of a site are to be inspected next, and telling those who do it.

A loop is planned for once it was issued or inspected. Of each grade that the site plans, the next one is due so many
months after the last complete inspection of that grade or a stronger one. Before the first inspection it is due since
the loop was issued: what is in use and was never inspected is overdue (initial inspection: IEC 60079-17:2013, 4.3, from
memory).
"""

from __future__ import annotations

import calendar
import datetime as dt
import zoneinfo
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, Max, Min, OuterRef, Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from loops.models import Approval, Loop, LoopState
from registry import access
from registry.models import Notice, NoticeKind, Site, User
from registry.prepared import PreparedRead
from registry.services import notices
from registry.services.weekly import once_a_week
from reports.inspection.items import GRADES
from reports.inspection.models import Defect, DefectState, Grade, Inspection, SignedInspection

LEAD_DAYS = 30
"""How long before its day an inspection is told of: common practice, no source."""
NOTICE = "inspections due"


@dataclass(frozen=True)
class Due:
    """The next inspection of a loop. `on` is empty where the site plans none; `last` holds the last complete one of
    each grade."""

    loop: Loop
    grade: str
    on: dt.date | None
    never: bool
    last: dict[str, dt.date] = field(default_factory=dict)
    under_way: int | None = None

    def state(self, today: dt.date) -> str:
        """ "overdue", "soon", "later", or "none" where nothing is planned."""
        if self.on is None:
            return "none"
        days = (self.on - today).days
        return "overdue" if days < 0 else "soon" if days <= LEAD_DAYS else "later"

    @property
    def grade_text(self) -> str:
        return str(Grade(self.grade).label) if self.grade else ""

    @property
    def last_on(self) -> dt.date | None:
        """The day of the last complete inspection of any grade."""
        return max(self.last.values(), default=None)


def after_months(day: dt.date, months: int) -> dt.date:
    """The same day so many months later, or the last day of that month where it has no such day.

    >>> after_months(dt.date(2026, 1, 31), 1), after_months(dt.date(2026, 11, 26), 36)
    (datetime.date(2026, 2, 28), datetime.date(2029, 11, 26))
    """
    number = day.year * 12 + day.month - 1 + months
    year, month = number // 12, number % 12 + 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def months_of(site: Site) -> dict[str, int]:
    """The interval of each grade that the site plans."""
    rows = {"visual": site.visual_months, "close": site.close_months, "detailed": site.detailed_months}
    return {grade: months for grade, months in rows.items() if months}


def next_of(site: Site, last: dict[str, dt.date], since: dt.date | None) -> tuple[str, dt.date | None, bool]:
    """Grade and day of the next inspection, and whether there was none before; of two on one day the stronger."""
    planned = months_of(site)
    if not last:
        return max(planned, key=GRADES.index, default="") if since else "", since if planned else None, True
    found: list[tuple[dt.date, int, str]] = []
    for grade, months in planned.items():
        rank = GRADES.index(grade)
        covered = [day for name, day in last.items() if GRADES.index(name) >= rank]
        on = after_months(max(covered), months) if covered else since or min(last.values())
        found.append((on, -rank, grade))
    if not found:
        return "", None, False
    on, _, grade = min(found)
    return grade, on, False


def planned_loops(loops: QuerySet[Loop]) -> QuerySet[Loop]:
    """Of some loops those that are in use: issued and not withdrawn, or inspected once."""
    issued = Q(Exists(Approval.objects.filter(loop=OuterRef("pk")))) & ~Q(state=LoopState.WITHDRAWN)
    inspected = Exists(SignedInspection.objects.filter(loop=OuterRef("pk")))
    return loops.filter(issued | inspected, archived_at=None)


def due_rows(loops: QuerySet[Loop]) -> list[Due]:
    """The next inspection of each of some loops, the earliest first; four queries, however many they are."""
    rows = list(planned_loops(loops).select_related("site").order_by("site__code", "tag"))
    if not rows:
        return []
    chosen = Loop.objects.filter(pk__in=planned_loops(loops).order_by().values("pk"))
    last: dict[int, dict[str, dt.date]] = {}
    complete = SignedInspection.objects.filter(loop__in=chosen.values("pk"), is_complete=True).order_by()
    for pk, grade, on in complete.values_list("loop_id", "grade").annotate(Max("inspected_on")):
        last.setdefault(pk, {})[grade] = on
    issued = Approval.objects.filter(loop__in=chosen.values("pk")).order_by()
    since = dict(issued.values_list("loop_id").annotate(Min("approved_at")))
    begun = Inspection.objects.filter(loop__in=chosen.values("pk"), given_up_at=None, signed=None).order_by("pk")
    under_way = dict(begun.values_list("loop_id", "pk"))
    found = [due_from(loop, last.get(loop.pk, {}), since.get(loop.pk), under_way.get(loop.pk)) for loop in rows]
    return sorted(found, key=lambda due: (due.on or dt.date.max, due.loop.site.code, due.loop.tag))


def due_from(loop: Loop, last: dict[str, dt.date], issued_at: dt.datetime | None, under_way: int | None) -> Due:
    """What is due of a loop that was first issued at that time and last inspected on those days."""
    day = issued_at.astimezone(zoneinfo.ZoneInfo(loop.site.time_zone)).date() if issued_at else None
    return Due(loop, *next_of(loop.site, last, day), last, under_way)


SIGNED: PreparedRead[tuple[str, dt.date, bool]] = PreparedRead(
    lambda loop: (
        SignedInspection.objects.filter(loop_id=loop).order_by().values_list("grade", "inspected_on", "is_complete")
    )
)
ISSUED: PreparedRead[tuple[dt.datetime]] = PreparedRead(
    lambda loop: Approval.objects.filter(loop_id=loop).order_by("approved_at").values_list("approved_at")[:1]
)
OPEN_DEFECTS: PreparedRead[Defect] = PreparedRead(
    lambda loop: Defect.objects.filter(loop_id=loop).exclude(state=DefectState.VERIFIED).order_by("priority", "due_on")
)


def due_of(loop: Loop) -> Due | None:
    """The next inspection of one loop; None where it is not planned for."""
    signed = SIGNED(loop.pk)
    issued_at = next((moment for (moment,) in ISSUED(loop.pk)), None)
    if loop.archived_at or not (signed or (issued_at and loop.state != LoopState.WITHDRAWN)):
        return None
    last: dict[str, dt.date] = {}
    for grade, on, is_complete in signed:
        if is_complete:
            last[grade] = max(on, last.get(grade, on))
    begun = Inspection.objects.filter(loop=loop, given_up_at=None, signed=None).order_by("-pk")
    return due_from(loop, last, issued_at, begun.values_list("pk", flat=True).first())


def on_loop_page(loop: Loop, user: User) -> dict[str, Any]:
    """What the page of a loop says of its inspections and of defects that are not verified as remedied."""
    if not access.may(user, "inspection.view", loop.site):
        return {}
    due = due_of(loop)
    state = due.state(timezone.localdate()) if due else ""
    return {"inspections": {"due": due, "state": state, "defects": OPEN_DEFECTS(loop.pk)}}


# ------------------------------------------------------------------------------------------------------------ telling


def tell_due(today: dt.date) -> str:
    """Tell planners and designers of each site, once in each week of the calendar, what is due there.

    Returns what was done as a sentence.
    """

    def tell(_before: dt.date | None) -> str:
        rows = [due for due in due_rows(Loop.objects.all()) if due.state(today) in ("overdue", "soon")]
        sent = notices.send(lines_of(rows, today)) if rows else []
        return f"Inspections: {len(rows)} due; {len(sent)} lines sent."

    return once_a_week(NOTICE, "Inspections", today, tell)


def lines_of(rows: Sequence[Due], today: dt.date) -> Iterable[Notice]:
    """One line for each person and site."""
    by_site: dict[Site, list[Due]] = {}
    for due in rows:
        by_site.setdefault(due.loop.site, []).append(due)
    for site, listed in by_site.items():
        over = sum(due.state(today) == "overdue" for due in listed)
        tags = ", ".join(due.loop.tag for due in listed[:5]) + (" …" if len(listed) > 5 else "")
        subject = f"{site.code}: {len(listed)} inspections due" if len(listed) > 1 else f"{site.code}: 1 inspection due"
        subject += f" ({over} overdue): {tags}" if over else f": {tags}"
        for person in access.people_who_may("inspection.make", [site.pk]).order_by("pk"):
            link = f"{reverse('inspections')}?site={site.code}"
            yield notices.tell(person, NoticeKind.INSPECTION, subject, link)
