"""How the cost of each thing grows with the number of loops: measured at some sizes, and the exponent fitted.

    DATABASE_URL=postgresql://… .venv/bin/python -m tests.benchmarks.scale_benchmark [SIZE …]

Sizes are numbers of loops, by default 1,000, 10,000 and 100,000; as many items are in the register. At each size every
thing is done some times in this process, and the median counts. An exponent of 0 is a cost that does not grow, 1 one
that grows with the number of loops; what 1 million loops would cost follows from the last size and the exponent.
"""

from __future__ import annotations

import math
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.benchmarks import plant

NAME = "unlit_scale_benchmark"
SIZES = (1_000, 10_000, 100_000)
FAR = 1_000_000
TIMES = 15


def median_of(deed: Callable[[int], Any], times: int = TIMES) -> float:
    """Seconds; the first time is not counted."""
    taken = []
    for number in range(times + 1):
        start = time.perf_counter()
        deed(number)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken[1:])


def measure(size: int) -> dict[str, float]:
    """Seconds of each thing at a size, and bytes of the database."""
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client

    from deploy.operations.backing_up import back_up
    from loops.models import Loop
    from loops.services.loops import save_loop
    from loops.services.reverification import Basis, judged
    from registry.models import User
    from registry.selectors import record_text
    from registry.services.proofs import prove
    from registry.services.records import Author

    call_command("migrate", verbosity=0)
    plant.fill(size, size)
    designer = User.objects.get(username="designer")
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(designer)
    keys = list(Loop.objects.filter(tag__startswith="CL-").order_by("pk").values_list("pk", flat=True))
    step = max(1, len(keys) // (TIMES + 2))

    def get(path: str) -> Callable[[int], Any]:
        def ask(number: int) -> None:
            assert client.get(path.format(key=keys[number * step], number=f"{number * step:06}")).status_code == 200

        return ask

    def save(number: int) -> None:
        loop = Loop.objects.get(pk=keys[number * step])
        author = Author(designer, reason="Benchmark")
        save_loop(record_text(loop) | {"service": f"Saved {number}"}, author, loop_id=loop.pk)

    with tempfile.TemporaryDirectory() as folder:
        found = {
            "list of loops, first page": median_of(get("/loops/")),
            "list of loops, searched": median_of(get("/loops/?q=CL-{number}")),
            "list of equipment, first page": median_of(get("/equipment/")),
            "loop page": median_of(get("/loops/{key}/")),
            "save with verification": median_of(save),
            "judge 200 loops again": median_of(lambda number: list(judged(keys[:200], Basis(), compared=False)), 3),
            "backup": median_of(lambda number: back_up(Path(folder) / f"{number}.zip"), 1),
            "proof of the store": median_of(lambda number: prove(), 1),
        }
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        found["bytes of the database"] = float(cursor.fetchone()[0])
    return found


def exponent(sizes: list[int], costs: list[float]) -> float:
    """The slope of the line through the logarithms, by least squares."""
    xs, ys = [math.log(size) for size in sizes], [math.log(cost) for cost in costs]
    x, y = statistics.fmean(xs), statistics.fmean(ys)
    return sum((a - x) * (b - y) for a, b in zip(xs, ys, strict=True)) / sum((a - x) ** 2 for a in xs)


def shown(name: str, cost: float) -> str:
    if "bytes" in name:
        return f"{cost / 1e6:.0f} MB"
    return f"{cost * 1000:.1f} ms" if cost < 10 else f"{cost:.0f} s"


def main() -> None:
    sizes = [int(text) for text in sys.argv[1:]] or list(SIZES)
    if len(sizes) < 2:
        raise SystemExit("Give two sizes at least.")
    server = os.environ.get("DATABASE_URL", "")
    url = plant.own_database(NAME)
    os.environ |= {
        "DATABASE_URL": url,
        "UNLIT_MODE": "local",
        "HTTPS": "false",
        "ALLOWED_HOSTS": "127.0.0.1",
        "LOG_LEVEL": "ERROR",
        "TASKS": "database",
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
    }
    import django

    django.setup()
    from django.conf import settings
    from django.db import connections

    # Pages are asked for in this process, where nothing has collected the static files.
    settings.STORAGES = settings.STORAGES | {
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    }
    found: list[dict[str, float]] = []
    try:
        for size in sizes:
            connections.close_all()
            if size != sizes[0]:
                os.environ["DATABASE_URL"] = server
                plant.own_database(NAME)
            found.append(measure(size))
            print(
                f"{size} loops: " + ", ".join(f"{name} {shown(name, cost)}" for name, cost in found[-1].items()),
                flush=True,
            )
    finally:
        connections.close_all()
        os.environ["DATABASE_URL"] = server
        plant.drop_database(NAME, server)
    print(f"\n| what | {' | '.join(f'{size:,}' for size in sizes)} | exponent | at {FAR:,} |")
    print("|---" * (len(sizes) + 3) + "|")
    for name in found[0]:
        costs = [one[name] for one in found]
        slope = exponent(sizes, costs)
        far = costs[-1] * (FAR / sizes[-1]) ** max(slope, 0.0)
        print(f"| {name} | {' | '.join(shown(name, cost) for cost in costs)} | {slope:.2f} | {shown(name, far)} |")


if __name__ == "__main__":
    main()
