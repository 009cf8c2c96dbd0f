"""What is archived stays where it stands and is not chosen anew."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from loops.models import Loop
from loops.services.loops import refresh, save_loop
from registry.selectors import record_text
from registry.services.records import EntryRefused, set_archived

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["device", "cable_type", "area"])
def test_a_loop_keeps_what_was_archived_since(
    name: str, loop: Any, request: pytest.FixtureRequest, author_as: Callable[..., Any]
) -> None:
    set_archived(request.getfixturevalue(name), True, author_as("administrator" if name == "area" else "keeper"))
    designer = author_as("designer")
    changed = save_loop(record_text(loop) | {"service": "Another service"}, designer, loop_id=loop.pk)
    assert changed.service == "Another service"
    assert refresh(loop.pk, designer).verification.verdict == loop.verification.verdict


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("device", "circuits.0.members.1.terminals"),
        ("area", "circuits.0.members.1.area"),
        ("cable_type", "circuits.0.cables.0.cable_type"),
    ],
)
def test_a_new_loop_does_not_take_what_is_archived(
    name: str,
    path: str,
    loop_data: Callable[..., dict[str, Any]],
    request: pytest.FixtureRequest,
    author_as: Callable[..., Any],
) -> None:
    data = loop_data()
    set_archived(request.getfixturevalue(name), True, author_as("administrator" if name == "area" else "keeper"))
    with pytest.raises(EntryRefused) as refused:
        save_loop(data, author_as("designer"))
    assert list(refused.value.errors) == [path] and "archived" in refused.value.errors[path][0]
    assert not Loop.objects.exists()
