"""Eight processes save two loops sixty times each: nothing is lost and nobody meets a locked database.

.venv/bin/python -m tests.concurrency.saves [sqlite | postgresql]      (about two minutes for each database)
"""

from __future__ import annotations

import sys

from tests.concurrency.instance import databases, instance

PROCESSES, SAVES, LOOPS = 8, 60, 2


def trial(database: str) -> bool:
    with instance(database) as site:
        site.run("begin")
        keys = site.run("copies", LOOPS, False)
        told = site.together([site.start("save_many", keys, SAVES, f"p{number}") for number in range(PROCESSES)])
        kept, broken = site.run("words_kept", keys), site.run("broken")
    wanted = PROCESSES * SAVES
    counts = {name: sum(item[name] for item in told) for name in ("saved", "stale", "locked")}
    print(
        f"{database}: {counts['saved']} of {wanted} saved, {wanted - kept['words']} lost, {counts['locked']} locked, "
        f"{counts['stale']} begun anew because another came first, {kept['revisions']} revisions, "
        f"{len(broken)} broken links",
        flush=True,
    )
    return kept == {"words": wanted, "revisions": wanted} and counts["locked"] == 0 and not broken


if __name__ == "__main__":
    failed = [database for database in databases(sys.argv[1:]) if not trial(database)]
    sys.exit(1 if failed else 0)
