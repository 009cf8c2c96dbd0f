"""How long a designer waits: the loop page, lists, the live verdict, the picker and the search, as gunicorn serves them
with two workers.

    UNLIT_MODE=local DATABASE_URL=postgresql://… manage.py migrate, then manage.py demo --size large, once
    UNLIT_MODE=local DATABASE_URL=postgresql://… .venv/bin/python -m tests.benchmarks.desk_benchmark [requests]

Starts the server itself on a free port over the plant in DATABASE_URL and asks for loops that a seed chooses. Beside
the time as the clock tells it, one request at a time, stands how long the processors worked for one in the workers and
in PostgreSQL where it runs on this machine: where the machine has other work, the rest is waiting for it.
"""

from __future__ import annotations

import http.client
import os
import random
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from tests.loops.pages import FormReader

USER, PASSWORD = "designer", "unlit-demo-2026"
LIMITS = {"loop page": 30, "list": 60, "live verdict": 25, "search": 100}
"""Milliseconds at the 95th percentile that a desk should keep, on a quiet machine."""
SETTINGS = "deploy.settings"


@contextmanager
def serving() -> Iterator[tuple[int, int]]:
    """A server with two workers: its port and the number of its process."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    environment = os.environ | {"BIND": f"127.0.0.1:{port}", "WEB_CONCURRENCY": "2"}
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", "--log-level", "warning"]
    server = subprocess.Popen([*command, "deploy.wsgi"], env=environment)
    try:
        for _ in range(120):
            with socket.socket() as trial:
                if not trial.connect_ex(("127.0.0.1", port)):
                    break
            time.sleep(0.5)
        yield port, server.pid
    finally:
        server.terminate()
        server.wait(30)


class Visitor:
    """Somebody at a browser: keeps cookies and the connection."""

    def __init__(self, port: int) -> None:
        self.host = f"127.0.0.1:{port}"
        self.connection = http.client.HTTPConnection(self.host, timeout=60)
        self.cookies: dict[str, str] = {}

    def ask(self, path: str, sent: dict[str, str] | None = None, live: bool = False) -> tuple[int, str]:
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        body = None
        if sent is not None:
            body = urlencode(sent | {"csrfmiddlewaretoken": self.cookies.get("csrftoken", "")})
            headers |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"http://{self.host}"}
        if live:
            headers["HX-Request"] = "true"
        self.connection.request("GET" if sent is None else "POST", path, body, headers)
        answer = self.connection.getresponse()
        text = answer.read().decode()
        for cookie in answer.headers.get_all("Set-Cookie") or []:
            name, _, value = cookie.partition(";")[0].partition("=")
            self.cookies[name] = value
        return answer.status, text


def worked(numbers: Sequence[int]) -> float:
    """How many seconds the processors have worked for some processes."""
    total = 0
    for number in numbers:
        try:
            fields = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        total += int(fields[11]) + int(fields[12])
    return total / os.sysconf("SC_CLK_TCK")


def workers_of(server: int) -> list[int]:
    found = Path(f"/proc/{server}/task/{server}/children").read_text().split()
    return [int(number) for number in found]


def backends() -> list[int]:
    """The processes of PostgreSQL that serve this database."""
    from django.db import connection

    if connection.vendor != "postgresql":
        return []
    with connection.cursor() as cursor:
        cursor.execute("SELECT pid FROM pg_stat_activity WHERE datname = current_database()")
        return [number for (number,) in cursor.fetchall()]


def measured(title: str, server: int, count: int, once: Callable[[int], tuple[int, str]]) -> None:
    """Ask a number of times, one at a time, and tell the median, the 95th percentile, and the work of one request."""
    for number in range(5):
        assert once(number)[0] == 200, title
    here, there = workers_of(server), backends()
    before, before_there, taken, size = worked(here), worked(there), [], 0
    for number in range(count):
        start = time.perf_counter()
        status, text = once(number)
        taken.append(time.perf_counter() - start)
        assert status == 200, (title, status)
        size = max(size, len(text))
    taken.sort()
    numbers = (taken[count // 2], taken[int(count * 0.95)], (worked(here) - before) / count)
    numbers += ((worked(there) - before_there) / count,)
    limit = next((str(most) for name, most in LIMITS.items() if title.startswith(name)), "")
    print(f"  {title:<34}" + "".join(f"{one * 1000:9.1f}" for one in numbers) + f"{limit:>8}{size:9}", flush=True)


def measure(count: int) -> None:
    from django.db import connection

    from loops.models import Loop
    from registry.models import Equipment, User

    print(f"{Loop.objects.count()} loops, {Equipment.objects.count()} items, {connection.vendor}, two workers")
    print("milliseconds: median, 95th percentile, work of a worker, of the database; limit; bytes")
    designer = User.objects.get(username=USER)
    drafts = Loop.objects.filter(site__memberships__user=designer, site__memberships__role="designer", state="draft")
    found = list(drafts.order_by("pk").values_list("pk", "tag"))
    keys = random.Random(1).sample(found, min(200, len(found)))
    with serving() as (port, server):
        somebody = Visitor(port)
        somebody.ask("/login/")
        status, _ = somebody.ask("/login/", {"login": USER, "password": PASSWORD})
        assert status == 302, "The demo's designer cannot log in."

        def of(template: str) -> Callable[[int], tuple[int, str]]:
            return lambda number: somebody.ask(template.format(*keys[number % len(keys)]))

        measured("loop page", server, count, of("/loops/{0}/"))
        measured("editor", server, count, of("/loops/{0}/edit/"))
        forms = [form(somebody, key) for key, _ in keys[:20]]
        measured("live verdict", server, count, lambda number: judged(somebody, forms[number % len(forms)]))
        for name, path in LISTS.items():
            measured(name, server, max(20, count // 4), of(path))


LISTS = {
    "list of loops": "/loops/",
    "list of loops, failing": "/loops/?verdict=does_not_comply",
    "list of loops, by margin": "/loops/?sort=margin",
    "list of loops, text": "/loops/?q=pressure",
    "list of equipment": "/equipment/",
    "search, a tag that many share": "/search/?q=PT-",
    "search, a type": "/search/?q=TI-AI",
    "search, nothing": "/search/?q=zzzqx",
    "picker, a value": "/loops/pick/source/?q=25.2+V",
    "picker, a part of a type": "/loops/pick/device/?q=QP-3",
    "home": "/",
    "overview": "/overview/",
}


def form(somebody: Visitor, key: int) -> tuple[str, dict[str, str]]:
    """Where the editor of a loop sends its form, and all of it."""
    path = f"/loops/{key}/edit/"
    reader = FormReader("loop-form")
    reader.feed(somebody.ask(path)[1])
    assert reader.sent
    return path, reader.sent | {"_preview": "live"}


def judged(somebody: Visitor, sent: tuple[str, dict[str, str]]) -> tuple[int, str]:
    status, text = somebody.ask(sent[0], sent[1], live=True)
    assert "NOT SAVED" in text and "<html" not in text
    return status, text


def main() -> Any:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", SETTINGS)
    import django

    django.setup()
    measure(int(sys.argv[1]) if len(sys.argv) > 1 else 200)


if __name__ == "__main__":
    main()
