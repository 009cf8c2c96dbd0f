"""From what a sheet says to its pages: template, style sheet, drawings and the code that leads back to the loop."""

from __future__ import annotations

import io
from pathlib import Path

import segno
from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from registry.language import in_language_of_the_house
from reports import pdf
from reports.diagrams import draw
from reports.files import file_name
from reports.sheets.content import SheetContent

PRINT = Path(settings.BASE_DIR) / "templates" / "reports" / "print"
FONT = "Liberation Sans, Arial, Helvetica, DejaVu Sans, sans-serif"
CUT = 'fill="none" stroke="#fff" stroke-width="2.4"'
LINE = 'fill="none" stroke="#000" stroke-width="2"'
SHAPES = {
    "pass": f'<circle cx="10" cy="10" r="9"/><path {CUT} d="M5.5 10.5 8.7 13.7 14.7 6.7"/>',
    "fail": f'<rect x="1" y="1" width="18" height="18"/><path {CUT} d="M6 6 14 14M14 6 6 14"/>',
    "incomplete": f'<circle cx="10" cy="10" r="8" {LINE} stroke-dasharray="5 3"/><path {LINE} d="M10 5V11M10 13V15"/>',
    "beyond": f'<path {LINE} d="M4 7V18H15M9 2H18V11M18 2 8 12"/>',
    "confirm": f'<path {LINE} d="M10 1.5 18.5 10 10 18.5 1.5 10ZM10 6V11M10 12.8V14.6"/>',
    "none": f'<path {LINE} d="M4 10H16"/>',
}


def sheet_document(content: SheetContent, paper: pdf.PageSize = pdf.PageSize.A4) -> pdf.Document:
    """The sheet as a document that reports.pdf can render, in the language of the installation."""
    with in_language_of_the_house():
        return written(content, paper)


def written(content: SheetContent, paper: pdf.PageSize) -> pdf.Document:
    """The same in the language that holds."""
    assets = {f"{name}.svg": shape_svg(body, 9.5) for name, body in SHAPES.items()}
    assets |= {f"{name}-large.svg": shape_svg(body, 21) for name, body in SHAPES.items()}
    assets["code.svg"] = code_svg(content.link)
    assets["draft.svg"] = draft_svg()
    if content.charts:
        # The drawing library takes a second and tens of megabytes to load: only who draws pays for it.
        from reports.diagrams.ignition import SHEET_SIZE_IN, ignition_svg

        for index, circuit in content.charts:
            assert circuit.curves is not None
            assets[f"curves-{index}.svg"] = ignition_svg(circuit.curves, SHEET_SIZE_IN)
    drawn = [draw(circuit.plan, f"circuit-{index}", FONT, paper=True) for index, circuit in enumerate(content.circuits)]
    assets |= {f"circuit-{index}.svg": drawing.encode() for index, drawing in enumerate(drawn)}
    tall = [index for index, drawing in enumerate(drawn) if is_tall(drawing)]
    html = render_to_string("reports/print/sheet.html", {"sheet": content, "tall": tall})
    css = print_css("base", "title_block", "sheet")
    attached = {file_name(content.tag, content.letter, ending="json"): content.record} if content.record else {}
    return pdf.Document(html, css, content.made_at, assets, paper, attached)


def is_tall(drawing: str) -> bool:
    """Whether a diagram runs from top to bottom: it is given a page, so that its words stay large enough."""
    _x, _y, width, height = (float(number) for number in drawing.split('viewBox="', 1)[1].split('"', 1)[0].split())
    return height > 1.25 * width


def print_css(*names: str) -> str:
    """The style sheets of a document on paper as one: what they share first, then its own."""
    return "\n".join((PRINT / f"{name}.css").read_text(encoding="utf-8") for name in names)


def sheet_pdf(content: SheetContent, paper: pdf.PageSize = pdf.PageSize.A4) -> bytes:
    """The sheet as PDF bytes; the same content gives the same bytes. Raises reports.pdf.PdfError."""
    return pdf.render(sheet_document(content, paper))


def shape_svg(body: str, size: float) -> bytes:
    """A mark that stands beside a verdict, told by its form in black and white."""
    box = f'viewBox="0 0 20 20" width="{size}" height="{size}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {box}>{body}</svg>'.encode()


def code_svg(link: str) -> bytes:
    """The QR code of an address (ISO/IEC 18004, error correction M)."""
    target = io.BytesIO()
    code = segno.make(link, error="m", micro=False)
    code.save(target, kind="svg", border=0, xmldecl=False, svgclass="", lineclass="")
    return target.getvalue()


def draft_svg() -> bytes:
    """The pale words across a page that nobody has approved, as large as they fit."""
    words = _("DRAFT \u2013 NOT ISSUED")
    size = min(62, 62 * 18 // len(words))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 800" width="600" height="800" font-family="{FONT}">'
        '<text x="300" y="410" text-anchor="middle" font-weight="bold" fill="#ececec" '
        f'font-size="{size}" '
        'transform="rotate(-54 300 400)">'
        f"{words}</text></svg>"
    ).encode()
