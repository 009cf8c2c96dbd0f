"""A plant of any size in an empty database, quickly: some loops are saved as pages save them, all others are copies.

A copy has rows, revision, case documents and verdict of its own under a tag of its own, so it is listed, opened, saved
and judged again as any loop. Items beyond those that loops use are bare rows (lists_benchmark.fill).
"""

from __future__ import annotations

import copy
import datetime as dt
import json
import os
from typing import Any

PASSWORD = "unlit-plant-2026-lantern"
SEEDS = 60
ITEMS_OF_SEEDS = 300
PORTION = 500


def own_database(name: str) -> str:
    """An empty database of that name on the server of DATABASE_URL (PostgreSQL); returns its address. What was there
    under that name is dropped."""
    import psycopg

    url = os.environ.get("DATABASE_URL", "")
    if not url.startswith("postgres"):
        raise SystemExit(
            "Name a PostgreSQL server in DATABASE_URL, for example postgresql://postgres@127.0.0.1/postgres."
        )
    server, _, rest = url.rpartition("/")
    query = rest.partition("?")[2]
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")  # type: ignore[arg-type]
        connection.execute(f"CREATE DATABASE {name} ENCODING 'UTF8' TEMPLATE template0 LOCALE 'C.UTF-8'")  # type: ignore[arg-type]
    return f"{server}/{name}" + (f"?{query}" if query else "")


def drop_database(name: str, url: str) -> None:
    import psycopg

    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")  # type: ignore[arg-type]


def fill(items: int, loops: int) -> None:
    """So many items and loops, at a site of the demo, with its people."""
    from django.db import connection

    from loops.models import Loop
    from registry.models import Equipment
    from reports.demo.build import Demo, build_register
    from reports.demo.large import build_large
    from tests.benchmarks.lists_benchmark import fill as fill_items

    demo = Demo(PASSWORD, dt.datetime.now(dt.UTC).date())
    build_register(demo)
    build_large(demo, 1, ITEMS_OF_SEEDS, min(SEEDS, loops))
    clone(loops - Loop.objects.count())
    bare = items - Equipment.objects.count()
    if bare > 0:
        fill_items(bare)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


def clone(count: int) -> None:
    """So many loops more, copies in turn of those that are there."""
    from loops.models import Loop

    seeds = list(
        Loop.objects.filter(state="draft", verification__isnull=False)
        .select_related("verification__revision")
        .prefetch_related("circuits__members", "circuits__cables", "circuits__terminators")
    )
    for start in range(0, count, PORTION):
        portion(seeds, range(start, min(start + PORTION, count)))


def fresh(row: Any, **values: Any) -> Any:
    """A copy of a row that is not saved yet."""
    other = copy.copy(row)
    other._state = copy.copy(row._state)
    other._state.adding, other._state.fields_cache, other._prefetched_objects_cache = True, {}, {}
    other.pk = None
    for name, value in values.items():
        setattr(other, name, value)
    return other


def portion(seeds: list[Any], numbers: range) -> None:
    from loops.models import CableRun, Circuit, Loop, Member, Verification
    from loops.models.loops import Terminator
    from registry.digests import digest
    from registry.models import Revision

    pairs = [(seeds[number % len(seeds)], f"CL-{number:06}") for number in numbers]
    made = Loop.objects.bulk_create(fresh(seed, tag=tag, verification=None) for seed, tag in pairs)
    circuits = [
        (one, fresh(one, loop_id=loop.pk))
        for (seed, _), loop in zip(pairs, made, strict=True)
        for one in seed.circuits.all()
    ]
    Circuit.objects.bulk_create(other for _, other in circuits)
    for model, name in ((Member, "members"), (CableRun, "cables"), (Terminator, "terminators")):
        model.objects.bulk_create(
            fresh(row, circuit_id=other.pk) for one, other in circuits for row in getattr(one, name).all()
        )
    contents = []
    for (seed, tag), loop in zip(pairs, made, strict=True):
        snapshot = json.loads(json.dumps(seed.verification.revision.snapshot))
        contents.append(snapshot | {"id": loop.pk, "tag": tag})
    revisions = Revision.objects.bulk_create(
        fresh(
            seed.verification.revision, record_id=loop.pk, number=1, label=tag, snapshot=content, digest=digest(content)
        )
        for (seed, tag), loop, content in zip(pairs, made, contents, strict=True)
    )
    rows = []
    for (seed, tag), loop, revision in zip(pairs, made, revisions, strict=True):
        documents = {"inputs": seed.verification.inputs, "results": seed.verification.results}
        documents = json.loads(json.dumps(documents).replace(f'"{seed.tag} /', f'"{tag} /'))
        rows.append(
            fresh(seed.verification, loop_id=loop.pk, revision_id=revision.pk, digest=digest(documents), **documents)
        )
    for loop, row in zip(made, Verification.objects.bulk_create(rows), strict=True):
        loop.verification = row
    Loop.objects.bulk_update(made, ["verification"])
