"""A fault at any point of a save leaves everything as it was: nothing is half-saved, and the next save is whole."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from importlib import import_module
from typing import Any
from unittest import mock

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext

from loops.models import Loop, LoopState, Member
from loops.services.loops import save_loop
from registry.selectors import record_text
from registry.services.proofs import prove
from registry.services.records import Author

pytestmark = pytest.mark.django_db

# The function after whose work the fault comes, and at which of its calls. The save below writes the loop, its circuit,
# two members, which exchange their tags, and a cable run.
POINTS = [
    ("loops.services.loops.lock", 1),
    ("loops.services.loops.refuse_archived", 1),
    ("registry.services.records.save_checked", 1),
    ("registry.services.records.save_checked", 2),
    ("registry.services.records.save_checked", 4),
    ("registry.services.records.save_checked", 5),
    ("registry.services.records.park_names", 2),
    ("registry.services.records.revision_of", 1),
    ("registry.services.records.tell", 1),
    ("loops.services.loops.record_revision", 1),
    ("loops.services.loops.record_step", 1),
    ("loops.services.loops.reopen", 1),
    ("loops.services.verification.judge", 1),
    ("loops.services.loops.verify", 1),
    ("registry.services.changes.announce", 1),
    ("registry.services.changes.chained", 1),
    ("registry.services.changes.append", 1),
]


class Fault(Exception):
    """What no part of the product raises or expects."""


def failing(target: str, call: int) -> AbstractContextManager[Any]:
    """The function does its work and fails after it, at one of its calls."""
    module, _, name = target.rpartition(".")
    real = getattr(import_module(module), name)
    calls = 0

    def work_and_fail(*args: Any, **values: Any) -> Any:
        nonlocal calls
        result = real(*args, **values)
        calls += 1
        if calls == call:
            raise Fault(target)
        return result

    return mock.patch(target, work_and_fail)


def everything() -> dict[str, list[dict[str, Any]]]:
    """Every row of every table of the product."""
    return {
        model._meta.label: list(model._default_manager.order_by("pk").values())
        for package in ("registry", "loops", "reports")
        for model in apps.get_app_config(package).get_models()
    }


@pytest.fixture
def issued(loop: Any) -> Any:
    """The loop, issued as far as its state goes: so that a change of it also begins the next letter."""
    Loop.objects.filter(pk=loop.pk).update(state=LoopState.ISSUED)
    return Loop.objects.get(pk=loop.pk)


def members_of(loop: Loop) -> list[Member]:
    return list(Member.objects.filter(circuit__loop=loop).order_by("position"))


def changed(loop: Loop) -> dict[str, Any]:
    """The text of a loop with another value in every row."""
    text = record_text(loop)
    circuit = text["circuits"][0]
    source, device = circuit["members"]
    circuit["name"] = "Circuit A"
    source["tag"], device["tag"] = device["tag"], source["tag"]
    circuit["cables"][0]["length_m"] = "301 m"
    return text


@pytest.mark.parametrize("target, call", POINTS)
def test_a_fault_leaves_nothing_half_saved(target: str, call: int, issued: Any, people: Any) -> None:
    before, text = everything(), changed(issued)
    author = Author(people["designer"], reason="Longer")
    with failing(target, call), pytest.raises(Fault):
        save_loop(text, author, loop_id=issued.pk, opened_version=issued.version)
    assert everything() == before
    saved = save_loop(text, author, loop_id=issued.pk, opened_version=issued.version)
    assert (saved.version, saved.letter) == (issued.version + 1, "B")
    circuit = record_text(saved)["circuits"][0]
    assert [circuit["cables"][0]["length_m"], *(row["tag"] for row in circuit["members"])] == [
        "301 m", "PT-1101", "PT-1101-B"
    ]  # fmt: skip
    assert [row.pk for row in members_of(saved)] == [row.pk for row in members_of(issued)]
    assert prove().broken == []


@pytest.mark.parametrize("target, call", [point for point in POINTS if "registry" in point[0]])
def test_a_fault_of_the_first_save_leaves_nothing(
    target: str, call: int, people: Any, loop_data: Callable[..., Any]
) -> None:
    text = loop_data()
    before = everything()
    if "park_names" in target:
        call = 1
    with failing(target, call), pytest.raises(Fault):
        save_loop(text, Author(people["designer"]))
    assert everything() == before


def test_a_fault_behind_the_page_leaves_nothing_half_saved(
    loop: Any, client_as: Callable[[str], Any], loop_data: Callable[..., Any]
) -> None:
    """The answer is the page of faults, not half a loop."""
    from registry.views.forms import flatten

    client = client_as("designer")
    client.raise_request_exception = False
    before = everything()
    form = flatten(loop_data(length="301 m")) | {"_version": str(loop.version)}
    with failing("loops.services.loops.verify", 1):
        assert client.post(f"/loops/{loop.pk}/edit/", form).status_code == 500
    assert everything() == before


def test_rows_in_which_nothing_differs_are_not_written(loop: Any, author_as: Callable[..., Author]) -> None:
    text = record_text(loop) | {"service": "Another service"}
    with CaptureQueriesContext(connection) as found:
        saved = save_loop(text, author_as("designer"), loop_id=loop.pk)
    written = [query["sql"] for query in found if query["sql"].startswith(("UPDATE", "DELETE"))]
    assert written and all(sql.startswith('UPDATE "loops_loop"') for sql in written)
    assert record_text(saved) == text
