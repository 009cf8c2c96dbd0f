"""How long the server takes for a page of a list of many records: plain, filtered, sorted, its last page, searched.

    .venv/bin/python -m tests.benchmarks.lists_benchmark [records]

Fills a test database of its own (that of DATABASE_URL, else SQLite in memory) with bare rows of equipment, each with
one set of terminals and one permitted row, and of certificates, and asks for each page a number of times.
"""

from __future__ import annotations

import os
import sys
import time
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")

ASKED = 25
MAKERS = 40
LISTS = {
    "/equipment/": {
        "plain": {},
        "page in the middle": {"page": "{middle}"},
        "last page": {"page": "{last}"},
        "sorted by type": {"sort": "type"},
        "sorted by kind, last page": {"sort": "-kind", "page": "{last}"},
        "sorted by loops": {"sort": "-loops"},
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
        "text": {"q": "NQ 00012"},
        "ends between": {"valid_to_from": "2030-01-01", "valid_to_to": "2030-03-01"},
    },
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


def measure(count: int) -> None:
    from django.db import connection
    from django.test import Client

    from registry.models import Membership, Role, Site, User

    fill(count)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    user = User.objects.create(username="reader")
    Membership.objects.create(user=user, site=Site.objects.create(code="NORTH", name="North"), role=Role.READER)
    client = Client()
    client.force_login(user)
    pages = {"{last}": str(-(-count // 50)), "{middle}": str(-(-count // 100))}
    print(f"{count} records, {connection.vendor}; milliseconds: median, 95th percentile, bytes")
    for address, cases in LISTS.items():
        for name, query in cases.items():
            wanted = {key: pages.get(value, value) for key, value in query.items()}
            report(address, name, *asked(client, address, wanted))


def asked(client: Any, address: str, query: dict[str, str]) -> tuple[list[float], int]:
    """The seconds of each answer, sorted, and the size of one; one is asked for before and not counted."""
    taken = []
    size = 0
    for number in range(ASKED + 1):
        start = time.perf_counter()
        answer = client.get(address, query)
        if number:
            taken.append(time.perf_counter() - start)
        assert answer.status_code == 200, query
        size = len(answer.content)
    return sorted(taken), size


def report(address: str, name: str, taken: list[float], size: int) -> None:
    median, high = taken[len(taken) // 2], taken[int(len(taken) * 0.95)]
    print(f"  {address:<16} {name:<28} {median * 1000:8.1f} {high * 1000:8.1f} {size:8}")


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
