"""A queue in front of the one writer that SQLite has.

SQLite keeps no queue: who finds the database locked sleeps for up to a tenth of a second and looks again, while whoever
comes just then goes in. Among eight processes that write without pause, one may so wait for ever. Here everybody draws
a number and goes in by it.

A number is a byte of a file beside the database that its holder keeps locked (locks of an open file description, Linux
3.15 and later). The kernel lifts them when the holder dies, however it dies, so nothing is left over to wait for. The
queue is about fairness alone: where there is none, SQLite's own lock still lets in only one.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import struct
import time

GUARD = 0
"""The byte that is locked while a number is drawn; the numbers begin behind it."""
LOOK_AGAIN_S = 0.002
FLOCK = "hhqqi0q"
"""struct flock: type, whence, start, length, process (0 for locks of a file description)."""
NUMBER = ">Q"
NO_QUEUE = -1


class NotServed(Exception):
    """The time to wait is over."""


class WritersQueue:
    """The place of one connection in the queue of those who write to one database file."""

    def __init__(self, database: str, patience_s: float) -> None:
        self.database, self.patience_s = database, patience_s
        self.file = NO_QUEUE
        self.number = 0

    @property
    def served(self) -> bool:
        """Whether this connection is at the head, or there is no queue and it has passed for one."""
        return self.number != 0

    def enter(self) -> None:
        """Draw a number and wait until it is served. Raises NotServed; then the number is given back."""
        if not hasattr(fcntl, "F_OFD_SETLK"):
            return
        try:
            self._open()
            self._draw()
        except OSError:
            self.leave()
            return
        end = time.monotonic() + self.patience_s
        while self._somebody_before():
            if time.monotonic() > end:
                self.leave()
                raise NotServed
            time.sleep(LOOK_AGAIN_S)

    def leave(self) -> None:
        """Let the next one in; without effect where no number is held."""
        if self.number:
            with contextlib.suppress(OSError):
                self._lock(fcntl.F_OFD_SETLK, fcntl.F_UNLCK, self.number)
            self.number = 0

    def close(self) -> None:
        """Leave, and close the file."""
        self.leave()
        if self.file != NO_QUEUE:
            os.close(self.file)
            self.file = NO_QUEUE

    def _open(self) -> None:
        """The file belongs to whom the database belongs to, also where root was the first to write."""
        if self.file != NO_QUEUE:
            return
        owner = os.stat(self.database)
        self.file = os.open(f"{self.database}-queue", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, owner.st_mode & 0o666)
        if os.geteuid() == 0 and os.fstat(self.file).st_uid != owner.st_uid:
            os.fchown(self.file, owner.st_uid, owner.st_gid)

    def _draw(self) -> None:
        self._lock(fcntl.F_OFD_SETLKW, fcntl.F_WRLCK, GUARD)
        try:
            last = os.pread(self.file, struct.calcsize(NUMBER), 0)
            number = struct.unpack(NUMBER, last)[0] + 1 if len(last) == struct.calcsize(NUMBER) else 1
            self._lock(fcntl.F_OFD_SETLK, fcntl.F_WRLCK, number)
            self.number = number
            os.pwrite(self.file, struct.pack(NUMBER, number), 0)
        finally:
            self._lock(fcntl.F_OFD_SETLK, fcntl.F_UNLCK, GUARD)

    def _somebody_before(self) -> bool:
        if self.number == GUARD + 1:
            return False
        asked = struct.pack(FLOCK, fcntl.F_WRLCK, os.SEEK_SET, GUARD + 1, self.number - GUARD - 1, 0)
        found = fcntl.fcntl(self.file, fcntl.F_OFD_GETLK, asked)
        return bool(struct.unpack(FLOCK, found)[0] != fcntl.F_UNLCK)

    def _lock(self, command: int, kind: int, byte: int) -> None:
        fcntl.fcntl(self.file, command, struct.pack(FLOCK, kind, os.SEEK_SET, byte, 1, 0))
