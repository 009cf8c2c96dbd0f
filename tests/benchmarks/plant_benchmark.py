"""How a plant-sized site does: lists, details, saves, API, import, judging again, memory, many people at once.

    DATABASE_URL=postgresql://… .venv/bin/python -m tests.benchmarks.plant_benchmark            # all: about an hour
    DATABASE_URL=postgresql://… .venv/bin/python -m tests.benchmarks.plant_benchmark --trial    # a minute or two

Makes a database of its own on that PostgreSQL server and drops it again (`--keep` leaves it, `--reuse` takes it as it
was left). The site is served by gunicorn with two workers as deploy/gunicorn.conf.py says. Each line of the table that
is printed at the end has what was measured beside what a plant wants; run it on a quiet machine.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.benchmarks import plant

ROOT = Path(__file__).resolve().parents[2]
NAME = "unlit_plant_benchmark"
WARM = 20
Row = tuple[str, str, str]
ROWS: list[Row] = []
TIMES = Path(tempfile.gettempdir()) / f"unlit-plant-{os.getpid()}.times"
"""How many microseconds each request took a worker, from its first byte to the last of the answer."""


def tell(what: str, wanted: str, found: str) -> None:
    ROWS.append((what, wanted, found))
    print(f"  {what}: {found} (wanted: {wanted})", flush=True)


def percentile(values: Sequence[float], share: float) -> float:
    found = sorted(values)
    return found[min(len(found) - 1, int(len(found) * share))]


# ------------------------------------------------------------------------------------------------------------- the site


@contextmanager
def serving(environment: dict[str, str]) -> Iterator[tuple[int, list[int]]]:
    """gunicorn with two workers: its port, and the numbers of its processes that serve."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    serves = {"BIND": f"127.0.0.1:{port}", "WEB_CONCURRENCY": "2", "TIMES_FILE": str(TIMES)}
    environment = os.environ | environment | serves
    command = [sys.executable, "-m", "gunicorn", "--config", "tests/benchmarks/timed_gunicorn.py"]
    server = subprocess.Popen([*command, "deploy.wsgi"], env=environment, cwd=ROOT)
    try:
        for _ in range(240):
            with socket.socket() as trial:
                if not trial.connect_ex(("127.0.0.1", port)):
                    break
            time.sleep(0.5)
        workers = Path(f"/proc/{server.pid}/task/{server.pid}/children").read_text().split()
        yield port, [int(number) for number in workers]
    finally:
        server.terminate()
        server.wait(60)
        TIMES.unlink(missing_ok=True)


class Caller:
    """Somebody who asks: keeps the connection, and who they are."""

    def __init__(self, port: int, headers: dict[str, str]) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        self.headers = headers

    def ask(self, method: str, path: str, body: Any = None, **more: str) -> tuple[int, bytes, dict[str, str]]:
        headers = self.headers | {name.replace("_", "-"): value for name, value in more.items()}
        sent = None
        if body is not None:
            sent, headers["Content-Type"] = json.dumps(body).encode(), "application/json"
        try:
            self.connection.request(method, path, sent, headers)
            answer = self.connection.getresponse()
        except (BrokenPipeError, ConnectionResetError, http.client.RemoteDisconnected):
            # The server lets go of who was silent for a while; a browser and a proxy ask once more.
            self.connection.close()
            self.connection.request(method, path, sent, headers)
            answer = self.connection.getresponse()
        content = answer.read()
        return answer.status, content, dict(answer.getheaders())

    def took(self, method: str, path: str, body: Any = None, **more: str) -> float:
        """Seconds of an answer that must be a good one."""
        start = time.perf_counter()
        status, content, _ = self.ask(method, path, body, **more)
        if status not in (200, 201):
            raise SystemExit(f"{method} {path}: {status} {content[:300]!r}")
        return time.perf_counter() - start


def cookies(name: str) -> dict[str, str]:
    """The headers of a person who is logged in."""
    from django.conf import settings
    from django.test import Client

    from registry.models import User

    client = Client()
    client.force_login(User.objects.get(username=name))
    return {"Cookie": f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"}


def token(name: str) -> dict[str, str]:
    """The headers of a program of a person."""
    from registry.models import User
    from registry.services.tokens import make_token

    _, text = make_token(User.objects.get(username=name), {"name": "Benchmark", "scope": "write", "days": "30"})
    return {"Authorization": f"Bearer {text}"}


def in_server(count: int) -> list[float]:
    """Seconds that each of the newest requests took the workers, without the way to them and back."""
    return [int(line) / 1_000_000 for line in TIMES.read_text().split()[-count:]]


# ---------------------------------------------------------------------------------------------------------- one by one


def queries(path: str) -> int:
    """How many queries a page takes, for somebody who has opened it before."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from registry.models import User

    client = Client()
    client.force_login(User.objects.get(username="designer"))
    client.get(path, headers={"host": "127.0.0.1"})
    with CaptureQueriesContext(connection) as found:
        client.get(path, headers={"host": "127.0.0.1"})
    return len(found)


def pages(port: int, keys: list[int], asked: int) -> None:
    designer, program = Caller(port, cookies("designer")), Caller(port, token("designer"))
    draw = random.Random(1)
    for name, path, wanted in (
        ("list of loops", "/loops/", 60),
        ("list of equipment", "/equipment/", 60),
        ("list of certificates", "/certificates/", 60),
    ):
        taken = [designer.took("GET", path) for _ in range(asked + WARM)][WARM:]
        tell(name, f"≤ {wanted} ms p95, ≤ 12 queries", f"{told(taken)}, {queries(path)} queries")
    taken = [designer.took("GET", f"/loops/{draw.choice(keys)}/") for _ in range(asked + WARM)][WARM:]
    tell("loop page", "≤ 30 ms p95 of the server", told(taken))
    taken = [program.took("GET", "/api/v1/loops/?limit=100") for _ in range(asked + WARM)][WARM:]
    tell("API list of 100", "≤ 50 ms p95", told(taken))


def told(taken: Sequence[float]) -> str:
    """The whole answers as who asked saw them, beside what they took the server."""
    server = percentile(in_server(len(taken)), 0.95)
    return f"{percentile(taken, 0.95) * 1000:.1f} ms p95, {server * 1000:.1f} of them in the server"


class Saver:
    """Saves its own loops in turn with another service text, by the API: read once, then each from the last answer."""

    def __init__(self, port: int, headers: dict[str, str], keys: list[int]) -> None:
        self.caller, self.keys = Caller(port, headers), keys
        self.records: dict[int, tuple[dict[str, Any], str]] = {}
        for key in keys:
            _, content, answered = self.caller.ask("GET", f"/api/v1/loops/{key}/")
            self.records[key] = json.loads(content)["record"], answered["ETag"]

    def save(self, number: int) -> float:
        key = self.keys[number % len(self.keys)]
        record, mark = self.records[key]
        body = record | {"service": f"Saved {number}", "reason": "Benchmark"}
        start = time.perf_counter()
        status, content, answered = self.caller.ask("PUT", f"/api/v1/loops/{key}/", body, If_Match=mark)
        taken = time.perf_counter() - start
        if status != 200:
            raise SystemExit(f"PUT of loop {key}: {status} {content[:300]!r}")
        self.records[key] = json.loads(content)["record"], answered["ETag"]
        return taken


def saves(port: int, keys: list[int], asked: int) -> None:
    headers = token("designer")
    one = Saver(port, headers, keys[:20])
    taken = [one.save(number) for number in range(asked + WARM)][WARM:]
    tell("save with verification, 1 client", "≤ 30 ms p50", f"{statistics.median(taken) * 1000:.1f} ms p50")
    four = [Saver(port, headers, keys[20 + n * 20 : 40 + n * 20]) for n in range(4)]
    start, found = time.perf_counter(), together([lambda one=one: [one.save(n) for n in range(asked)] for one in four])  # type: ignore[misc]
    rate = sum(map(len, found)) / (time.perf_counter() - start)
    tell("saves with verification, 4 clients", "≥ 60 /s", f"{rate:.0f} /s")


def together(deeds: Sequence[Callable[[], Any]]) -> list[Any]:
    """Do some things at the same time."""
    answers: list[Any] = [None] * len(deeds)

    def run(number: int) -> None:
        answers[number] = deeds[number]()

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(deeds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if None in answers:
        raise SystemExit("One of several at once did not come to its end.")
    return answers


def imports(rows: int) -> None:
    from registry.exchange.csv_xlsx import table, write_csv
    from registry.models import Certificate, Origin, User
    from registry.services.imports import import_file
    from registry.services.records import Author
    from tests.benchmarks.import_benchmark import texts

    paper = Certificate.objects.filter(scheme="ATEX").order_by("pk")[0]
    lines = [row | {"certificate": f"{paper.number} issue {paper.issue}"} for row in texts(rows, "Plant")]
    content = write_csv(table(list(lines[0]), [list(row.values()) for row in lines]))
    start = time.perf_counter()
    report = import_file(content, Author(User.objects.get(username="keeper"), Origin.IMPORT, "Benchmark"), commit=True)
    taken = time.perf_counter() - start
    if report.faults:
        raise SystemExit(f"The import has faults: {report.faults[0]}")
    tell(f"import of {rows} rows", "≥ 1,000 rows/s", f"{rows / taken:.0f} rows/s")


# -------------------------------------------------------------------------------------------------------- judging again


def judging_again(count: int) -> None:
    """Read, judge and store loops by rules of another number, beside what a spreadsheet takes for as many rows."""
    from unittest import mock

    from loops.services.reverification import reverify, to_judge

    with (
        mock.patch("loops.casefile.RULES_VERSION", "next"),
        mock.patch("loops.services.reverification.RULES_VERSION", "next"),
    ):
        loops = to_judge()[:count]
        start = time.perf_counter()
        run = reverify(loops, store=True, step=lambda done: None, processes=os.cpu_count() or 1)
        taken = time.perf_counter() - start
    sheet = spreadsheet(count)
    beside = f"; LibreOffice recalculates {count} rows in {sheet:.1f} s" if sheet else "; no soffice on this machine"
    tell(
        f"judge {run.stored} loops again",
        "≥ 6,000 loops/s",
        f"{run.stored / taken:.0f} loops/s ({taken:.1f} s, {os.cpu_count()} processes){beside}",
    )


def spreadsheet(count: int) -> float:
    """Seconds in which LibreOffice opens and recalculates a workbook that compares voltage, current, power, C and L in
    each of so many rows, and writes it again; 0 where it is not installed."""
    program = shutil.which("soffice") or shutil.which("libreoffice")
    if not program:
        return 0.0
    import xlsxwriter

    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "loops.xlsx"
        book = xlsxwriter.Workbook(str(place))
        page = book.add_worksheet()
        for row in range(count):
            page.write_row(
                row, 0, [28, 0.093, 0.65, 83e-9, 4.2e-3, 30, 0.1, 1, 5e-9, 1e-5, 300 + row % 500, 110e-12, 6.5e-7]
            )
            n = row + 1
            for column, formula in enumerate(
                (f"=A{n}<=F{n}", f"=B{n}<=G{n}", f"=C{n}<=H{n}", f"=I{n}+K{n}*L{n}<=D{n}", f"=J{n}+K{n}*M{n}<=E{n}")
            ):
                page.write_formula(row, 13 + column, formula)
            page.write_formula(row, 18, f'=IF(AND(N{n}:R{n}),"complies","fails")')
        book.close()
        profile = f"-env:UserInstallation=file://{folder}/profile"
        command = [program, profile, "--headless", "--convert-to", "ods", "--outdir", folder, str(place)]
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True, timeout=900)
        return time.perf_counter() - start


# ------------------------------------------------------------------------------------------------------ memory and load


def memory_bytes(processes: Sequence[int]) -> list[int]:
    """What each process holds in memory, its part of what it shares with others counted once (Linux, PSS)."""
    found = []
    for process in processes:
        text = Path(f"/proc/{process}/smaps_rollup").read_text()
        found.append(sum(int(line.split()[1]) for line in text.splitlines() if line.startswith("Pss:")) * 1024)
    return found


def load(port: int, workers: list[int], keys: list[int], users: int, minutes: float) -> None:
    """People who look, search, open and save, with a second or two between."""
    headers, program = cookies("designer"), token("designer")
    errors: list[str] = []
    answers = 0
    taken: list[float] = []
    lock = threading.Lock()
    end = time.monotonic() + minutes * 60
    held: list[tuple[float, int]] = []

    def person(number: int) -> bool:
        nonlocal answers
        draw = random.Random(number)
        mine = keys[100 + number * 10 : 110 + number * 10]
        saver, caller = Saver(port, program, mine), Caller(port, headers)
        count = 0
        while time.monotonic() < end:
            paths = (
                "/loops/",
                f"/loops/?q={draw.randint(0, 99):02}",
                "/equipment/",
                "/",
                f"/loops/{draw.choice(keys)}/",
            )
            try:
                if draw.random() < 0.15:
                    spent = saver.save(count)
                else:
                    start = time.perf_counter()
                    status, _, _ = caller.ask("GET", draw.choice(paths))
                    spent = time.perf_counter() - start
                    if status != 200:
                        raise SystemExit(f"status {status}")
            except (SystemExit, OSError, http.client.HTTPException) as error:
                with lock:
                    errors.append(str(error))
                caller, saver = Caller(port, headers), Saver(port, program, mine)
                continue
            count += 1
            with lock:
                answers += 1
                taken.append(spent)
            time.sleep(draw.uniform(0.5, 2.0))
        return True

    def watch() -> bool:
        while time.monotonic() < end:
            held.append((time.monotonic(), sum(memory_bytes(workers))))
            time.sleep(2)
        return True

    together([watch, *[lambda number=number: person(number) for number in range(users)]])  # type: ignore[misc]
    third = held[0][0] + minutes * 60 / 3
    early = statistics.median(size for moment, size in held if moment <= third)
    late = statistics.median(size for _, size in held[-max(3, len(held) // 10) :])
    tell(
        f"{users} users for {minutes:g} minutes",
        "0 errors, < 5 % memory growth after the first third",
        f"{len(errors)} errors in {answers} answers, {percentile(taken, 0.95) * 1000:.0f} ms p95, "
        f"{100 * (late / early - 1):+.1f} % memory",
    )
    for error in errors[:5]:
        print(f"    {error}")
    sizes = memory_bytes(workers)
    tell("memory of a worker", "≤ 140 MiB", f"{max(sizes) / 2**20:.0f} MiB")


# ---------------------------------------------------------------------------------------------------------------- main


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trial", action="store_true", help="everything small: whether it runs, not how fast")
    parser.add_argument("--items", type=int, default=100_000)
    parser.add_argument("--loops", type=int, default=20_000)
    parser.add_argument("--asked", type=int, default=200, help="how often each page is asked for")
    parser.add_argument("--rows", type=int, default=5_000, help="of the import")
    parser.add_argument("--judge", type=int, default=10_000, help="loops that are judged again")
    parser.add_argument("--users", type=int, default=30)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--keep", action="store_true", help="leave the database")
    parser.add_argument("--reuse", action="store_true", help="take the database that was left")
    chosen = parser.parse_args()
    if chosen.trial:
        chosen.items, chosen.loops, chosen.asked, chosen.rows, chosen.judge = 1_500, 400, 20, 200, 200
        chosen.users, chosen.minutes = 4, 0.3
    return chosen


def main() -> None:
    chosen = options()
    server = os.environ.get("DATABASE_URL", "")
    folder = tempfile.mkdtemp(prefix="unlit-plant-")
    url = f"{server.rpartition('/')[0]}/{NAME}" if chosen.reuse else plant.own_database(NAME)
    environment = {
        "DATABASE_URL": url,
        "DATABASE_POOL": "1-4",
        "UNLIT_MODE": "local",
        "HTTPS": "false",
        "ALLOWED_HOSTS": "127.0.0.1",
        "SITE_URL": "http://127.0.0.1",
        "MEDIA_DIR": folder,
        "LOG_LEVEL": "ERROR",
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
    }
    os.environ |= environment
    import django

    django.setup()
    from django.core.management import call_command

    from loops.models import Loop
    from registry.models import Equipment

    try:
        if not chosen.reuse:
            call_command("migrate", verbosity=0)
            plant.fill(chosen.items, chosen.loops)
        call_command("collectstatic", interactive=False, verbosity=0, ignore_patterns=["redoc"])
        print(f"{Equipment.objects.count()} items, {Loop.objects.count()} loops, PostgreSQL, gunicorn with 2 workers")
        keys = list(Loop.objects.filter(tag__startswith="CL-").order_by("pk").values_list("pk", flat=True))
        with serving(environment) as (port, workers):
            pages(port, keys, chosen.asked)
            saves(port, keys, chosen.asked)
            imports(chosen.rows)
            judging_again(chosen.judge)
            load(port, workers, keys, chosen.users, chosen.minutes)
        print("\n| what | wanted | measured |\n|---|---|---|")
        for row in ROWS:
            print(f"| {' | '.join(row)} |")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        django.db.connections.close_all()
        if not chosen.keep:
            plant.drop_database(NAME, server)


if __name__ == "__main__":
    main()
