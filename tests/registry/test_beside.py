"""Parts of a work that several processes do beside each other: all of them once, and a fault ends the work."""

from __future__ import annotations

import os
import signal
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing
from pathlib import Path

import pytest
from django.db import transaction

from registry.beside import done_beside

PARTS = list(range(20))


def squared(part: int) -> tuple[int, int]:
    return part * part, os.getpid()


def test_one_process_does_them_in_their_order() -> None:
    found = list(done_beside(squared, PARTS, 1))
    assert found == [(part * part, os.getpid()) for part in PARTS]


def test_others_do_each_of_them_once() -> None:
    asked = dict.fromkeys(PARTS, "given by the memory of this process")
    found = list(done_beside(lambda part: (part, asked[part], os.getpid()), PARTS, 3))
    assert sorted(part for part, _, _ in found) == PARTS
    assert {text for _, text, _ in found} == {"given by the memory of this process"}
    assert os.getpid() not in {process for _, _, process in found}


def test_a_fault_of_one_part_is_raised() -> None:
    def divided(part: int) -> float:
        return 1 / (part - 7)

    with pytest.raises(ZeroDivisionError):
        list(done_beside(divided, PARTS, 2))


def test_a_process_that_is_killed_is_noticed() -> None:
    def killed(part: int) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    with pytest.raises(BrokenProcessPool):
        list(done_beside(killed, PARTS, 2))


def test_what_is_not_begun_is_left_when_nobody_wants_more(tmp_path: Path) -> None:
    def written(part: int) -> None:
        (tmp_path / str(part)).touch()

    many = list(range(2_000))
    with closing(done_beside(written, many, 2)) as done:
        next(done)
    assert 0 < len(list(tmp_path.iterdir())) < len(many)


@pytest.mark.django_db
def test_a_transaction_is_not_divided() -> None:
    with transaction.atomic(), pytest.raises(RuntimeError, match="transaction"):
        list(done_beside(squared, PARTS, 2))
