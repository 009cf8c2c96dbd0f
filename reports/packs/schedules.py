"""The lists at the end of a pack, of what its sheets say: nothing is read anew, so that they agree with the sheets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from django.utils.translation import gettext as _

from registry.exchange.csv_xlsx import Table, table
from registry.stored import together
from reports.packs.parts import Part
from reports.sheets.content import Paper

Rows = list[tuple[str, ...]]
Section = tuple[str, Table]


def sections(parts: Sequence[Part], pages: Mapping[int, int]) -> list[Section]:
    """Heading and table of each list; `pages` has the page on which the sheet of each loop begins."""
    return [
        (_("Index by tag"), index(parts, pages)),
        (_("Cable schedule"), cables(parts)),
        (_("Equipment"), equipment(parts)),
        (_("Certificates"), certificates(parts)),
        (_("Confirmations"), confirmations(parts)),
        (_("What runs out"), endings(parts)),
    ]


def index(parts: Sequence[Part], pages: Mapping[int, int]) -> Table:
    """Every tag of loops, items and cables with the page of its sheet."""
    found: set[tuple[str, str, str, int]] = set()
    for part in parts:
        content, page = part.content, pages.get(part.loop_id, 0)
        found.add((content.tag, _("loop"), content.tag, page))
        for circuit in content.circuits:
            for source in circuit.sources:
                found.add((source.tag, _("source"), content.tag, page))
            for device in circuit.devices:
                found.add((device.tag, _("device"), content.tag, page))
            for cable in circuit.cables:
                found.add((cable.tag, _("cable"), content.tag, page))
    rows = [(tag, what, loop, str(page)) for tag, what, loop, page in sorted(found)]
    return table((_("Tag"), _("What"), _("Loop"), _("Page")), rows)


def cables(parts: Sequence[Part]) -> Table:
    """Every run with its ends, type, length, and what it comes to."""
    rows: Rows = [
        (
            cable.tag,
            part.content.tag,
            cable.start,
            cable.end,
            cable.type_name or _("unknown cable"),
            cable.separation,
            cable.length,
            cable.capacitance or _("unknown"),
            cable.inductance or _("unknown"),
        )
        for part in parts
        for circuit in part.content.circuits
        for cable in circuit.cables
    ]
    headings = (_("Cable"), _("Loop"), _("From"), _("To"), _("Type"), _("Circuits"), _("Length"), _("C"), _("L"))
    return table(headings, sorted(rows))


def equipment(parts: Sequence[Part]) -> Table:
    """Every type with the tags at which it is used."""
    tags: dict[tuple[str, str, str, str], list[str]] = defaultdict(list)
    for paper, _part in papers(parts):
        number = f"{paper.number} {_('issue')} {paper.issue}" if paper.number else _("none")
        tags[paper.equipment, paper.marking, number, paper.register_revision].append(paper.tag)
    rows: Rows = [(*key, str(len(found)), ", ".join(sorted(set(found)))) for key, found in sorted(tags.items())]
    headings = (_("Equipment"), _("Marking"), _("Certificate"), _("Register rev."), _("Used"), _("Tags"))
    return table(headings, rows)


def certificates(parts: Sequence[Part]) -> Table:
    """Every certificate as it was pinned, with its conditions and the loops that rest on it."""
    loops: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for paper, part in papers(parts):
        if paper.number:
            conditions = "; ".join(paper.conditions) or _("none")
            key = (together(paper.number), paper.issue, paper.scheme, paper.status, paper.valid_to, conditions)
            loops[key].add(part.content.tag)
    rows: Rows = [(*key, ", ".join(sorted(found))) for key, found in sorted(loops.items())]
    headings = (
        _("Certificate"),
        _("Issue"),
        _("Scheme"),
        _("Status"),
        _("New supply until"),
        _("Specific conditions"),
        _("Loops"),
    )
    return table(headings, rows)


def confirmations(parts: Sequence[Part]) -> Table:
    """What persons confirmed, and what nobody has confirmed yet."""
    rows: Rows = []
    for part in parts:
        given = [*part.content.conditions, *(row for circuit in part.content.circuits for row in circuit.confirmations)]
        for row in dict.fromkeys(given):
            what = f"{row.about}: {row.what}" if row.about else row.what
            rows.append((part.content.tag, what, row.how, row.by or _("not confirmed")))
    return table((_("Loop"), _("What"), _("How it is met"), _("Confirmed by, date")), rows)


def endings(parts: Sequence[Part]) -> Table:
    """Certificates with an end of new supply, the earliest first."""
    ends: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    for paper, part in papers(parts):
        if paper.number and paper.valid_to:
            ends[paper.valid_to, together(paper.number), paper.issue].add(part.content.tag)
    rows: Rows = [(*key, ", ".join(sorted(found))) for key, found in sorted(ends.items())]
    return table((_("New supply until"), _("Certificate"), _("Issue"), _("Loops")), rows)


def papers(parts: Sequence[Part]) -> Iterator[tuple[Paper, Part]]:
    """The register items and certificates of all sheets, each with the sheet that names it."""
    for part in parts:
        for circuit in part.content.circuits:
            for paper in circuit.papers:
                yield paper, part
