"""Inspections of the invented plant: one without a finding, two with defects, one under way."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from loops.models import Loop
from registry.models import User
from reports.inspection import defects, services
from reports.inspection.models import Defect, Inspection
from reports.inspection.services import LineText
from reports.inspection.signing import mark_of

if TYPE_CHECKING:
    from reports.demo.build import Demo


@dataclass(frozen=True)
class Finding:
    """What was found at the line of an item in one place."""

    item: str
    subject: str
    result: str
    note: str
    priority: str = ""
    found: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Plan:
    """An inspection of one loop. `signed` is false for one that is under way."""

    tag: str
    grade: str
    occasion: str
    findings: tuple[Finding, ...] = ()
    signed: bool = True


PLANS = (
    Plan("PT-1101", "detailed", "initial"),
    Plan(
        "FT-1107",
        "close",
        "periodic",
        (Finding("glands", "FT-1107", "defect", "The plug of the spare entry turns by hand.", "2"),),
    ),
    Plan(
        "XV-1108",
        "close",
        "periodic",
        (
            Finding(
                "item",
                "XV-1108-IS",
                "defect",
                "After the repair in spring another type stands in its place.",
                "1",
                {"item": "Tarquessen TI-DO1-B, 1-2"},
            ),
        ),
    ),
    Plan(
        "LT-3101",
        "detailed",
        "periodic",
        (
            Finding("cable", "LT-3101-W1", "defect", "Led round the new pipe bridge.", "3", {"length_m": "480 m"}),
            Finding("connections", "SP-3101", "not_checked", "The cover of the box is rusted shut."),
        ),
    ),
    Plan(
        "PT-1102",
        "visual",
        "periodic",
        (Finding("weather", "PT-1102", "not_checked", "Behind a scaffold."),),
        signed=False,
    ),
)
STEPS: dict[str, dict[str, Any]] = {
    "FT-1107": {"verb": "done", "text": "New plug, tightened to the maker's torque."},
    "XV-1108": {"verb": "assign", "text": "Put the recorded type back, or have the loop judged with this one."},
}
OVERDUE_DAYS = 20


def build_inspections(demo: Demo) -> None:
    """The inspections of the plant; a loop that was inspected is left alone, and so is a changed password."""
    planner = demo.people["planner"]
    if not planner.check_password(demo.password):
        return
    for plan in PLANS:
        loop = Loop.objects.filter(tag=plan.tag, site__code="DRAV").first()
        if loop is None or loop.inspections.exists():
            demo.kept["inspection"] += loop is not None
            continue
        build_one(demo, plan, loop, planner)
        demo.added["inspection"] += 1


def build_one(demo: Demo, plan: Plan, loop: Loop, planner: User) -> None:
    """Begin, fill in and sign one inspection, and follow up what it found."""
    inspection = services.begin(loop.pk, planner, grade=plan.grade, occasion=plan.occasion)
    told = {(finding.item, finding.subject): finding for finding in plan.findings}
    lines = list(inspection.lines.all())
    for line in lines if plan.signed else lines[: len(lines) // 2]:
        finding = told.get((line.item, line.subject))
        text = LineText("ok")
        if finding is not None:
            text = LineText(finding.result, finding.note, finding.priority, finding.found)
        services.save_line(inspection.pk, line.pk, planner, text)
    if plan.signed:
        services.sign(inspection.pk, planner, demo.password, shown=mark_of(services.record_now(inspection)))
        follow_up(demo, inspection, planner)


def follow_up(demo: Demo, inspection: Inspection, planner: User) -> None:
    """One defect is reported as remedied, one should have been remedied by now, one is open."""
    for defect in Defect.objects.filter(signed__inspection=inspection).select_related("loop"):
        if step := STEPS.get(defect.loop.tag):
            late = demo.today - dt.timedelta(days=OVERDUE_DAYS)
            whom: dict[str, Any] = (
                {"assigned_to": demo.people["designer2"].pk, "due_on": late} if step["verb"] == "assign" else {}
            )
            defects.take(defect.pk, planner, **step, **whom)
