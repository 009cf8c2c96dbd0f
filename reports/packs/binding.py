"""Many PDFs become one: bookmarks, links from page numbers to pages, and a number on every page."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass

import pikepdf
from django.utils.translation import gettext as _
from pikepdf import Array, Dictionary, Name, OutlineItem

from reports.packs.tagging import Structure
from reports.pdf import PdfError

LINK = "page:"
"""What an address begins with that leads to a page of the whole, counted from 1."""
FOOT_PT = 11
SIZE_PT = 6.5


@dataclass(frozen=True)
class Bound:
    """One PDF among those that become one, and its bookmark; its own bookmarks come below where they are kept."""

    title: str
    data: bytes
    keeps_outline: bool = False


def page_count(data: bytes) -> int:
    """How many pages a PDF has."""
    with pikepdf.open(io.BytesIO(data)) as found:
        return len(found.pages)


def headings_of(data: bytes) -> list[tuple[str, int]]:
    """The first-level bookmarks of a PDF with their pages, counted from 0."""
    with pikepdf.open(io.BytesIO(data)) as found, found.open_outline() as outline:
        places = {page.obj.objgen: number for number, page in enumerate(found.pages)}
        return [(str(item.title), places[target_of(item).objgen]) for item in outline.root]


def target_of(item: OutlineItem) -> pikepdf.Object:
    """The page that a bookmark leads to."""
    destination = item.destination if item.destination is not None else item.action.D  # type: ignore[union-attr]
    page: pikepdf.Object = destination[0]  # type: ignore[index]
    return page


def bind(parts: Sequence[Bound], title: str, made_at: dt.datetime) -> bytes:
    """All parts in their order. Pages stay as they are, with a line at the foot that numbers them through.

    Where every part is tagged, so is the whole (reports.packs.tagging). Raises reports.pdf.PdfError.
    """
    whole = pikepdf.new()
    bookmarks: list[OutlineItem] = []
    structure = Structure(whole)
    languages = set()
    for part in parts:
        start = len(whole.pages)
        try:
            with pikepdf.open(io.BytesIO(part.data)) as source:
                whole.pages.extend(source.pages)
                structure.add(part.title, source, list(whole.pages)[start:])
                languages.add(str(source.Root.get("/Lang", "")))
        except pikepdf.PdfError as error:
            raise PdfError(
                _("%(title)s is no PDF that can be read: tell the administrator.") % {"title": part.title}
            ) from error
        item = OutlineItem(part.title, start, "Fit")
        if part.keeps_outline:
            item.children.extend(OutlineItem(name, start + place, "Fit") for name, place in headings_of(part.data))
        bookmarks.append(item)
    with whole.open_outline() as outline:
        outline.root.extend(bookmarks)
    font = whole.make_indirect(
        Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica, Encoding=Name.WinAnsiEncoding)
    )
    total = len(whole.pages)
    pages = [page.obj for page in whole.pages]
    for number, page in enumerate(whole.pages, 1):
        lead_to_pages(pages, page)
        write_foot(whole, page, font, f"{title} \u00b7 {number} / {total}")
    structure.write()
    whole.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
    if len(languages) == 1:
        whole.Root.Lang = languages.pop()
    stamp = made_at.astimezone(dt.UTC).strftime("D:%Y%m%d%H%M%SZ")
    whole.docinfo = whole.make_indirect(Dictionary(Title=title, Producer="Unlit", CreationDate=stamp, ModDate=stamp))
    with whole.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as metadata:
        metadata["dc:title"] = title
    target = io.BytesIO()
    whole.save(target, object_stream_mode=pikepdf.ObjectStreamMode.generate, deterministic_id=True)
    return target.getvalue()


def lead_to_pages(pages: Sequence[pikepdf.Object], page: pikepdf.Page) -> None:
    """Let links that name a page lead there."""
    for link in page.obj.get("/Annots", Array()):
        action = link.get("/A")
        address = str(action.get("/URI", "")) if action is not None else ""
        if address.startswith(LINK):
            del link["/A"]
            link["/Dest"] = Array([pages[int(address.removeprefix(LINK)) - 1], Name.Fit])


def write_foot(whole: pikepdf.Pdf, page: pikepdf.Page, font: pikepdf.Object, text: str) -> None:
    """A line in the middle of the foot, marked as no part of the content."""
    width = float(page.mediabox[2]) - float(page.mediabox[0])
    left = (width - len(text) * SIZE_PT * 0.48) / 2
    escaped = text.encode("cp1252", "replace").replace(b"\\", rb"\\").replace(b"(", rb"\(").replace(b")", rb"\)")
    name = page.add_resource(font, Name.Font, Name.PackFoot)
    line = b"/Artifact BMC q BT %b %.1f Tf 0.35 g %.1f %d Td (%b) Tj ET Q EMC"
    page.contents_add(whole.make_stream(b"q"), prepend=True)
    page.contents_add(whole.make_stream(b"Q"))
    page.contents_add(whole.make_stream(line % (str(name).encode(), SIZE_PT, left, FOOT_PT, escaped)))
