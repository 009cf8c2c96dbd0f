"""A production site of its own in a temporary folder: gunicorn on a socket, nginx with deploy/proxy.conf in front."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import secrets
import shutil
import socket
import ssl
import subprocess
import sys
import time
import warnings
from pathlib import Path
from types import TracebackType
from typing import Any

from deploy.operations.alive import SocketConnection

ROOT = Path(__file__).resolve().parents[3]
HOST = "unlit.example.org"
PATIENCE_S = 90
Answer = tuple[int, dict[str, str], str]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Proxied:
    def __init__(self, folder: Path) -> None:
        self.folder, self.plain_port, self.tls_port = folder, free_port(), free_port()
        self.counts_port = free_port()
        # A path of a socket may have 107 bytes.
        self.socket = Path(f"{os.environ.get('TMPDIR', '/tmp')}/unlit-{secrets.token_hex(6)}.sock")
        self.processes: list[subprocess.Popen[bytes]] = []
        self.environment = {
            "PATH": os.environ.get("PATH", ""),
            "UNLIT_MODE": "production",
            "SECRET_KEY": secrets.token_urlsafe(60),
            "SITE_URL": f"https://{HOST}",
            "ALLOWED_HOSTS": HOST,
            "DATABASE_URL": f"sqlite:///{folder / 'unlit.sqlite3'}",
            "BIND": f"unix:{self.socket}",
            "WEB_CONCURRENCY": "2",
        }

    def __enter__(self) -> Proxied:
        try:
            self.start()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> None:
        for command in (("migrate", "-v0"), ("collectstatic", "--no-input", "-v0", "--ignore", "redoc")):
            done = subprocess.run(
                [sys.executable, "manage.py", *command], cwd=ROOT, env=self.environment, capture_output=True, text=True
            )
            assert done.returncode == 0, done.stderr
        certificate = ["-out", str(self.folder / "fullchain.pem"), "-keyout", str(self.folder / "privkey.pem")]
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
             "-days", "2", "-subj", f"/CN={HOST}", "-addext", f"subjectAltName=DNS:{HOST}", *certificate],
            check=True, capture_output=True,
        )  # fmt: skip
        self.log = self.folder / "site.log"
        gunicorn = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", "deploy.wsgi"]
        with open(self.log, "wb") as log:
            self.processes.append(subprocess.Popen(gunicorn, cwd=ROOT, env=self.environment, stdout=log, stderr=log))
        (self.folder / "nginx.conf").write_text(self.nginx_conf())
        nginx = shutil.which("nginx") or "/usr/sbin/nginx"
        command = [
            nginx,
            "-e",
            str(self.folder / "error.log"),
            "-p",
            str(self.folder),
            "-c",
            str(self.folder / "nginx.conf"),
        ]
        tried = subprocess.run([*command, "-t"], capture_output=True, text=True)
        assert tried.returncode == 0, tried.stderr
        self.processes.append(subprocess.Popen([*command, "-g", "daemon off;"], stderr=subprocess.DEVNULL))
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            found = self.get("/livez")
            if found and found[0] == 200:
                return
            time.sleep(0.3)
        raise AssertionError(self.log.read_text()[-3000:])

    def nginx_conf(self) -> str:
        """deploy/proxy.conf with the places and ports of this site; nothing else of it is changed."""
        text = (ROOT / "deploy" / "proxy.conf").read_text()
        text = text.replace("/run/unlit/web.sock", str(self.socket)).replace("/etc/unlit/tls", str(self.folder))
        text = re.sub(r"\n    listen \[::\].*", "", text)
        text = text.replace("listen 80", f"listen 127.0.0.1:{self.plain_port}")
        text = text.replace("listen 443", f"listen 127.0.0.1:{self.tls_port}")
        text = text.replace("listen 127.0.0.1:9180", f"listen 127.0.0.1:{self.counts_port}")
        temporary = "".join(
            f"{name}_temp_path {self.folder / name};" for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        user = "user root;" if os.geteuid() == 0 else ""
        return (
            f"{user} pid {self.folder / 'nginx.pid'}; events {{}} "
            f"http {{ access_log off; {temporary} include /etc/nginx/mime.types; {text} }}"
        )

    def stop(self) -> None:
        for process in reversed(self.processes):
            process.terminate()
        for process in self.processes:
            process.wait(60)
        self.socket.unlink(missing_ok=True)

    def shake_hands(self, version: ssl.TLSVersion, ciphers: str) -> str:
        """The cipher that the proxy takes of those that are offered in one version; raises OSError where it takes
        none."""
        context = ssl.create_default_context(cafile=str(self.folder / "fullchain.pem"))
        with warnings.catch_warnings():
            # Old versions are offered to see that they are not taken.
            warnings.simplefilter("ignore", DeprecationWarning)
            context.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
            context.maximum_version = context.minimum_version = version
        context.set_ciphers(ciphers)
        with (
            socket.create_connection(("127.0.0.1", self.tls_port), 30) as plain,
            context.wrap_socket(plain, server_hostname=HOST) as safe,
        ):
            return str((safe.cipher() or ("",))[0])

    def raw(self, request: bytes) -> bytes:
        """The first line of what is answered to bytes that no library would send."""
        context = ssl.create_default_context(cafile=str(self.folder / "fullchain.pem"))
        with (
            socket.create_connection(("127.0.0.1", self.tls_port), 30) as plain,
            context.wrap_socket(plain, server_hostname=HOST) as safe,
        ):
            safe.sendall(request)
            return safe.recv(500).split(b"\r\n")[0]

    def connect(self, tls: bool, host: str) -> http.client.HTTPConnection:
        if not tls:
            return http.client.HTTPConnection("127.0.0.1", self.plain_port, timeout=30)
        context = ssl.create_default_context(cafile=str(self.folder / "fullchain.pem"))
        connection = http.client.HTTPSConnection(host, self.tls_port, timeout=30, context=context)
        # The name goes into the handshake, the connection to this machine.
        connection._create_connection = lambda address, *rest: socket.create_connection(  # type: ignore[attr-defined]
            ("127.0.0.1", self.tls_port), 30
        )
        return connection

    def ask(self, method: str, path: str, body: bytes | None, tls: bool, host: str, headers: dict[str, str]) -> Any:
        connection = self.connect(tls, host)
        try:
            connection.request(method, path, body, {"Host": host} | headers)
            answer = connection.getresponse()
            names = {name.lower(): value for name, value in answer.getheaders()}
            return answer.status, names, answer.read().decode(errors="replace")
        except (OSError, http.client.HTTPException):
            return None
        finally:
            connection.close()

    def get(self, path: str, *, tls: bool = True, host: str = HOST, **headers: str) -> Any:
        """Status, headers and text; None where nothing was answered."""
        return self.ask("GET", path, None, tls, host, headers)

    def post(self, path: str, body: bytes, kind: str = "application/x-www-form-urlencoded") -> Any:
        return self.ask("POST", path, body, True, HOST, {"Content-Type": kind})

    def counts(self, path: str) -> tuple[int, str]:
        """What the proxy tells programs of this machine."""
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self.counts_port, timeout=30)) as connection:
            connection.request("GET", path)
            with connection.getresponse() as answer:
                return answer.status, answer.read().decode()

    def end_site(self) -> None:
        """Gunicorn ends; the proxy stays."""
        self.processes[0].terminate()
        self.processes[0].wait(60)

    def by_socket(self, path: str) -> str:
        """What the site answers without the proxy, as somebody from this machine."""
        with contextlib.closing(SocketConnection(str(self.socket))) as connection:
            connection.request("GET", path, headers={"X-Forwarded-For": "127.0.0.1"})
            with connection.getresponse() as answer:
                return answer.read().decode()

    def log_lines(self) -> list[dict[str, Any]]:
        """The lines of the site's log, each of which is JSON, those of gunicorn too."""
        return [json.loads(line) for line in self.log.read_text().splitlines()]
