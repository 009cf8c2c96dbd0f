"""Those who write to SQLite stand in a queue: first come, first served, and nobody waits for the dead."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError

from deploy.env import load
from deploy.sqlite3.base import DatabaseWrapper
from deploy.sqlite3.queue import NotServed, WritersQueue
from tests.architecture.files import ROOT

DEFAULTS = {"ATOMIC_REQUESTS": False, "AUTOCOMMIT": True, "CONN_MAX_AGE": 0, "CONN_HEALTH_CHECKS": False}


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "x.sqlite3"
    path.touch()
    return str(path)


@pytest.fixture
def wrapper(tmp_path: Path, django_db_blocker: Any) -> Iterator[DatabaseWrapper]:
    database = load({"DATABASE_URL": f"sqlite:///{tmp_path}/x.sqlite3"}, tmp_path).database
    made = DatabaseWrapper({**DEFAULTS, "TIME_ZONE": None, "TEST": {"NAME": None}, **database}, alias="queued")
    with django_db_blocker.unblock():
        with made.cursor() as cursor:
            cursor.execute("CREATE TABLE word (text TEXT)")
        yield made
        made.close()


def someone(file: str, patience_s: float = 10) -> WritersQueue:
    return WritersQueue(file, patience_s)


def is_free(wrapper: DatabaseWrapper) -> bool:
    """Whether somebody who comes now is served at once."""
    other = someone(str(wrapper.settings_dict["NAME"]), patience_s=0)
    try:
        other.enter()
    except NotServed:
        return False
    finally:
        other.close()
    return True


def test_first_come_first_served(file: str) -> None:
    first = someone(file)
    first.enter()
    order: list[int] = []

    def wait(number: int, standing: threading.Event) -> None:
        place = someone(file)
        draw = place._draw
        place._draw = lambda: (draw(), standing.set())  # type: ignore[method-assign,assignment,func-returns-value]
        place.enter()
        order.append(number)
        place.close()

    threads = []
    for number in range(12):
        standing = threading.Event()
        threads.append(threading.Thread(target=wait, args=(number, standing)))
        threads[-1].start()
        assert standing.wait(10)
    assert order == []
    first.leave()
    # Whoever was just served and comes again at once stands behind all who wait.
    first.enter()
    assert order == list(range(12))
    first.close()
    for thread in threads:
        thread.join(10)


def test_the_wait_ends(file: str) -> None:
    first, second, third = someone(file), someone(file, patience_s=0.05), someone(file)
    first.enter()
    with pytest.raises(NotServed):
        second.enter()
    first.leave()
    third.enter()
    assert third.served and not second.served
    for place in (first, second, third):
        place.close()


def test_nobody_waits_for_a_process_that_was_killed(file: str) -> None:
    program = (
        "import sys, time; from deploy.sqlite3.queue import WritersQueue; place = WritersQueue(sys.argv[1], 10);"
        "place.enter(); print('in', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen([sys.executable, "-c", program, file], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None
    assert holder.stdout.readline() == "in\n"
    impatient = someone(file, patience_s=0.05)
    with pytest.raises(NotServed):
        impatient.enter()
    os.kill(holder.pid, signal.SIGKILL)
    holder.wait(10)
    holder.stdout.close()
    impatient.enter()
    assert impatient.served
    impatient.close()


def test_without_a_file_for_it_there_is_no_queue(tmp_path: Path) -> None:
    (tmp_path / "x.sqlite3-queue").mkdir()
    (tmp_path / "x.sqlite3").touch()
    place = someone(str(tmp_path / "x.sqlite3"))
    place.enter()
    assert not place.served
    place.close()


def test_a_transaction_holds_its_place_until_it_ends(wrapper: DatabaseWrapper) -> None:
    for end in (wrapper.commit, wrapper.rollback):
        wrapper.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
        assert not is_free(wrapper)
        end()
        wrapper.set_autocommit(True)
        assert is_free(wrapper)


def test_a_connection_that_closes_leaves(wrapper: DatabaseWrapper) -> None:
    wrapper.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)
    assert not is_free(wrapper)
    wrapper.close()
    assert is_free(wrapper)


def test_a_statement_outside_of_a_transaction_stands_in_the_queue_too(wrapper: DatabaseWrapper) -> None:
    wrapper._queue.patience_s = 0.05
    holder = someone(str(wrapper.settings_dict["NAME"]))
    holder.enter()
    with wrapper.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM word")
        with pytest.raises(OperationalError, match="locked"):
            cursor.execute(" insert INTO word VALUES ('one')")
        holder.leave()
        cursor.execute("INSERT INTO word VALUES ('one')")
        assert is_free(wrapper)
        with pytest.raises(OperationalError):
            cursor.execute("INSERT INTO nowhere VALUES ('one')")
        assert is_free(wrapper)
    holder.close()
