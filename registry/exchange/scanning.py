"""A virus scanner that the installation may have: clamd, over a socket.

Source: clamd(8), command INSTREAM: pieces with their length in four bytes, the highest first, an empty one at the end;
answers end with a NUL where the command begins with a z.
"""

from __future__ import annotations

import re
import socket
import struct

PATIENCE_S = 60
"""Large files take a scanner seconds."""
PIECE = 1 << 16
LONGEST_ANSWER = 4_096
FOUND = re.compile(r"stream: (.+) FOUND")


class Harmful(Exception):
    """The scanner knows this file; the text is its name for what it found."""


class NotScanned(Exception):
    """The scanner does not answer, or not with a word on the file: nobody knows."""


def scan(address: str, content: bytes) -> None:
    """Have a scanner look at some content, at `unix:/path` or `host:port`. Raises Harmful, NotScanned."""
    pieces = (content[start : start + PIECE] for start in range(0, len(content), PIECE))
    framed = b"".join(struct.pack(">I", len(piece)) + piece for piece in pieces)
    answer = ask(address, b"zINSTREAM\0" + framed + struct.pack(">I", 0))
    if found := FOUND.fullmatch(answer):
        raise Harmful(found[1])
    if answer != "stream: OK":
        raise NotScanned(answer or "it said nothing")


def version(address: str) -> str:
    """What scanner answers there. Raises NotScanned."""
    return ask(address, b"zVERSION\0")


def ask(address: str, command: bytes) -> str:
    """The answer to one command. Raises NotScanned."""
    try:
        with connected(address) as connection:
            connection.sendall(command)
            answer = b""
            while not answer.endswith(b"\0") and len(answer) < LONGEST_ANSWER:
                piece = connection.recv(LONGEST_ANSWER)
                if not piece:
                    break
                answer += piece
    except OSError as error:
        raise NotScanned(error.strerror or type(error).__name__) from error
    return answer.rstrip(b"\0").decode("utf-8", "replace").strip()


def connected(address: str) -> socket.socket:
    path = address.removeprefix("unix:")
    if path == address:
        host, _, port = address.rpartition(":")
        return socket.create_connection((host.strip("[]"), int(port)), timeout=PATIENCE_S)
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        connection.settimeout(PATIENCE_S)
        connection.connect(path)
    except BaseException:
        connection.close()
        raise
    return connection
