"""A judgement without saving says what saving would say, and leaves nothing behind."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.services.loops import save_loop
from loops.services.preview import preview
from registry.services.records import EntryRefused
from tests.loops.pages import row_counts

pytestmark = pytest.mark.django_db


def varied(data: dict[str, Any], length_m: int, devices: int, load: str, unplaced: bool) -> dict[str, Any]:
    circuit = data["circuits"][0]
    circuit["cables"][0]["length_m"] = f"{length_m} m"
    first = circuit["members"][1]
    circuit["members"] += [first | {"tag": f"{first['tag']}-{index}"} for index in range(devices - 1)]
    if unplaced:
        for row in circuit["members"]:
            row.pop("area", None)
    return data | {"load_ohm": load}


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    length_m=st.integers(min_value=0, max_value=2000),
    devices=st.integers(min_value=1, max_value=4),
    load=st.sampled_from(["", "250 ohm", "not stated"]),
    unplaced=st.booleans(),
)
def test_a_preview_is_what_saving_would_store(
    loop_data: Callable[..., dict[str, Any]],
    author_as: Any,
    people: Any,
    length_m: int,
    devices: int,
    load: str,
    unplaced: bool,
) -> None:
    data = varied(loop_data(tag=f"PT-{length_m}-{devices}-{load}-{unplaced}"), length_m, devices, load, unplaced)
    before = row_counts()
    found = preview(data, people["designer"])
    assert row_counts() == before
    loop = save_loop(data, author_as("designer"))
    stored = loop.verification
    assert stored is not None
    for name in ("inputs", "results", "verdict", "function_verdict", "limiting", "judged_on", "engine"):
        assert found[name] == getattr(stored, name), name
    assert (found["least_margin"] is None) == (stored.least_margin is None)
    if stored.least_margin is not None:
        assert found["least_margin"] == Decimal(stored.least_margin)


def test_a_preview_takes_the_register_as_it_stands_now(
    loop: Any, loop_data: Any, people: Any, device: Any, device_data: dict[str, Any], save: Any
) -> None:
    device_data["terminals"][0]["ui_v"] = "20 V"
    save("equipment", device_data, record_id=device.pk)
    assert preview(loop_data(), people["designer"])["verdict"] == "does_not_comply"
    loop.refresh_from_db()
    assert loop.verification.verdict == "complies"


@pytest.mark.parametrize("role", ["reader", "approver", "neighbour", "outsider", "superuser"])
def test_who_may_not_save_may_not_judge(loop_data: Any, people: Any, role: str) -> None:
    with pytest.raises(PermissionDenied):
        preview(loop_data(), people[role])


def test_what_cannot_be_read_is_refused_as_in_saving(loop_data: Any, people: Any) -> None:
    with pytest.raises(EntryRefused) as refused:
        preview(loop_data(length="300"), people["designer"])
    assert set(refused.value.errors) == {"circuits.0.cables.0.length_m"}
