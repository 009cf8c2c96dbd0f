"""Typicals: one document for loops that differ in nothing but tags and cable lengths.

Each of them was judged by itself; the document lists them with their own lengths and shows the sheet of the one that
is nearest to a limit. Nothing is proven by likeness alone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from loops import selectors
from loops.models import Approval, Loop, LoopVerdict, Verification
from loops.services.approvals import issues_in_force
from loops.services.verification import PRECEDENCE
from registry.context import CAUTION
from registry.exchange.csv_xlsx import Table, table
from registry.models import User
from reports import pdf
from reports.lists import PORTRAIT, list_css, table_context
from reports.models import Sheet
from reports.packs.binding import Bound, bind
from reports.services import draft_pdf, paper_for, sheet_bytes
from reports.sheets import words
from reports.sheets.build import moment_at, sheet_content
from reports.sheets.circuits import totals

PORTION = 200
"""So many loops are read at a time."""
OF_LOOP = ("load_ohm", "safe_voltage_max_v")
OF_CIRCUIT = ("interconnection", "fisco", "two_wise", "no_cable")
OF_MEMBER = ("role", "equipment_revision", "terminals", "certificate_revision", "area")
OF_CABLE = ("cable_type_revision", "separation", "role")
OF_TERMINATOR = ("resistance_ohm", "capacitance_f")
"""What is the same in loops that are alike. Tags, services, ends, lengths and dates of making are each loop's own."""


@dataclass(frozen=True)
class Alike:
    """A loop of a typical as it was judged last: its issue in force, else as it stands."""

    loop: Loop
    approval: Approval | None
    verification: Verification

    @property
    def snapshot(self) -> Mapping[str, Any]:
        content: Mapping[str, Any] = self.verification.revision.snapshot
        return content

    @property
    def verdict(self) -> str:
        return str(self.verification.verdict)

    @property
    def least_margin(self) -> str:
        return words.percent(self.verification.least_margin)

    @property
    def items(self) -> list[str]:
        """The tags of its items."""
        return [row["tag"] for circuit in self.snapshot["circuits"] for row in circuit["members"]]

    @property
    def cables(self) -> list[str]:
        """The tags of its runs, each with its length as it was judged."""
        runs = [run for document in self.verification.inputs for run in document.get("cables", [])]
        return [f"{run['name']} {run.get('length') or words.UNKNOWN}" for run in runs]

    @property
    def totals(self) -> list[str]:
        """Capacitance and inductance connected, of each circuit."""
        return [value for result in self.verification.results for _name, value, _limit in totals(result)]


def likeness(snapshot: Mapping[str, Any]) -> Any:
    """What a loop is made of, apart from what differs between loops that are alike."""

    def part(row: Mapping[str, Any], names: tuple[str, ...]) -> tuple[Any, ...]:
        return tuple(plain(row.get(name)) for name in names)

    return (
        part(snapshot, OF_LOOP),
        tuple(
            (
                part(circuit, OF_CIRCUIT),
                tuple(part(row, OF_MEMBER) for row in circuit["members"]),
                tuple(part(row, OF_CABLE) for row in circuit["cables"]),
                tuple(part(row, OF_TERMINATOR) for row in circuit.get("terminators", ())),
            )
            for circuit in snapshot["circuits"]
        ),
    )


def plain(value: Any) -> Any:
    """A value of a snapshot to compare: of a relation its key, of a quantity its text."""
    if isinstance(value, Mapping):
        return value.get("id", value.get("text"))
    return value


def alike(loop: Loop, user: User) -> list[Alike]:
    """The loops of the site that are like one, itself included: the one nearest to a limit first.

    Only loops that were judged and are not archived; the issue in force counts where there is one and it is the save
    that was judged last, else the loop as it stands. As many queries for many loops as for few.
    """
    if loop.verification is None:
        return []
    own = likeness(loop.verification.revision.snapshot)
    first = loop.circuits.order_by("position").first()
    member = first.members.order_by("position").first() if first else None
    candidates = selectors.visible_loops(user).filter(site=loop.site_id, archived_at=None, verification__isnull=False)
    if member is not None:
        candidates = candidates.filter(circuits__members__terminals=member.terminals_id)
    rows = (
        Loop.objects.filter(pk__in=candidates.values("pk"))
        .select_related("site", "submitted_by", "verification__revision__author")
        .order_by("tag")
    )
    same = [row for row in rows.iterator(PORTION) if row.verification and likeness(contents(row)) == own]
    issues = issues_in_force(row.pk for row in same)
    return sorted((as_judged(row, issues.get(row.pk)) for row in same), key=nearest_first)


def contents(loop: Loop) -> Mapping[str, Any]:
    assert loop.verification is not None
    content: Mapping[str, Any] = loop.verification.revision.snapshot
    return content


def as_judged(loop: Loop, approval: Approval | None) -> Alike:
    """A loop with its issue, if that is the save that was judged last."""
    assert loop.verification is not None
    if approval is not None and approval.revision_id == loop.verification.revision_id:
        return Alike(loop, approval, approval.verification)
    return Alike(loop, None, loop.verification)


def nearest_first(row: Alike) -> tuple[Any, ...]:
    """The worst verdict, then the smallest margin, among equals the next smallest and so on."""
    checks = [check for result in row.verification.results for check in result["checks"]]
    margins = sorted(Decimal(check["margin"]) for check in checks if check.get("margin"))
    return (PRECEDENCE.index(LoopVerdict(row.verdict)), margins, row.loop.tag)


def typical_pdf(found: list[Alike], user: User, made_at: dt.datetime) -> bytes:
    """The document of a typical: the list of its loops, then the sheet of the one nearest to a limit.

    Raises reports.services.SheetDamaged, SheetNotMade, reports.pdf.PdfError.
    """
    worst = found[0]
    content = sheet_content(
        worst.loop, worst.verification.revision, worst.verification, worst.approval, made_at=made_at
    )
    listed = loops_table(found)
    title = _("Typical of %(count)s loops") % {"count": len(found)}
    context = table_context(listed, PORTRAIT) | {
        "title": title,
        "site": content.site,
        "items": [
            f"{paper.equipment}, {paper.number or _('no certificate')}"
            for circuit in content.circuits
            for paper in circuit.papers
        ],
        "worst": content,
        "drafts": [row.loop.tag for row in found if row.approval is None],
        "person": str(user),
        "made": moment_at(made_at, worst.loop.site),
        "caution": CAUTION,
        "language": get_language() or "en",
    }
    html = render_to_string("reports/print/typical.html", context)
    paper = paper_for(content)
    front = pdf.render(pdf.Document(html, list_css(), made_at, {}, paper))
    sheet = Sheet.objects.get(approval=worst.approval) if worst.approval else None
    data = sheet_bytes(sheet) if sheet else draft_pdf(worst.loop, made_at=made_at, paper=paper)
    parts = [Bound(title, front), Bound(f"{_('Nearest to a limit')}: {worst.loop.tag}", data)]
    return bind(parts, title, made_at)


def loops_table(found: list[Alike]) -> Table:
    """Every loop with what is its own: tags, cable lengths, and what they come to."""
    headings = (
        _("Loop"),
        _("Service"),
        _("Items"),
        _("Cables and lengths"),
        _("C, L connected"),
        _("Verdict"),
        _("Least margin"),
        _("Issue"),
    )
    rows = [
        (
            row.snapshot["tag"],
            row.snapshot["service"],
            ", ".join(row.items),
            ", ".join(row.cables),
            ", ".join(row.totals),
            words.VERDICTS[row.verdict],
            row.least_margin,
            issue_of(row),
        )
        for row in found
    ]
    return table(headings, rows)


def issue_of(row: Alike) -> str:
    """Which issue counts, by whom and when; or that there is none."""
    if row.approval is None:
        return _("DRAFT, not issued")
    day = moment_at(row.approval.approved_at, row.loop.site).local[:10]
    return f"{row.approval.letter}, {row.approval.printed_name}, {day}"
