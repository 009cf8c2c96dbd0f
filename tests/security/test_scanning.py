"""A virus scanner looks at each file before it is kept; what it knows, and what it cannot look at, is not taken.

The scanner is a socket of the standard library that speaks as clamd(8) says (from memory).
"""

from __future__ import annotations

import socket
import socketserver
import struct
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from deploy.operations import checking
from registry.exchange.scanning import PIECE, Harmful, NotScanned, scan, version
from registry.models import Attachment
from registry.services import attachments
from registry.services.attachments import FileRefused
from tests.deploy.operations.conftest import picture

HARM = b"harmful sign"


class Scanner(socketserver.StreamRequestHandler):
    """Says OK of everything but what holds the sign; `server.says` overrides its answer."""

    def handle(self) -> None:
        server: Any = self.server
        command = b""
        while not command.endswith(b"\0"):
            command += self.rfile.read(1)
        if command == b"zVERSION\0":
            self.wfile.write(b"Scanner 1.4.3/27000\0")
            return
        assert command == b"zINSTREAM\0"
        content = b""
        while length := struct.unpack(">I", self.rfile.read(4))[0]:
            assert length <= PIECE
            content += self.rfile.read(length)
        server.seen.append(content)
        found = b"stream: Test.Sign FOUND" if HARM in content else b"stream: OK"
        self.wfile.write((found if server.says is None else server.says) + b"\0")


@pytest.fixture(params=["unix", "tcp"])
def scanner(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Any]:
    """A scanner that listens at `address`."""
    if request.param == "unix":
        server: Any = socketserver.ThreadingUnixStreamServer(str(tmp_path / "clamd.ctl"), Scanner)
        server.address = f"unix:{tmp_path / 'clamd.ctl'}"
    else:
        server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Scanner)
        server.address = f"127.0.0.1:{server.server_address[1]}"
    server.seen, server.says = [], None
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.mark.parametrize("size", [0, 1, PIECE - 1, PIECE, PIECE + 1, 3 * PIECE])
def test_all_of_a_file_is_shown_to_it(scanner: Any, size: int) -> None:
    content = bytes(number % 251 for number in range(size))
    scan(scanner.address, content)
    assert scanner.seen == [content]
    with pytest.raises(Harmful, match=r"^Test\.Sign$"):
        scan(scanner.address, content + HARM)
    assert version(scanner.address) == "Scanner 1.4.3/27000"


@pytest.mark.parametrize(
    "says", [b"", b"INSTREAM size limit exceeded. ERROR", b"stream: OK but", b"\xff", b"x" * 9_000]
)
def test_only_a_clear_word_counts(scanner: Any, says: bytes) -> None:
    scanner.says = says
    with pytest.raises(NotScanned):
        scan(scanner.address, b"content")


@pytest.mark.django_db
def test_a_file_that_the_scanner_knows_is_not_kept(scanner: Any, settings: Any, certificate: Any, people: Any) -> None:
    settings.CLAMD = scanner.address
    kept = attachments.attach("certificate", certificate.pk, people["keeper"], name="scan.png", content=picture())
    assert scanner.seen == [attachments.file_bytes(kept)]
    with pytest.raises(FileRefused, match=r"harmful in this file \(Test.Sign\)"):
        attachments.attach("certificate", certificate.pk, people["keeper"], name="x.png", content=picture() + HARM)
    assert Attachment.objects.count() == 1
    assert [(line.state, line.found) for line in checking.check_scanner()] == [("ok", "Scanner 1.4.3/27000")]


@pytest.mark.django_db
@pytest.mark.parametrize("where", ["unix:/nowhere/clamd.ctl", "127.0.0.1:1"])
def test_while_the_scanner_does_not_answer_no_file_is_kept(
    where: str, settings: Any, certificate: Any, client_as: Any
) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    settings.CLAMD = where
    file = SimpleUploadedFile("scan.png", picture())
    answer = client_as("keeper").post(f"/certificates/{certificate.pk}/files/", {"file": file}, follow=True)
    assert "does not answer" in answer.content.decode()
    assert not Attachment.objects.exists()
    assert [line.state for line in checking.check_scanner()] == ["stop"]
    settings.CLAMD = ""
    assert [line.state for line in checking.check_scanner()] == ["look"]


def test_a_scanner_that_hangs_up_is_no_word(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=lambda: server.accept()[0].close(), daemon=True).start()
        with pytest.raises(NotScanned):
            scan(f"127.0.0.1:{server.getsockname()[1]}", b"content")
