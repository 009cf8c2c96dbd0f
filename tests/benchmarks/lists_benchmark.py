"""How long the server takes for a page of a list of many records: plain, filtered, sorted, its last page, searched.

    .venv/bin/python -m tests.benchmarks.lists_benchmark [records]

Fills a test database of its own (that of DATABASE_URL, else SQLite in memory) with bare rows of equipment, each with
one set of terminals and one permitted row, of certificates, and of loops that use some of them, and asks for each page
a number of times. Beside the time as the clock tells it stands how long the processors worked for a page, here and in
PostgreSQL where it runs on this machine (Linux tells): where the machine has other work, the rest is waiting for it.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")

ASKED = 25
MAKERS = 40
LOOPS = 10_000
USED = 2_000
"""The loops share so many items."""

LISTS = {
    "/equipment/": {
        "plain": {},
        "page in the middle": {"page": "{middle}"},
        "last page": {"page": "{last}"},
        "sorted by type": {"sort": "type"},
        "sorted by kind, last page": {"sort": "-kind", "page": "{last}"},
        "sorted by loops": {"sort": "-loops"},
        "sorted by loops, last page": {"sort": "-loops", "page": "{last}"},
        "in no loop": {"use": "no"},
        "text": {"q": "type-0012"},
        "text that many hold": {"q": "maker"},
        "text that none holds": {"q": "nowhere"},
        "maker and level": {"maker": "Maker 07", "level": "ia"},
        "Uo and Co for IIC": {"quantity1": "uo_v", "from1": "20 V", "quantity2": "co_f.IIC", "from2": "80 nF"},
        "a Co that few have": {"quantity1": "co_f.IIC", "from1": "0.15 uF"},
    },
    "/certificates/": {
        "plain": {},
        "last page": {"page": "{last}"},
        "sorted by end": {"sort": "end"},
        "sorted by end, last page": {"sort": "-end", "page": "{last}"},
        "sorted by equipment": {"sort": "-equipment"},
        "text": {"q": "NQ 00012"},
        "ends between": {"valid_to_from": "2030-01-01", "valid_to_to": "2030-03-01"},
    },
    "/api/v1/equipment/": {
        "a hundred": {"limit": "100"},
        "a hundred, far on": {"limit": "100", "cursor": "{key}"},
        "maker and level": {"limit": "100", "maker": "Maker 07", "level": "ia"},
    },
    "/api/v1/loops/": {"a hundred": {"limit": "100"}},
}


def fill(count: int) -> None:
    """Bare rows, as fast as they can be written: lists show them, nothing judges them."""
    import datetime as dt
    from decimal import Decimal

    from registry.models import Certificate, Equipment, PermittedRow, Terminals

    kinds = ("source", "field_device", "source", "simple_apparatus")
    for start in range(0, count, 5_000):
        numbers = range(start, min(start + 5_000, count))
        papers = Certificate.objects.bulk_create(
            Certificate(
                scheme="ATEX",
                number=f"NQ {n:06}",
                issue="0",
                holder=f"Holder {n % MAKERS:02}",
                valid_to=dt.date(2026, 1, 1) + dt.timedelta(days=n % 3_000) if n % 3 else None,
            )
            for n in numbers
        )
        items = Equipment.objects.bulk_create(
            Equipment(
                kind=kinds[n % 4],
                maker=f"Maker {n % MAKERS:02}",
                type_name=f"Type-{n:06}",
                function="Transmitter supply, 4–20 mA",
                marking="II (1) G [Ex ia Ga] IIC",
            )
            for n in numbers
        )
        sets = Terminals.objects.bulk_create(
            Terminals(
                equipment=item,
                certificate=paper,
                name="1-2",
                side="source",
                level=("ia", "ib")[n % 2],
                gas_group="IIC",
                uo_v=Decimal(n % 30),
                uo_v_text=f"{n % 30} V",
            )
            for n, item, paper in zip(numbers, items, papers, strict=True)
        )
        PermittedRow.objects.bulk_create(
            PermittedRow(terminals=one, group="IIC", co_f=Decimal(n % 151) / 10**9, co_f_text=f"{n % 151} nF")
            for n, one in zip(numbers, sets, strict=True)
        )


def connect(count: int, site: Any, user: Any) -> None:
    """Bare loops, each of a source and a device of the first items of the register."""
    from loops.models import Circuit, Loop, Member
    from registry.models import Origin, Revision, Terminals

    pinned = Revision.objects.create(
        kind="equipment", record_id=1, number=1, label="-", snapshot={}, digest="", author=user, origin=Origin.DEMO
    )
    sets = list(Terminals.objects.order_by("pk")[: min(USED, count)])
    loops = Loop.objects.bulk_create(Loop(site=site, tag=f"PT-{n:06}", owner=user) for n in range(min(LOOPS, count)))
    circuits = Circuit.objects.bulk_create(Circuit(loop=loop) for loop in loops)
    Member.objects.bulk_create(
        Member(circuit=one, role=role, tag=role, terminals=sets[(n * step) % len(sets)], equipment_revision=pinned)
        for n, one in enumerate(circuits)
        for role, step in (("source", 7), ("device", 11))
    )


def measure(count: int) -> None:
    from django.db import connection
    from django.test import Client

    from registry.models import Membership, Role, Site, User

    fill(count)
    user = User.objects.create(username="reader")
    site = Site.objects.create(code="NORTH", name="North")
    Membership.objects.create(user=user, site=site, role=Role.READER)
    connect(count, site, user)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")
    client = Client()
    client.force_login(user)
    pages = {"{last}": str(-(-count // 50)), "{middle}": str(-(-count // 100)), "{key}": str(count // 2)}
    print(
        f"{count} records, {connection.vendor}\n"
        "milliseconds: median, 95th percentile, mean work here, in the database; bytes"
    )
    for address, cases in LISTS.items():
        for name, query in cases.items():
            wanted = {key: pages.get(value, value) for key, value in query.items()}
            report(address, name, *asked(client, address, wanted))


def database_work() -> float:
    """How many seconds the processors have worked for this connection; 0 where that is not to be had."""
    from django.db import connection

    if connection.vendor != "postgresql":
        return 0
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (number,) = cursor.fetchone()
    try:
        fields = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def asked(client: Any, address: str, query: dict[str, str]) -> tuple[list[float], float, float, int]:
    """The seconds of each answer, sorted, the mean work here and in the database, and the size; one goes before."""
    answer = client.get(address, query)
    assert answer.status_code == 200, query
    taken = []
    here, there = time.process_time(), database_work()
    for _ in range(ASKED):
        start = time.perf_counter()
        client.get(address, query)
        taken.append(time.perf_counter() - start)
    here, there = time.process_time() - here, database_work() - there
    return sorted(taken), here / ASKED, there / ASKED, len(answer.content)


def report(address: str, name: str, taken: list[float], here: float, there: float, size: int) -> None:
    numbers = (taken[len(taken) // 2], taken[int(len(taken) * 0.95)], here, there)
    print(f"  {address:<20} {name:<28}" + "".join(f"{n * 1000:9.1f}" for n in numbers) + f"{size:9}", flush=True)


def main() -> None:
    import django

    django.setup()
    from django.conf import settings
    from django.db import connection

    settings.DEBUG = False
    settings.ALLOWED_HOSTS = ["testserver"]
    name = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0)
    try:
        measure(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


if __name__ == "__main__":
    main()
