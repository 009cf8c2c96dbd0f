"""How many rows a second an import takes, and how that compares with storing the same rows without any care.

Run ``python -m tests.benchmarks.import_benchmark [ROWS]``. It makes a database of its own and drops it again. Every row
is an item with a set of terminals, two permitted values and a revision; the target is 1,000 rows a second. Compared are

* the import of a CSV and of an XLSX file: read, checked, saved with revisions, in one transaction;
* the same save one record at a time, as pages do it;
* a plain ``bulk_create`` of the same rows from ready values: nothing read, nothing checked, no revision.

Rates are told by the clock and by the work of the processor: where other programs run, the second says more.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")

ROUNDS = 3


def texts(count: int, name: str) -> list[dict[str, str]]:
    """Rows of sources, each of its own type and with values of its own."""
    return [
        {
            "kind": "source",
            "maker": "Northlight Barriers",
            "type": f"{name}-{number}",
            "function": "Transmitter supply, 4–20 mA",
            "Ex marking": "II (1) G [Ex ia Ga] IIC",
            "terminals": "1-2",
            "side": "source",
            "certificate": f"EXA 21 ATEX {number % 50:04} issue 0",
            "level of protection": "ia",
            "gas group": "IIC",
            "output characteristic": "linear",
            "isolation": "isolated",
            "Ta min": "-20 degC",
            "Ta max": "60 degC",
            "Uo": f"{20 + number % 900 / 100:.2f} V",
            "Io": f"{60 + number % 400 / 10:.1f} mA",
            "Po": "0.65 W",
            "Um": "253 V",
            "permitted 1 group": "IIC",
            "permitted 1 Co": f"{80 + number % 700 / 10:.1f} nF",
            "permitted 1 Lo": "4.2 mH",
            "permitted 2 group": "IIB",
            "permitted 2 Co": "650 nF",
            "permitted 2 Lo": "16 mH",
        }
        for number in range(count)
    ]


Taken = tuple[float, float]
"""Seconds by the clock, seconds of the processor."""


def once(task: Callable[[], Any]) -> Taken:
    """How long a task takes."""
    clock, work = time.perf_counter(), time.process_time()
    task()
    return time.perf_counter() - clock, time.process_time() - work


def seconds(task: Callable[[int], Any]) -> Taken:
    """The best of some rounds; each gets its number, so that it can take names of its own."""
    rounds = [once(lambda n=number: task(n)) for number in range(ROUNDS)]  # type: ignore[misc]
    return min(clock for clock, _ in rounds), min(work for _, work in rounds)


def measure(count: int) -> None:
    from django.db import transaction

    from registry.exchange.csv_xlsx import read_table, table, write_csv, write_xlsx
    from registry.exchange.layouts import LAYOUTS
    from registry.exchange.nesting import nested
    from registry.models import Equipment, Membership, Origin, PermittedRow, Role, Terminals, User
    from registry.services.imports import import_file
    from registry.services.records import Author, save_text

    root = User.objects.create_user("root", is_superuser=True)
    site = save_text(
        "site", {"code": "NORTH", "name": "North", "basis": "IEC", "time_zone": "UTC", "schemes": "ATEX"}, Author(root)
    )
    keeper = User.objects.create_user("keeper")
    Membership.objects.create(user=keeper, site=site, role=Role.KEEPER)
    author = Author(keeper, Origin.IMPORT)
    for number in range(50):
        text = {"scheme": "ATEX", "number": f"EXA 21 ATEX {number:04}", "issue": "0", "status": "current"}
        save_text("certificate", text, author)

    def content(name: str) -> Any:
        rows = texts(count, name)
        return table(list(rows[0]), [list(row.values()) for row in rows])

    def imported(file: bytes) -> None:
        assert import_file(file, author, commit=True).added == count

    files = {
        "CSV": [write_csv(content(f"C{number}")) for number in range(ROUNDS)],
        "XLSX": [write_xlsx(content(f"X{number}"), "equipment") for number in range(ROUNDS)],
    }
    results = {f"import of {name}": seconds(lambda n, f=found: imported(f[n])) for name, found in files.items()}  # type: ignore[misc]
    results["the same file again (nothing changes)"] = seconds(
        lambda n: import_file(files["CSV"][0], author, commit=True)
    )
    other = write_csv(
        table(
            (rows := content("C0")).headings,
            [[cell.replace("0.65 W", "0.6 W") for cell in row.cells] for row in rows.rows],
        )
    )
    taken = once(lambda: import_file(other, author, commit=True))
    results["the same file with a change in every row"] = taken
    results["reading the CSV alone"] = seconds(lambda n: nested(read_table(files["CSV"][0]), LAYOUTS["equipment"]))

    few = max(count // 10, 1)

    def one_by_one(number: int) -> None:
        groups = nested(content(f"S{number}"), LAYOUTS["equipment"]).groups[:few]
        with transaction.atomic():
            for group in groups:
                save_text("equipment", group.data, author)

    clock, work = seconds(one_by_one)
    results["saved one by one"] = clock / few * count, work / few * count

    def plainly(number: int) -> None:
        names = [f.attname for f in Terminals._meta.concrete_fields if f.name not in {"id", "equipment"}]
        stored = list(Terminals.objects.filter(equipment__type_name__startswith="C0-").values(*names))
        permitted = list(PermittedRow.objects.filter(terminals__equipment__type_name__startswith="C0-").values())
        clock, work = time.perf_counter(), time.process_time()
        with transaction.atomic():
            items = Equipment.objects.bulk_create(
                Equipment(kind="source", maker="Plain", type_name=f"{number}-{n}", version=1) for n in range(count)
            )
            sets = Terminals.objects.bulk_create(
                Terminals(equipment=item, **values) for item, values in zip(items, stored, strict=True)
            )
            PermittedRow.objects.bulk_create(
                PermittedRow(**(values | {"id": None, "terminals_id": sets[n // 2].pk}))
                for n, values in enumerate(permitted)
            )
        best.append((time.perf_counter() - clock, time.process_time() - work))

    best: list[Taken] = []
    for number in range(ROUNDS):
        plainly(number)
    plain = min(clock for clock, _ in best), min(work for _, work in best)
    results["plain bulk_create, unchecked"] = plain
    print(f"{count} rows, best of {ROUNDS}: rows a second by the clock, by the processor, times plain bulk_create")
    for name, (clock, work) in results.items():
        print(f"  {name:<40} {count / clock:8.0f} {count / work:8.0f}   {work / plain[1]:6.2f}")


def pasted() -> None:
    """How long a page of a certificate takes, and lines of the worst kind."""
    from registry.exchange.pasted_text import read_pasted_text

    page = "\n".join(
        [
            "Terminals 1-2",
            "Ui = 30 V, Ii = 100 mA, Pi = 0.9 W",
            "This apparatus is to be earthed at one point.",
            "T6: 45 °C",
        ]
        * 15
    )
    for name, text in (
        ("a page of 60 lines", page),
        ("a line of 1,000 characters of values", ("Ui = 30 V, " * 91)[:1000]),
        ("a line of 1,000 characters of markings", ("II 1 G Ex ia " * 80)[:1000]),
        ("a line of 1,000 characters of numbers", "1 " * 500),
    ):
        clock, work = seconds(lambda n, t=text: read_pasted_text(f"{t}\n{n}"))  # type: ignore[misc]
        print(f"  pasted text, {name:<40} {clock * 1000:7.1f} ms, {work * 1000:7.1f} ms of work")


def main() -> None:
    import django

    django.setup()
    from django.db import connection

    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    name = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0)
    try:
        measure(count)
        pasted()
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


if __name__ == "__main__":
    main()
