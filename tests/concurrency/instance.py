"""A private instance in a temporary folder: a database of its own (SQLite, or a PostgreSQL server that is started for
it), people and loops, and the site served by gunicorn."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.architecture.files import ROOT

POSTGRES_USER = "postgres"
PATIENCE_S = 120


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class PostgresServer:
    """A server of our own, as PostgreSQL runs by default: commits wait for the disk."""

    def __init__(self, folder: Path) -> None:
        programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
        if not programs:
            raise SystemExit("No initdb in /usr/lib/postgresql: install postgresql.")
        self.programs, self.data, self.port = programs[-1].parent, folder / "data", free_port()
        self.log = folder / "postgresql.log"
        folder.chmod(0o711)
        self.data.mkdir()
        if os.geteuid() == 0:
            shutil.chown(self.data, POSTGRES_USER)
        self.run("initdb", "-D", str(self.data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8")
        self.start()

    def run(self, program: str, *arguments: str) -> None:
        user = {"user": POSTGRES_USER, "group": POSTGRES_USER, "extra_groups": []} if os.geteuid() == 0 else {}
        command = [str(self.programs / program), *arguments]
        with open(self.log, "ab") as log:
            subprocess.run(command, check=True, cwd="/", stdout=log, stderr=log, **user)  # type: ignore[call-overload]

    def start(self) -> None:
        options = f"-h 127.0.0.1 -p {self.port} -k ''"
        log = self.data / "server.log"
        self.run("pg_ctl", "-D", str(self.data), "-w", "-t", "60", "-l", str(log), "-o", options, "start")

    def stop_at_once(self) -> None:
        """As a power cut would: no checkpoint, every connection dies."""
        self.run("pg_ctl", "-D", str(self.data), "-w", "-m", "immediate", "stop")


class Instance:
    """An instance with its records; `run` has a function of tests.concurrency.deeds done in a process of its own."""

    def __init__(self, folder: Path, database: str) -> None:
        self.folder, self.port = folder, free_port()
        self.server = PostgresServer(folder) if database == "postgresql" else None
        url = f"sqlite:///{folder / 'unlit.sqlite3'}"
        if self.server:
            self.server.run("createdb", "-h", "127.0.0.1", "-p", str(self.server.port), "-U", "postgres", "unlit")
            url = f"postgresql://postgres@127.0.0.1:{self.server.port}/unlit"
        self.environment = {
            "PATH": os.environ.get("PATH", ""),
            "DATABASE_URL": url,
            "SECRET_KEY": secrets.token_urlsafe(60),
            "UNLIT_MODE": "local",
            "HTTPS": "false",
            "LOG_LEVEL": "ERROR",
            "ALLOWED_HOSTS": "127.0.0.1",
            "SITE_URL": f"http://127.0.0.1:{self.port}",
            "MEDIA_DIR": str(folder / "media"),
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "WEB_CONCURRENCY": "4",
            "BIND": f"127.0.0.1:{self.port}",
        }
        self.gunicorn: subprocess.Popen[bytes] | None = None
        self.call("manage.py", "migrate", "-v0")
        self.call("manage.py", "collectstatic", "--no-input", "-v0")

    def call(self, *arguments: str) -> None:
        subprocess.run([sys.executable, *arguments], check=True, cwd=ROOT, env=self.environment)

    def start(self, deed: str, *arguments: object) -> subprocess.Popen[str]:
        """Begin a function of tests.concurrency.deeds in a process of its own."""
        command = [sys.executable, "-m", "tests.concurrency.deeds", deed, json.dumps(arguments)]
        return subprocess.Popen(
            command, cwd=ROOT, env=self.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def run(self, deed: str, *arguments: object) -> Any:
        """Have it done and give what it answers."""
        return self.together([self.start(deed, *arguments)])[0]

    def together(self, processes: list[subprocess.Popen[str]]) -> list[Any]:
        """Let processes that have begun go on at the same moment; gives what each answers."""
        for process in processes:
            assert process.stdout is not None
            if process.stdout.readline().strip() != "ready":
                raise SystemExit("A process did not begin: see above.")
        for process in processes:
            assert process.stdin is not None
            process.stdin.write("go\n")
            process.stdin.flush()
        return [json.loads(process.communicate()[0]) for process in processes]

    def serve(self) -> None:
        command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", "deploy.wsgi"]
        with open(self.folder / "gunicorn.log", "ab") as log:
            self.gunicorn = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=log, stderr=log)
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            with socket.socket() as one:
                if one.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.2)
        raise SystemExit(f"The site does not answer: {(self.folder / 'gunicorn.log').read_text()}")

    def workers(self) -> list[int]:
        """The processes of gunicorn that serve."""
        assert self.gunicorn is not None
        children = Path(f"/proc/{self.gunicorn.pid}/task/{self.gunicorn.pid}/children").read_text()
        return [int(text) for text in children.split()]

    def kill_worker(self) -> None:
        os.kill(self.workers()[0], signal.SIGKILL)

    def end(self) -> None:
        if self.gunicorn:
            self.gunicorn.terminate()
            self.gunicorn.wait(PATIENCE_S)
        if self.server:
            self.server.stop_at_once()


@contextmanager
def instance(database: str) -> Iterator[Instance]:
    """A private instance on "sqlite" or "postgresql", taken away at the end."""
    folder = Path(tempfile.mkdtemp(prefix="unlit-"))
    # Ended from outside, it takes its servers with it.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    made: Instance | None = None
    try:
        made = Instance(folder, database)
        yield made
    finally:
        if made:
            made.end()
        shutil.rmtree(folder, ignore_errors=True)


def databases(arguments: list[str]) -> list[str]:
    """Which databases to try: those named on the command line, else both."""
    wanted = arguments or ["sqlite", "postgresql"]
    if set(wanted) - {"sqlite", "postgresql"}:
        raise SystemExit("Name sqlite, postgresql or nothing for both.")
    return wanted
