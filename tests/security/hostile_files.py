"""Files as somebody sends them who means harm, each with what it tries. All are made here; none does anything."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Callable

import pikepdf
from PIL import Image

SCRIPT = b"<script>alert(document.cookie)</script>"
ENTITY = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha">'
    + b"".join(
        b'<!ENTITY a%d "%s">' % (n, b"&a%s;" % (str(n - 1).encode() if n > 1 else b"") * 10) for n in range(1, 9)
    )
    + b"]>"
)


def png(width: int = 3, height: int = 2) -> bytes:
    target = io.BytesIO()
    Image.new("RGB", (width, height), "teal").save(target, "PNG")
    return target.getvalue()


def png_that_claims(width: int, height: int) -> bytes:
    """A picture of a few bytes whose head claims very many points."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = [(b"IHDR", head), (b"IDAT", zlib.compress(b"\0" * 100)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks
    )


def pdf(change: Callable[[pikepdf.Pdf], object] = lambda document: None, **options: object) -> bytes:
    document, target = pikepdf.new(), io.BytesIO()
    document.add_blank_page(page_size=(200, 200))
    change(document)
    document.save(target, **options)  # type: ignore[arg-type]
    return target.getvalue()


def with_script(document: pikepdf.Pdf) -> None:
    """A program that a viewer would run when it opens the file."""
    script = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")
    document.Root.OpenAction = document.make_indirect(script)


ZEROS = b"zeros"
"""Stands for 200 MB of nothing, which are never in memory at once while the file is made."""
MEGABYTES = 200


def archive(members: dict[str, bytes], packed: int = zipfile.ZIP_DEFLATED) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", packed) as file:
        for name, content in members.items():
            with file.open(name, "w") as member:
                for piece in [bytes(1_000_000)] * MEGABYTES if content is ZEROS else [content]:
                    member.write(piece)
    return target.getvalue()


def workbook(sheet: bytes, **more: bytes) -> bytes:
    """An XLSX file whose only sheet is this XML."""
    types = (
        b'<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        b'<Default Extension="xml" ContentType="application/xml"/></Types>'
    )
    relations = (
        b'<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        b'<Relationship Id="r1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument"'
        b" "
        b'Target="xl/workbook.xml"/></Relationships>'
    )
    return archive({"[Content_Types].xml": types, "_rels/.rels": relations, "xl/worksheets/sheet1.xml": sheet, **more})


ATTACHED_REFUSED = {
    "a page that calls itself a PDF": ("certificate.pdf", b"<!doctype html>" + SCRIPT),
    "a drawing with a script": ("plate.png", b"<svg xmlns='http://www.w3.org/2000/svg'>" + SCRIPT + b"</svg>"),
    "a Windows program": ("certificate.pdf", b"MZ\x90\0" + b"\0" * 200),
    "a Linux program": ("plate.jpg", b"\x7fELF\x02\x01\x01" + b"\0" * 200),
    "a shell script": ("plate.png", b"#!/bin/sh\nrm -rf /\n"),
    "an empty file": ("plate.png", b""),
    "a picture of another kind that is a script as well": ("plate.png", b"GIF89a=1;alert(1)//" + b"\0" * 50),
    "a picture that claims ten thousand million points": ("plate.png", png_that_claims(100_000, 100_000)),
    "a picture that claims sixty million points and one row": ("plate.png", png_that_claims(10_000, 6_001)),
    "a picture that is cut off": ("plate.png", png()[:40]),
    "a picture with a false sum": ("plate.png", png().replace(b"IDAT", b"IDAX")),
    "the head of a picture and a page": ("plate.webp", b"RIFF\x10\0\0\0WEBP" + SCRIPT),
    "a PDF of one line": ("certificate.pdf", b"%PDF-1.7\n" + SCRIPT),
    "a PDF with a password": (
        "certificate.pdf",
        pdf(encryption=pikepdf.Encryption(owner="owner", user="secret")),
    ),
    "an archive that unpacks to 200 MB": ("plate.png", archive({"a": ZEROS})),
    "a serialised object": ("plate.png", b"\x80\x04\x95\x1e\0\0\0\0\0\0\0\x8c\x05posix\x94\x8c\x06system\x94\x93\x94."),
}
"""What the door of attached files turns away."""

ATTACHED_TAMED = {
    "a name that leads elsewhere": ("../../../etc/cron.d/plate.png", png()),
    "a name with a header in it": ("plate.png\r\nSet-Cookie: sessionid=mine\r\n\r\n<script>", png()),
    "a name that reads backwards": ("plate\u202egnp.exe", png()),
    "a name with a second ending": ("plate.png.php", png()),
    "a name of 3,000 signs": ("x" * 3_000 + ".png", png()),
    "a name of signs that mean something": ('";<img src=x onerror=alert(1)>|`id`.png', png()),
    "a picture with a page behind it": ("plate.png", png() + SCRIPT),
    "a PDF with a program": ("certificate.pdf", pdf(with_script)),
}
"""What it takes, and keeps from doing anything."""

TABLES = {
    "a workbook that unpacks to 200 MB": workbook(ZEROS),
    "a workbook that reads a file": workbook(ENTITY + b"<worksheet><v>&e;</v></worksheet>"),
    "a workbook that grows when it is read": workbook(LAUGHS + b"<worksheet><v>&a8;</v></worksheet>"),
    "a workbook with a name that leads elsewhere": workbook(b"<worksheet/>", **{"../../outside": b"x"}),
    "a workbook of 5,000 parts": archive({f"xl/{n}": b"" for n in range(5_000)}),
    "a table of one line of 5 MB": b"name,maker\n" + b"x" * 5_000_000,
    "a table of no text": bytes(range(256)) * 40,
    "an archive in an archive": archive({"inner.zip": archive({"a": b"\0" * 1_000_000})}),
}
"""What the door of tables turns away."""

NAMEPLATES = {
    "a nameplate that reads a file": ENTITY + b"<environment>&e;</environment>",
    "a nameplate that grows when it is read": LAUGHS + b"<environment>&a8;</environment>",
    "a nameplate 100,000 levels deep": b"[" * 100_000,
    "a nameplate in an archive with a name that leads elsewhere": archive({"../aasx/x.xml": b"<x/>"}),
    "a nameplate in an archive that unpacks to 200 MB": archive({"aasx/x.xml": ZEROS}),
}
"""What the door of nameplate files turns away."""
