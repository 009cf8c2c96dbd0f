"""Labels for loops, items and cables: what stands on them, and how they lie on a sheet.

A label of a loop without an issue in force has neither a level of protection nor a code: nobody has signed for them.
Light blue is the trade's colour for intrinsically safe circuits where they are told by colour (IEC 60079-14:2013,
16.2.2, from memory); the stripe has a black outline, and the words beside it say the same without colour.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.conf import settings
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _

from loops.models import Approval, Loop
from loops.services.approvals import issues_in_force
from registry.context import CAUTION
from registry.words import lazily
from reports import pdf
from reports.sheets.paper import code_svg, print_css

LOOPS, ITEMS, CABLES = "loops", "items", "cables"
KINDS = (LOOPS, ITEMS, CABLES)
WORDS = lazily("Intrinsically safe circuit")
MOST_LABELS = 1_000
SMALLEST_MM, LARGEST_MM = 10.0, 300.0
SMALLEST_CODE_MM = 11.0
PAPERS = {"A4": (pdf.PageSize.A4, 210.0, 297.0), "Letter": (pdf.PageSize.LETTER, 215.9, 279.4)}


class LabelsRefused(Exception):
    """The labels cannot be laid out or chosen like this; the text says why and what to do."""


@dataclass(frozen=True)
class Grid:
    """How labels lie on a sheet, in mm. `single` where the page is the label itself."""

    paper: str
    columns: int
    rows: int
    width: float
    height: float
    left: float = 0.0
    top: float = 0.0
    gap_x: float = 0.0
    gap_y: float = 0.0
    single: bool = False

    @property
    def per_sheet(self) -> int:
        return self.columns * self.rows

    @property
    def name(self) -> str:
        """What it is called: numbers alone."""
        size = f"{self.width:g} × {self.height:g} mm"
        if self.single:
            return _("single label, %(size)s") % {"size": size}
        return f"{self.paper}, {self.columns} × {self.rows}, {size}"

    def place(self, position: int) -> tuple[float, float]:
        """Left and top of the label at a position, counted from 0 along the rows."""
        row, column = divmod(position % self.per_sheet, self.columns)
        return self.left + column * (self.width + self.gap_x), self.top + row * (self.height + self.gap_y)

    def check(self) -> None:
        """Raise LabelsRefused where the labels do not fit on the sheet."""
        sizes = (self.width, self.height)
        if not all(SMALLEST_MM <= size <= LARGEST_MM for size in sizes):
            raise LabelsRefused(_("A label is at least 10 mm and at most 300 mm wide and high."))
        if not (1 <= self.columns <= 20 and 1 <= self.rows <= 40):
            raise LabelsRefused(_("A sheet has 1 to 20 columns and 1 to 40 rows of labels."))
        if min(self.left, self.top, self.gap_x, self.gap_y) < 0:
            raise LabelsRefused(_("Margins and gaps are not less than zero."))
        if self.single:
            return
        _size, wide, high = PAPERS[self.paper]
        right = self.left + self.columns * self.width + (self.columns - 1) * self.gap_x
        bottom = self.top + self.rows * self.height + (self.rows - 1) * self.gap_y
        if right > wide + 0.2 or bottom > high + 0.2:
            raise LabelsRefused(
                _(
                    "These labels need %(wide)g × %(high)g mm and the sheet has %(own)g × %(own_high)g mm: "
                    "take smaller or fewer labels."
                )
                % {"wide": right, "high": bottom, "own": wide, "own_high": high}
            )


GRIDS = {
    "a4-3x8": Grid("A4", 3, 8, 63.5, 33.9, 7.2, 12.9, 2.5, 0),
    "a4-3x7": Grid("A4", 3, 7, 63.5, 38.1, 7.2, 15.1, 2.5, 0),
    "a4-2x7": Grid("A4", 2, 7, 99.1, 38.1, 4.7, 15.1, 2.5, 0),
    "a4-2x4": Grid("A4", 2, 4, 99.1, 67.7, 4.7, 13.1, 2.5, 0),
    "a4-5x13": Grid("A4", 5, 13, 38.1, 21.2, 4.7, 10.7, 2.5, 0),
    "letter-3x10": Grid(lazily("Letter"), 3, 10, 66.7, 25.4, 4.8, 12.7, 3.1, 0),
    "letter-2x5": Grid(lazily("Letter"), 2, 5, 101.6, 50.8, 4.0, 12.7, 4.7, 0),
    "single-100x50": Grid("A4", 1, 1, 100, 50, single=True),
    "single-62x29": Grid("A4", 1, 1, 62, 29, single=True),
}
"""Sizes of sheets that are sold everywhere: common practice, no source."""


@dataclass(frozen=True)
class Label:
    """What stands on one label; `link` and `level` are empty where no issue is in force."""

    tag: str
    loop: str
    note: str
    level: str
    link: str


@dataclass(frozen=True)
class Placed:
    """A label with its place on its page and its sizes, in mm and pt, as the style sheet takes them."""

    label: Label
    left: str
    top: str
    code: str
    code_mm: str
    tag_pt: str
    note_pt: str


# ---------------------------------------------------------------------------------------------------- what stands there


def loops_with_code(loops: Iterable[Loop]) -> set[int]:
    """Which of some loops have an issue in force that a code can lead to."""
    keys = [loop.pk for loop in loops]
    rows = Approval.objects.filter(loop__in=keys).order_by("pk").values_list("loop_id", "short_id", "withdrawal")
    newest = {loop_id: bool(short_id) and withdrawal is None for loop_id, short_id, withdrawal in rows}
    return {key for key, has_code in newest.items() if has_code}


def labels_of(loops: QuerySet[Loop], kinds: Iterable[str]) -> Iterator[Label]:
    """The labels of some loops in their order: of the loop, of its sources and devices, of its cables."""
    wanted = set(kinds)
    keys = list(loops.values_list("pk", flat=True))
    issues = issues_in_force(keys)
    found = Loop.objects.select_related("verification__revision").in_bulk(keys)
    for key in keys:
        loop, issue = found[key], issues.get(key)
        verification = issue.verification if issue else loop.verification
        if verification is None:
            continue
        content = verification.revision.snapshot
        levels = [level_of(result) if issue else "" for result in verification.results]
        link = ""
        if issue is not None and issue.short_id:
            link = f"{settings.SITE_URL.rstrip('/')}{reverse('reports:live', args=[issue.short_id])}"
        yield from labels_of_loop(content, levels, link, wanted)


def labels_of_loop(content: Mapping[str, Any], levels: list[str], link: str, kinds: set[str]) -> Iterator[Label]:
    """The labels of one loop from its content and the level that each of its circuits was found to have."""
    tag = content["tag"]
    if LOOPS in kinds:
        yield Label(tag, tag, content["service"], " / ".join(dict.fromkeys(filter(None, levels))), link)
    for index, circuit in enumerate(content["circuits"]):
        level = levels[index] if index < len(levels) else ""
        if ITEMS in kinds:
            for row in circuit["members"]:
                yield Label(row["tag"], tag, content["service"], level, link)
        if CABLES in kinds:
            for row in circuit["cables"]:
                ends = " – ".join(filter(None, (row["from_point"], row["to_point"])))
                yield Label(row["tag"], tag, ends, level, link)


def level_of(result: Mapping[str, Any]) -> str:
    """The level and group that a circuit as a whole was found to have: "Ex ia IIC"; empty while a part is unknown."""
    system = result.get("system") or {}
    if result.get("verdict") != "complies" or not system.get("level"):
        return ""
    return " ".join(filter(None, ("Ex", system["level"], system.get("group") or "")))


# ------------------------------------------------------------------------------------------------------- how they lie


def fitting_pt(text: str, width_mm: float, largest: float, smallest: float) -> float:
    """The size at which a bold text fits in one line, between two sizes: a sign is about 0.62 of its size wide."""
    wanted = width_mm / 0.3528 / (0.62 * max(len(text), 1))
    return round(min(largest, max(smallest, wanted)), 1)


def placed(labels: list[Label], grid: Grid, start: int, stripe: bool, codes: dict[str, str]) -> list[list[Placed]]:
    """The labels by page; `start` is the first free position of the first sheet, from 1; `codes` names pictures."""
    pages: list[list[Placed]] = []
    for index, label in enumerate(labels, start=start - 1):
        if not pages or index % grid.per_sheet == 0:
            pages.append([])
        left, top = grid.place(index)
        size = min(grid.height - 3, grid.width * 0.36)
        code = codes.get(label.link, "") if size >= SMALLEST_CODE_MM else ""
        room = grid.width - 4 - (4.5 if stripe else 0) - (size + 1.5 if code else 0)
        note = max(5.0, min(8.5, grid.height * 0.2))
        pages[-1].append(
            Placed(
                label,
                f"{left:.2f}mm",
                f"{top:.2f}mm",
                code,
                f"{size:.2f}mm",
                f"{fitting_pt(label.tag, room, min(22.0, grid.height * 0.55), 6.0)}pt",
                f"{note:.1f}pt",
            )
        )
    return pages


def labels_document(
    labels: list[Label], grid: Grid, made_at: dt.datetime, *, start: int = 1, stripe: bool = True, lines: bool = False
) -> pdf.Document:
    """The labels as a document; `lines` draws the edge of each, to be cut along. Raises LabelsRefused."""
    grid.check()
    if not labels:
        raise LabelsRefused(_("There is nothing to print labels for: choose loops, and what of them."))
    if len(labels) > MOST_LABELS:
        raise LabelsRefused(
            _("These are %(count)d labels; at most %(most)d are printed at once: choose fewer loops.")
            % {"count": len(labels), "most": MOST_LABELS}
        )
    if not 1 <= start <= grid.per_sheet:
        raise LabelsRefused(_("The first free label is one of 1 to %(last)d.") % {"last": grid.per_sheet})
    links = list(dict.fromkeys(label.link for label in labels if label.link))
    codes = {link: f"code-{number}.svg" for number, link in enumerate(links)}
    pages = placed(labels, grid, start, stripe, codes)
    title = (
        (_("%(count)s labels") % {"count": len(labels)})
        if len(labels) > 1
        else (_("Label %(tag)s") % {"tag": labels[0].tag})
    )
    html = render_to_string(
        "reports/print/labels.html",
        {
            "pages": pages,
            "title": title,
            "words": WORDS,
            "stripe": stripe,
            "lines": lines,
            "caution": CAUTION,
        },
    )
    size, _wide, _high = PAPERS[grid.paper]
    css = print_css("labels") + sizes_css(grid, pages)
    return pdf.Document(html, css, made_at, {name: code_svg(link) for link, name in codes.items()}, size)


def sizes_css(grid: Grid, pages: list[list[Placed]]) -> str:
    """The rules of this sheet: the size of a label, and the place and sizes of each."""
    page = f"@page {{ size: {grid.width:g}mm {grid.height:g}mm }}\n" if grid.single else ""
    high = grid.height if grid.single else PAPERS[grid.paper][2]
    rules = [
        f"{page}.page {{ height: {high - 0.1:g}mm }}\n.label {{ width: {grid.width:g}mm; height: {grid.height:g}mm }}"
    ]
    for number, listed in enumerate(pages):
        for index, item in enumerate(listed):
            name = f"#label-{number}-{index}"
            rules.append(f"{name} {{ left: {item.left}; top: {item.top}; font-size: {item.note_pt} }}")
            rules.append(f"{name} .tag {{ font-size: {item.tag_pt} }}")
            rules.append(f"{name} .code {{ width: {item.code_mm}; height: {item.code_mm} }}")
    return "\n".join(rules)


def labels_pdf(labels: list[Label], grid: Grid, made_at: dt.datetime, **options: Any) -> bytes:
    """The labels as PDF bytes; the same labels at the same time give the same bytes. Raises LabelsRefused, PdfError."""
    return pdf.render(labels_document(labels, grid, made_at, **options))


def own_grid(grid: Grid, sizes: Mapping[str, float]) -> Grid:
    """A grid with some of its numbers changed."""
    whole = {name: int(value) for name, value in sizes.items() if name in ("columns", "rows")}
    return replace(grid, **{**sizes, **whole})  # type: ignore[arg-type]
