"""Workers of the web server are killed and the database server is stopped as by a power cut, five times each, while
eight people save: whatever was acknowledged is there, and the store is whole.

.venv/bin/python -m tests.concurrency.kills [sqlite | postgresql]      (about two minutes for each database)

On SQLite only the workers are killed: there is no server to stop.
"""

from __future__ import annotations

import http.client
import json
import sys
import threading
import time
from collections import Counter
from typing import Any

from tests.concurrency.instance import Instance, databases, instance
from tests.concurrency.posting import put_json, request

WRITERS, TIMES, PAUSE_S = 8, 5, 3


class Writer(threading.Thread):
    """Somebody who saves one loop over and over by the API, each time with a reason of its own."""

    def __init__(self, site: Instance, key: int, text: Any, version: int, cookie: str) -> None:
        super().__init__()
        self.site, self.key, self.text, self.version, self.cookie = site, key, text, version, cookie
        self.acknowledged: list[str] = []
        self.unanswered = 0
        self.statuses: Counter[int] = Counter()
        self.going = True

    def run(self) -> None:
        number = 0
        while self.going:
            number += 1
            reason = f"Save {self.key}-{number}"
            content = self.text | {"notes": reason, "reason": reason}
            try:
                status, answer = put_json(
                    self.site.port, f"/api/v1/loops/{self.key}/", self.cookie, content, self.version
                )
            except (OSError, http.client.HTTPException):
                self.unanswered += 1
                time.sleep(0.2)
                continue
            if status == 200:
                self.acknowledged.append(reason)
                self.version = answer["version"]
            else:
                self.statuses[status] += 1
                self.look_again()

    def look_again(self) -> None:
        """The version as it is now: a save that was not answered may have been made."""
        time.sleep(0.2)
        try:
            status, body = request(self.site.port, "GET", f"/api/v1/loops/{self.key}/", self.cookie, "")
        except (OSError, http.client.HTTPException):
            return
        if status == 200:
            self.version = json.loads(body)["version"]


def trial(database: str) -> bool:
    with instance(database) as site:
        site.run("begin")
        keys = site.run("copies", WRITERS, False)
        cookie, loops = site.run("sessions")["designer"], site.run("texts", keys)
        versions = {key: site.run("version", key) for key in keys[:1]}
        site.serve()
        writers = [Writer(site, key, loops[str(key)], versions[keys[0]], cookie) for key in keys]
        for writer in writers:
            writer.start()
        for _ in range(TIMES):
            time.sleep(PAUSE_S)
            site.kill_worker()
        if site.server:
            for _ in range(TIMES):
                time.sleep(PAUSE_S)
                site.server.stop_at_once()
                site.server.start()
        time.sleep(PAUSE_S)
        for writer in writers:
            writer.going = False
        for writer in writers:
            writer.join()
        kept, broken = set(site.run("reasons_kept", keys)), site.run("broken")
    acknowledged = [reason for writer in writers for reason in writer.acknowledged]
    lost = [reason for reason in acknowledged if reason not in kept]
    unanswered = sum(writer.unanswered for writer in writers)
    refused = dict(sum((writer.statuses for writer in writers), Counter()))
    stops = TIMES if database == "postgresql" else 0
    print(
        f"{database}: {TIMES} workers killed, database stopped {stops} times; {len(acknowledged)} saves acknowledged, "
        f"{len(lost)} of them lost; {unanswered} not answered, refused by status {refused}; {len(broken)} broken links",
        flush=True,
    )
    return bool(acknowledged) and not lost and not broken and unanswered + len(refused) > 0


if __name__ == "__main__":
    failed = [database for database in databases(sys.argv[1:]) if not trial(database)]
    sys.exit(1 if failed else 0)
