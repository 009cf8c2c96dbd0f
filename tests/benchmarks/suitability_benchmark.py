"""5,000 loops times 200 candidates: how long it takes to judge them all.

    .venv/bin/python -m tests.benchmarks.suitability_benchmark [loops [candidates [processes]]]

Reads the database of DATABASE_URL, which must hold the large demo plant (`manage.py demo --size large`) or a part of
it. The place is the first field device of each loop; candidates are items as the register has them. Three times are
told apart: reading loops and items from the database into the engine's input, all pairs of the same purpose (what a
person asks: the others are told by their words alone), and all pairs whatever their purpose.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from collections import Counter

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")


def processor() -> float:
    """Processor time in s of this process and of those that have ended: it says more than a clock on a busy machine."""
    every = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(found.ru_utime + found.ru_stime for found in every)


def main(loops: int = 5_000, candidates: int = 200, processes: int = 2) -> None:
    """Print the times."""
    import django

    django.setup()
    import numpy as np

    from loops.models import Loop, Member
    from loops.services.suitability.matrix import NOT_JUDGED, judge_all
    from loops.services.suitability.positions import (
        Candidate,
        Plant,
        certificates_of,
        in_use,
        parts_of,
        register_items,
    )
    from loops.services.suitability.purpose import differences
    from loops.services.suitability.screen import Code
    from loops.services.suitability.spots import ORDER

    start = time.perf_counter()
    plant = Plant.of(Loop.objects.filter(archived_at=None).order_by("-pk")[:loops])
    read = time.perf_counter() - start
    positions = []
    for loop in plant.loops:
        devices = [
            item
            for item in plant.positions(loop)
            if item.standing.item["kind"] == "field_device"
            and {place.role for place in item.places} == {Member.Role.DEVICE}
        ]
        positions += devices[:1]
    shapes = Counter(plant.shape(position) for position in positions)
    shape, _ = shapes.most_common(1)[0]
    rows = [
        (position, spot) for position in positions if plant.shape(position) == shape and (spot := plant.spot(position))
    ]
    items = register_items(in_use(["field_device"]).order_by("-pk"), plant.contents)
    pool = []
    for key, item in items.items():
        ways = [row["id"] for row in item["terminals"] if row["side"] == "device"][:1]
        candidate = Candidate(key, item, certificates_of(item, plant.contents), tuple(ways))
        parts = parts_of(candidate, shape) if ways else None
        if parts and len(pool) < candidates:
            pool.append((candidate, parts))
    print(f"{len(rows):,} loops and {len(pool)} candidates, {processes} processes")
    print(f"reading: {time.perf_counter() - start:.1f} s, of it {read:.1f} s from the database")

    start = time.perf_counter()
    unlike: dict[tuple[int, int], bool] = {}
    wanted = np.zeros((len(rows), len(pool)), dtype=bool)
    for place, (position, _) in enumerate(rows):
        for number, (candidate, _) in enumerate(pool):
            pair = (position.standing.key, candidate.key)
            if pair not in unlike:
                unlike[pair] = bool(differences(position.standing, candidate))
            wanted[place, number] = not unlike[pair]
    print(f"comparing purposes: {time.perf_counter() - start:.1f} s, {wanted.mean():.0%} of the pairs are of the same")
    for title, mask in (("pairs of the same purpose", wanted), ("all pairs", None)):
        start, worked_before = time.perf_counter(), processor()
        found = judge_all([spot for _, spot in rows], [parts for _, parts in pool], wanted=mask, processes=processes)
        seconds, worked = time.perf_counter() - start, processor() - worked_before
        judged = found.verdicts[found.verdicts != NOT_JUDGED]
        rejected = int(np.count_nonzero(found.codes != Code.LOOK))
        told = Counter(ORDER[word].value for word in judged.tolist())
        print(f"{title}: {seconds:.1f} s ({worked:.1f} s of processors) for {found.codes.size:,}; of them")
        print(f"  {rejected:,} rejected by the screen, {len(judged):,} judged exactly: {dict(told)}")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
