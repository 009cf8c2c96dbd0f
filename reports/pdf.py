"""HTML, CSS and handed-in data become a PDF. The one module that knows the PDF writer.

Nothing is read from the network, from files or from ``data:`` addresses: a document may name only what is handed in,
as ``asset:<name>``. The same input with the same date gives the same bytes.
"""

from __future__ import annotations

import contextlib
import ctypes
import datetime as dt
import hashlib
import io
import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any, Self
from urllib.parse import urlsplit

import pikepdf
import weasyprint
from weasyprint.text.ffi import ffi, fontconfig
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

from registry.signs import with_signs

SCHEME = "asset"
MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png"}


# Python unloads these at its end, when what they gave out may still have to be let go: held here, they stay until then.
for _library in ("libgobject-2.0.so.0", "libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libfontconfig.so.1"):
    with contextlib.suppress(OSError):
        ctypes.CDLL(_library)
VARIANT = "pdf/a-3a"
# PDF/UA-1 (ISO 14289-1, clause 5) with the description of its schema that PDF/A-3 (ISO 19005-3, 6.6.2.3) asks for.
ACCESSIBLE = b"""<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" pdfuaid:part="1"/>
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA Universal Accessibility Schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name><pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Indicates, which part of ISO 14289 standard is followed</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property></rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>"""


class PdfError(Exception):
    """The document could not be made into a PDF as it was meant; the text says why."""


class PageSize(Enum):
    """Paper that a document is laid out on."""

    A4 = "A4"
    LETTER = "Letter"
    A4_LANDSCAPE = "A4 landscape"
    LETTER_LANDSCAPE = "Letter landscape"


@dataclass(frozen=True)
class Document:
    """What a PDF is made of.

    `html` is a whole page whose <html> has a lang and whose <title> is set; `css` its style sheet; `assets` the
    pictures it names as `asset:<name>`; `attached` files that travel in the PDF, by name; `made_at` the one date it
    carries (with a time zone); `paper` its size.
    """

    html: str
    css: str
    made_at: dt.datetime
    assets: Mapping[str, bytes] = field(default_factory=dict)
    paper: PageSize = PageSize.A4
    attached: Mapping[str, bytes] = field(default_factory=dict)


class HandedIn(URLFetcher):
    """Gives the assets of one document and refuses every other address.

    A refusal stops the rendering: a sheet that lacks a part is worse than no sheet.
    """

    def __init__(self, assets: Mapping[str, bytes]) -> None:
        super().__init__(allowed_protocols=[SCHEME], allow_redirects=False, fail_on_errors=True)
        self.assets = dict(assets)
        self.refused: list[str] = []

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
        """The asset that `url` names; raises FatalURLFetchingError for anything else."""
        parts = urlsplit(url)
        if parts.scheme != SCHEME or parts.netloc or parts.query or parts.path not in self.assets:
            self.refused.append(url)
            raise FatalURLFetchingError(f"Only data that is handed in may be used, not {url[:80]!r}.")
        media_type = MEDIA_TYPES[parts.path.rsplit(".", 1)[-1]]
        return URLFetcherResponse(url, self.assets[parts.path], {"Content-Type": media_type})


def render(document: Document) -> bytes:
    """The document as PDF bytes that meet PDF/UA-1 (tagged, with its language and title) and PDF/A-3a (with files).

    Raises PdfError where it names anything that was not handed in, where a part of it cannot be drawn, or where no font
    is installed to write it with.
    """
    if document.made_at.tzinfo is None:
        raise PdfError("The date of a document needs a time zone.")
    if not fonts_installed():
        raise PdfError("No font is installed on this server: install one, for example the package fonts-liberation.")
    document = with_signs_of_units(document)
    fetcher = HandedIn(document.assets)
    with Failures() as failures:
        data = written(document, fetcher)
    if fetcher.refused:  # pictures within a drawing are passed over by the writer when they are refused
        raise PdfError(f"Only data that is handed in may be used, not {fetcher.refused[0][:80]!r}.")
    if failures.told:  # the writer leaves out what it cannot draw
        raise PdfError(f"A part of it could not be drawn: {failures.told[0][:200]}")
    return with_scopes(data)


def with_signs_of_units(document: Document) -> Document:
    """The same with °C, Ω and µ in its quantities, which are kept as what a keyboard gives."""
    drawn = {
        name: with_signs(content.decode()).encode() if name.endswith(".svg") else content
        for name, content in document.assets.items()
    }
    return replace(document, html=with_signs(document.html), assets=drawn)


class Failures(logging.Handler):
    """What the writer says that it failed to do, in this thread, while it is entered."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.told: list[str] = []
        self.thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        """Keep a failure."""
        if record.thread == self.thread and record.getMessage().startswith("Failed to "):
            self.told.append(record.getMessage())

    def __enter__(self) -> Self:
        logging.getLogger("weasyprint").addHandler(self)
        return self

    def __exit__(self, *_error: object) -> None:
        logging.getLogger("weasyprint").removeHandler(self)


def written(document: Document, fetcher: HandedIn) -> bytes:
    """The document as the writer writes it. Raises PdfError where it names anything that was not handed in."""
    fonts = FontConfiguration()
    style = f"@page {{ size: {document.paper.value} }}\n{document.css}"
    try:
        page = weasyprint.HTML(string=document.html, url_fetcher=fetcher)
        sheet = weasyprint.CSS(string=style, url_fetcher=fetcher, font_config=fonts)
        laid_out = page.render(stylesheets=[sheet], font_config=fonts, pdf_variant=VARIANT)
        stamp = document.made_at.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        laid_out.metadata.created = laid_out.metadata.modified = stamp
        laid_out.metadata.generator = "Unlit"
        laid_out.metadata.attachments = [
            weasyprint.Attachment(
                string=content,
                name=name,
                description="The record that this document prints",
                created=document.made_at,
                modified=document.made_at,
                relationship="Source",
            )
            for name, content in document.attached.items()
        ]
        state_accessible(laid_out.metadata)
        target = io.BytesIO()
        laid_out.write_pdf(target, pdf_identifier=identifier(document), pdf_variant=VARIANT)
    except FatalURLFetchingError as error:
        raise PdfError(str(error)) from error
    return target.getvalue()


def with_scopes(data: bytes) -> bytes:
    """Say of each head cell of a table whether it heads its column or its row, which the writer leaves out.

    ISO 14289-1, 7.5; the same bytes give the same bytes.
    """
    with pikepdf.open(io.BytesIO(data)) as found:
        for cell in found.objects:
            if isinstance(cell, pikepdf.Dictionary) and cell.get("/S") == pikepdf.Name.TH:
                heads_columns = cell.P.get("/P", pikepdf.Dictionary()).get("/S") == pikepdf.Name.THead
                scope = pikepdf.Name.Column if heads_columns else pikepdf.Name.Row
                own = cell.get("/A")
                scoped = pikepdf.Dictionary(O=pikepdf.Name.Table, Scope=scope)
                cell["/A"] = scoped if own is None else pikepdf.Array([own, scoped])
        written = io.BytesIO()
        found.save(written, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.preserve)
    return written.getvalue()


def state_accessible(metadata: Any) -> None:
    """Let the metadata state PDF/UA-1 beside PDF/A; the writer states one standard alone."""
    written = metadata.generate_rdf_metadata

    def both(variant: str, version: int, conformance: str | None) -> bytes:
        rdf: bytes = written(variant, version, conformance)
        assert rdf.endswith(b"</rdf:RDF>")
        return rdf.removesuffix(b"</rdf:RDF>") + ACCESSIBLE + b"</rdf:RDF>"

    metadata.generate_rdf_metadata = both


def fonts_installed() -> bool:
    """Whether there is a font to write with. Without one the writer's libraries bring the whole process down."""
    return fontconfig.FcConfigGetFonts(ffi.NULL, fontconfig.FcSetSystem).nfont > 0


def identifier(document: Document) -> bytes:
    """The identifier in the PDF: a digest of all that it is made of, so that it is not a random one."""
    mark: Any = hashlib.sha256()
    parts = [document.html.encode(), document.css.encode(), document.made_at.isoformat().encode()]
    for files in (document.assets, document.attached):
        for name in sorted(files):
            parts += [name.encode(), files[name]]
    for part in parts:
        mark.update(len(part).to_bytes(8, "big") + part)
    digest: str = mark.hexdigest()
    return digest[:32].encode()
