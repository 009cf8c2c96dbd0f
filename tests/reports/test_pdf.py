"""The PDF writer gets what is handed in and nothing else, and writes the same bytes for the same input."""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import subprocess
import sys
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread
from unittest import mock

import pypdf
import pytest
from weasyprint.urls import FatalURLFetchingError

from reports.pdf import Document, HandedIn, PageSize, PdfError, render
from tests.architecture.files import ROOT

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9" width="9" height="9"><path d="M1 1H8"/></svg>'
DAY = dt.datetime(2026, 11, 25, 14, 3, tzinfo=dt.UTC)


def document(body: str = "", css: str = "", paper: PageSize = PageSize.A4, made_at: dt.datetime = DAY) -> Document:
    html = f'<html lang="en"><head><title>A sheet</title></head><body><h1>Sheet</h1>{body}</body></html>'
    return Document(html, css, made_at, {"mark.svg": SVG}, paper)


@pytest.fixture
def secret(tmp_path: Path) -> str:
    """The address of a file that is there and readable, so that only the refusal keeps it out."""
    path = tmp_path / "secret.svg"
    path.write_bytes(SVG)
    return path.as_uri()


REFUSED = "handed in|could not be drawn"
REACHES = [
    '<img src="{0}" alt="x">',
    '<object data="{0}"></object>',
    '<embed src="{0}">',
    '<link rel="stylesheet" href="{0}">',
    '<style>@import "{0}";</style>',
    "<style>p {{ background: url({0}) }}</style><p>x</p>",
    "<style>p::before {{ content: url({0}) }}</style><p>x</p>",
    "<style>@font-face {{ font-family: f; src: url({0}) }} p {{ font-family: f }}</style><p>x</p>",
    '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><image xlink:href="{0}" width="9" height="9"/></svg>',
    '<a rel="attachment" href="{0}">x</a>',
]


@pytest.mark.parametrize("reach", REACHES)
def test_no_file_is_read(reach: str, secret: str) -> None:
    with pytest.raises(PdfError, match=REFUSED):
        render(document(reach.format(secret)))


@pytest.mark.parametrize(
    "address",
    [
        "http://127.0.0.1:9/x.svg",
        "https://127.0.0.1:9/x.svg",
        "ftp://127.0.0.1:9/x.svg",
        "data:image/svg+xml,%3Csvg%20xmlns='http://www.w3.org/2000/svg'/%3E",
        "data:image/svg+xml;base64," + "A" * 8_000_000,
        "asset:other.svg",
        "asset:../mark.svg",
        "asset://host/mark.svg",
        "asset:mark.svg?x",
        "ASSET2:mark.svg",
    ],
)
def test_no_other_address_is_opened(address: str) -> None:
    with pytest.raises(FatalURLFetchingError):
        HandedIn({"mark.svg": SVG}).fetch(address)
    with (
        mock.patch("socket.socket.connect", side_effect=AssertionError("the network was used")),
        pytest.raises(PdfError),
    ):
        render(document(f'<img src="{address}" alt="x">'))


@pytest.mark.parametrize(
    "reach",
    [
        '<a href="{0}">x</a>',
        '<a rel="attachment" href="#x">{0}</a>',
        "<p>{0}</p>",
        '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><use href="{0}#a"/></svg>',
    ],
)
def test_an_address_as_text_link_or_part_of_another_drawing_opens_nothing(reach: str, secret: str) -> None:
    with mock.patch.object(HandedIn, "fetch", side_effect=AssertionError("something was fetched")):
        render(document(reach.format(secret)))


def test_what_is_handed_in_is_used() -> None:
    assert render(document('<img src="asset:mark.svg" alt="x">')) != render(document())


def with_picture(svg: str) -> Document:
    made = document('<img src="asset:mark.svg" alt="x">')
    return Document(made.html, made.css, made.made_at, {"mark.svg": svg.encode()})


DRAWN = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">{0}</svg>'


@pytest.mark.parametrize(
    "inner",
    [
        '<image href="{0}" width="9" height="9"/>',
        '<image xlink:href="{0}" width="9" height="9"/>',
        '<style>@import "{0}";</style><path d="M1 1H8"/>',
    ],
)
def test_a_handed_in_picture_reaches_nothing_else(inner: str, secret: str) -> None:
    with pytest.raises(PdfError, match=REFUSED):
        render(with_picture(DRAWN.format(inner.format(secret))))


@pytest.mark.parametrize(
    "picture",
    [
        DRAWN.format('<foreignObject width="9" height="9"><img src="{0}"/><iframe src="{0}"/></foreignObject>'),
        DRAWN.format('<rect width="9" height="9" fill="url({0}#a)"/>'),
        DRAWN.format('<use href="{0}#a"/><use xlink:href="{0}#a"/>'),
        DRAWN.format('<script href="{0}"/><a href="{0}"><path d="M1 1H8"/></a>'),
        '<!DOCTYPE svg [<!ENTITY x SYSTEM "{0}">]>' + DRAWN.replace("{0}", "<text>&x;</text>"),
        '<!DOCTYPE svg [<!ENTITY % x SYSTEM "{0}"> %x;]>' + DRAWN.replace("{0}", "<text>y</text>"),
        '<!DOCTYPE svg SYSTEM "{0}">' + DRAWN.replace("{0}", "<text>y</text>"),
        '<?xml-stylesheet href="{0}" type="text/css"?>' + DRAWN.replace("{0}", "<text>y</text>"),
    ],
)
def test_what_a_picture_may_name_beside_pictures_is_not_opened(picture: str, secret: str) -> None:
    """Foreign content, paint, script, links, entities (XML 1.0, 4.2.2), and what stands before the root."""
    path = secret.removeprefix("file://")
    opened: list[str] = []

    def told(event: str, arguments: tuple[object, ...]) -> None:
        if event == "open" and watching:
            opened.append(str(arguments[0]))

    watching = True
    sys.addaudithook(told)
    with mock.patch("socket.socket.connect", side_effect=AssertionError("the network was used")):
        try:
            render(with_picture(picture.replace("{0}", secret)))
        except PdfError as error:
            assert re.search(REFUSED, str(error))
    watching = False
    assert path not in opened and secret not in opened


@pytest.mark.parametrize("reach", ['<link rel="attachment" href="{0}">', '<link rel="icon" href="{0}">'])
def test_a_link_takes_no_file_along(reach: str, secret: str) -> None:
    with mock.patch.object(HandedIn, "fetch", side_effect=AssertionError("something was fetched")):
        made = render(document(reach.format(secret)))
    assert not pypdf.PdfReader(io.BytesIO(made)).attachments


def test_no_server_is_asked_that_could_send_it_elsewhere(secret: str) -> None:
    """A server that would lead on to a file is not even asked."""
    asked: list[str] = []

    class Leading(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(302)
            self.send_header("Location", secret)
            self.end_headers()

        def log_message(self, *_arguments: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Leading) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        address = f"http://127.0.0.1:{server.server_port}/x.svg"
        for reach in REACHES:
            with pytest.raises(PdfError, match=REFUSED):
                render(document(reach.format(address)))
        server.shutdown()
    assert asked == []


def test_the_same_input_gives_the_same_bytes() -> None:
    made = document('<img src="asset:mark.svg" alt="x"><table><tr><th>a</th><td>ΩµΣ</td></tr></table>')
    assert render(made) == render(made)


def test_another_date_gives_other_bytes() -> None:
    assert render(document()) != render(document(made_at=DAY + dt.timedelta(seconds=1)))


def test_a_date_without_a_zone_is_refused() -> None:
    with pytest.raises(PdfError, match="time zone"):
        render(document(made_at=DAY.replace(tzinfo=None)))


def test_it_is_tagged_and_says_its_language_title_and_date() -> None:
    reader = pypdf.PdfReader(io.BytesIO(render(document("<table><tr><th>a</th><td>b</td></tr></table>"))))
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    assert reader.metadata is not None
    assert reader.metadata.title == "A sheet"
    assert reader.metadata.creation_date == DAY


@pytest.mark.parametrize("paper, size", [(PageSize.A4, (595.28, 841.89)), (PageSize.LETTER, (612, 792))])
def test_paper(paper: PageSize, size: tuple[float, float]) -> None:
    """ISO 216 A4: 210 mm x 297 mm; ANSI/ASME Y14.1 A: 8.5 in x 11 in; 72 points an inch."""
    box = pypdf.PdfReader(io.BytesIO(render(document(paper=paper)))).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)


NO_FONTS = """<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd">
<fontconfig><dir>{0}/none</dir><cachedir>{0}/cache</cachedir></fontconfig>"""
IN_A_PROCESS = """
import warnings
warnings.simplefilter("ignore")
import datetime as dt
from reports.pdf import Document, PdfError, render
html = "<html lang='en'><head><title>x</title></head><body>x</body></html>"
try:
    render(Document(html, "", dt.datetime.now(dt.UTC)))
except PdfError as error:
    print(error)
"""


def test_a_server_without_fonts_refuses_and_lives(tmp_path: Path) -> None:
    """In a process of its own: without the refusal, the writer's libraries end the process."""
    settings = tmp_path / "fonts.conf"
    settings.write_text(NO_FONTS.format(tmp_path))
    done = subprocess.run(
        [sys.executable, "-c", IN_A_PROCESS],
        env=os.environ | {"FONTCONFIG_FILE": str(settings)},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout.split(":")[0]) == (0, "No font is installed on this server"), done.stderr
