"""Whether a page, a document or a table is what this site makes, whatever texts stand in it."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from html.parser import HTMLParser

import pikepdf
from defusedxml import ElementTree

FORBIDDEN = frozenset({"iframe", "object", "embed", "base", "style", "frame", "applet", "marquee"})
ADDRESSES = frozenset({"href", "src", "action", "formaction", "xlink:href", "data", "poster", "background"})
OWN = re.compile(r"(?:/(?!/)|[?#]|$|[\w.-]+/?(?:[?#]|$)|data:text/csv|http://testserver/|mailto:)")
RISKY = ("=", "+", "-", "@", "\t", "\r")
NUMBER = re.compile(r"[+-]?[0-9][0-9.,]* ?(?:deg|\u00b0)?[CFK%]?")


class Page(HTMLParser):
    """What a browser makes of a page: its texts, and what this site never writes into one."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.wrong: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attributes}
        self.texts.extend(found.values())
        self.inside = tag
        if tag in FORBIDDEN or (tag == "meta" and "http-equiv" in found):
            self.wrong.append(f"<{tag} {found}>")
        if tag == "script" and "src" not in found and found.get("type") != "application/json":
            self.wrong.append("<script> without a file")
        for name, value in found.items():
            if name.startswith("on") or name == "style" or (name in ADDRESSES and not OWN.match(value)):
                self.wrong.append(f"{name}={value!r} of <{tag}>")

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def handle_comment(self, data: str) -> None:
        self.wrong.append(f"<!--{data}-->")


def flat(text: str) -> str:
    """A text without white space: pages and cells break lines where they like."""
    return re.sub(r"\s+", "", text)


def page_of(html: str) -> Page:
    """The page as read."""
    page = Page()
    page.feed(html)
    page.close()
    return page


def wrong_in_pdf(data: bytes, own: str) -> list[str]:
    """Whatever of a PDF acts by itself, leads elsewhere than to `own`, or travels in it unasked."""
    found = []
    with pikepdf.open(io.BytesIO(data)) as document:
        root = document.Root
        found += [f"{name} in the document" for name in ("/OpenAction", "/AA", "/AcroForm") if name in root]
        if "/JavaScript" in root.get("/Names", {}):
            found.append("script")
        found += [f"file {name}" for name in document.attachments if not name.endswith(".json")]
        for page in document.pages:
            for link in page.obj.get("/Annots", []):
                action = link.get("/A", {})
                kind, address = str(action.get("/S", "/GoTo")), str(action.get("/URI", own))
                if kind not in ("/GoTo", "/URI") or not address.startswith(own):
                    found.append(f"{kind} {address}")
    return found


def wrong_in_csv(data: bytes) -> list[str]:
    """Cells that a spreadsheet would take for a formula."""
    rows = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True)
    return [cell for row in rows for cell in row if cell.startswith(RISKY) and not NUMBER.fullmatch(cell)]


def wrong_in_workbook(data: bytes) -> list[str]:
    """Formulas, links and parts that reach out of a workbook; every part must be sound XML."""
    found = []
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        for name in parts.namelist():
            root = ElementTree.fromstring(parts.read(name))
            found += [f"<{one.tag.rpartition('}')[2]}> in {name}" for one in root.iter() if is_live(one.tag)]
            if "external" in name.lower() or "vba" in name.lower():
                found.append(name)
    return found


def is_live(tag: str) -> bool:
    return tag.rpartition("}")[2] in ("f", "hyperlink", "oleObject", "ddeLink")
