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
from loops.models import Approval, Loop
from loops.services.approvals import in_force
from loops.services.verification import PRECEDENCE
from registry.context import CAUTION
from registry.exchange.csv_xlsx import Table, table
from registry.models import User
from reports import pdf
from reports.lists import list_css, table_context
from reports.models import Sheet
from reports.packs.binding import Bound, bind
from reports.services import draft_pdf, paper_for, sheet_bytes
from reports.sheets import words
from reports.sheets.build import moment_at, sheet_content
from reports.sheets.content import SheetContent

MOST = 200
OF_LOOP = ("load_ohm", "safe_voltage_max_v")
OF_CIRCUIT = ("interconnection", "fisco", "two_wise", "no_cable")
OF_MEMBER = ("role", "equipment_revision", "terminals", "certificate_revision", "area")
OF_CABLE = ("cable_type_revision", "separation", "role")
OF_TERMINATOR = ("resistance_ohm", "capacitance_f")
"""What is the same in loops that are alike. Tags, services, ends, lengths and dates of making are each loop's own."""


@dataclass(frozen=True)
class Alike:
    """A loop of a typical as it was judged last."""

    loop: Loop
    approval: Approval | None
    content: SheetContent


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


def alike(loop: Loop, user: User, made_at: dt.datetime) -> list[Alike]:
    """The loops of the site that are like one, itself included: the one nearest to a limit first.

    Only loops that were judged and are not archived; the issue in force counts where there is one and it is the save
    that was judged last, else the loop as it stands.
    """
    if loop.verification is None:
        return []
    own = likeness(loop.verification.revision.snapshot)
    first = loop.circuits.order_by("position").first()
    member = first.members.order_by("position").first() if first else None
    candidates = (
        selectors.visible_loops(user)
        .filter(site=loop.site_id, archived_at=None, verification__isnull=False)
        .select_related("site", "submitted_by", "verification__revision__author")
        .order_by("tag")
    )
    if member is not None:
        candidates = candidates.filter(circuits__members__terminals=member.terminals_id).distinct()
    found = []
    for row in candidates[: 20 * MOST]:
        assert row.verification is not None
        if likeness(row.verification.revision.snapshot) != own:
            continue
        approval = in_force(row)
        if approval is not None and approval.revision_id != row.verification.revision_id:
            approval = None
        verification = approval.verification if approval else row.verification
        content = sheet_content(row, verification.revision, verification, approval, made_at=made_at)
        found.append(Alike(row, approval, content))
        if len(found) == MOST:
            break
    return sorted(found, key=nearest_first)


def nearest_first(row: Alike) -> tuple[Any, ...]:
    """The worst verdict, then the smallest margin, among equals the next smallest and so on."""
    verification = row.approval.verification if row.approval else row.loop.verification
    assert verification is not None
    checks = [check for result in verification.results for check in result["checks"]]
    margins = sorted(Decimal(check["margin"]) for check in checks if check.get("margin"))
    return (PRECEDENCE.index(verification.verdict), margins, row.loop.tag)


def typical_pdf(found: list[Alike], user: User, made_at: dt.datetime) -> bytes:
    """The document of a typical: the list of its loops, then the sheet of the one nearest to a limit.

    Raises reports.services.SheetDamaged, SheetNotMade, reports.pdf.PdfError.
    """
    worst = found[0]
    listed = loops_table(found)
    title = _("Typical of %(count)s loops") % {"count": len(found)}
    context = table_context(listed) | {
        "title": title,
        "site": worst.content.site,
        "items": [
            f"{paper.equipment}, {paper.number or _('no certificate')}"
            for circuit in worst.content.circuits
            for paper in circuit.papers
        ],
        "worst": worst.content,
        "drafts": [row.loop.tag for row in found if row.approval is None],
        "person": str(user),
        "made": moment_at(made_at, worst.loop.site),
        "caution": CAUTION,
        "language": get_language() or "en",
    }
    html = render_to_string("reports/print/typical.html", context)
    paper = paper_for(worst.content)
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
    rows = []
    for row in found:
        circuits = row.content.circuits
        items = [paper.tag for circuit in circuits for paper in circuit.papers]
        cables = [f"{cable.tag} {cable.length}" for circuit in circuits for cable in circuit.cables]
        totals = [value for circuit in circuits for _name, value, _limit in circuit.totals]
        approved = row.content.approved
        issue = f"{row.content.letter}, {approved.name}, {approved.at.local[:10]}" if approved and approved.at else ""
        rows.append(
            (
                row.content.tag,
                row.content.service,
                ", ".join(items),
                ", ".join(cables),
                ", ".join(totals),
                words.VERDICTS[row.content.verdict],
                row.content.least_margin,
                issue if row.approval else _("DRAFT, not issued"),
            )
        )
    return table(headings, rows)
