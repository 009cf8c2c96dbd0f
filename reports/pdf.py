"""HTML, CSS and handed-in data become a PDF. The one module that knows the PDF writer.

Nothing is read from the network, from files or from ``data:`` addresses: a document may name only what is handed in,
as ``asset:<name>``. The same input with the same date gives the same bytes.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any
from urllib.parse import urlsplit

import weasyprint
from weasyprint.text.ffi import ffi, fontconfig
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

SCHEME = "asset"
MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png"}


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
    pictures it names as `asset:<name>`; `made_at` the one date it carries (with a time zone); `paper` its size.
    """

    html: str
    css: str
    made_at: dt.datetime
    assets: Mapping[str, bytes] = field(default_factory=dict)
    paper: PageSize = PageSize.A4


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
    """The document as PDF/UA-1 bytes: tagged, with its language and title.

    Raises PdfError where it names anything that was not handed in, or where no font is installed to write it with.
    """
    if document.made_at.tzinfo is None:
        raise PdfError("The date of a document needs a time zone.")
    if not fonts_installed():
        raise PdfError("No font is installed on this server: install one, for example the package fonts-liberation.")
    fetcher = HandedIn(document.assets)
    fonts = FontConfiguration()
    style = f"@page {{ size: {document.paper.value} }}\n{document.css}"
    try:
        page = weasyprint.HTML(string=document.html, url_fetcher=fetcher)
        sheet = weasyprint.CSS(string=style, url_fetcher=fetcher, font_config=fonts)
        laid_out = page.render(stylesheets=[sheet], font_config=fonts, pdf_variant="pdf/ua-1")
        stamp = document.made_at.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        laid_out.metadata.created = laid_out.metadata.modified = stamp
        laid_out.metadata.generator = "Unlit"
        target = io.BytesIO()
        laid_out.write_pdf(target, pdf_identifier=identifier(document), pdf_variant="pdf/ua-1")
    except FatalURLFetchingError as error:
        raise PdfError(str(error)) from error
    if fetcher.refused:  # pictures within a drawing are passed over by the writer when they are refused
        raise PdfError(f"Only data that is handed in may be used, not {fetcher.refused[0][:80]!r}.")
    return target.getvalue()


def fonts_installed() -> bool:
    """Whether there is a font to write with. Without one the writer's libraries bring the whole process down."""
    return fontconfig.FcConfigGetFonts(ffi.NULL, fontconfig.FcSetSystem).nfont > 0


def identifier(document: Document) -> bytes:
    """The identifier in the PDF: a digest of all that it is made of, so that it is not a random one."""
    mark: Any = hashlib.sha256()
    parts = [document.html.encode(), document.css.encode(), document.made_at.isoformat().encode()]
    for name in sorted(document.assets):
        parts += [name.encode(), document.assets[name]]
    for part in parts:
        mark.update(len(part).to_bytes(8, "big") + part)
    digest: str = mark.hexdigest()
    return digest[:32].encode()
