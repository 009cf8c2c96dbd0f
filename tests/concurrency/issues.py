"""One loop is signed twenty times at once: one approval, one sheet. Fifty loops are issued at once: no number, letter
or short id twice.

.venv/bin/python -m tests.concurrency.issues [sqlite | postgresql]      (about three minutes for each database)
"""

from __future__ import annotations

import sys

from tests.concurrency.instance import Instance, databases, instance
from tests.concurrency.posting import at_once, post

PRESSES, LOOPS, PROCESSES = 20, 50, 8


def signed_once(site: Instance) -> bool:
    """Twenty posts of the same page of signing, through the web server."""
    (key,) = site.run("copies", 1, True)
    cookie = site.run("sessions")["approver"]
    site.serve()
    version = site.run("version", key)
    fields = {"_version": str(version), "password": "Slow-copper-91-lantern"}
    answers = at_once(PRESSES, lambda _: post(site.port, f"/loops/{key}/approve/", cookie, fields))
    found = site.run("issues_of", [key])
    counted = {status: answers.count(status) for status in sorted(set(answers))}
    print(
        f"  {PRESSES} signatures at once: answers {counted}, {len(found['letters'])} approval, "
        f"{len(found['numbers'])} sheet",
        flush=True,
    )
    return len(found["letters"]) == len(found["numbers"]) == answers.count(302) == 1 and not [
        status for status in answers if status >= 500
    ]


def issued_together(site: Instance) -> bool:
    """Eight processes issue fifty loops."""
    keys = site.run("copies", LOOPS, True)
    told = site.together([site.start("sign", keys[number::PROCESSES]) for number in range(PROCESSES)])
    found = site.run("issues_of", keys)
    single = {name: len(set(rows)) for name, rows in found.items()}
    issued, refused = (sum(item[name] for item in told) for name in ("issued", "refused"))
    print(f"  {issued} of {LOOPS} issued, {refused} refused, different ones among them: {single}", flush=True)
    return all(len(found[name]) == single[name] == LOOPS for name in found)


def trial(database: str) -> bool:
    print(f"{database}:", flush=True)
    with instance(database) as site:
        site.run("begin")
        whole = [signed_once(site), issued_together(site)]
        broken = site.run("broken")
        print(f"  {len(broken)} broken links", flush=True)
    return all(whole) and not broken


if __name__ == "__main__":
    failed = [database for database in databases(sys.argv[1:]) if not trial(database)]
    sys.exit(1 if failed else 0)
