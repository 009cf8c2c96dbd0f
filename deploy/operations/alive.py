"""Whether the web server of this machine answers, for the health check of a container.

`python -m deploy.operations.alive` ends with 0 if it does.
"""

from __future__ import annotations

import http.client
import os
import socket
import sys

PATIENCE_S = 4.0
EVERYWHERE = ("0.0.0.0", "[::]", "")  # noqa: S104 # nosec B104


class SocketConnection(http.client.HTTPConnection):
    """HTTP over a socket of the file system."""

    def __init__(self, path: str) -> None:
        super().__init__("localhost", timeout=PATIENCE_S)
        self.path = path

    def connect(self) -> None:
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.sock.settimeout(PATIENCE_S)
        self.sock.connect(self.path)


def answers(bind: str) -> bool:
    """Whether what listens at an address of gunicorn (`host:port` or `unix:/path`) says that it lives."""
    if bind.startswith("unix:"):
        connection: http.client.HTTPConnection = SocketConnection(bind.removeprefix("unix:"))
    else:
        host, _, port = bind.rpartition(":")
        # Whoever listens everywhere listens here too.
        here = "127.0.0.1" if host in EVERYWHERE else host
        connection = http.client.HTTPConnection(here, int(port), timeout=PATIENCE_S)
    try:
        connection.request("GET", "/livez")
        return connection.getresponse().status == http.client.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(0 if answers(os.environ.get("BIND") or "127.0.0.1:8000") else 1)
