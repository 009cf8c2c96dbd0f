"""Judging what is typed before anything is saved."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.db import models

from loops.entries import LoopEntry
from loops.models import CableRun, Circuit, Loop, Member, Terminator
from loops.services.loops import Pins
from loops.services.verification import documents, judge, summary, today_at
from registry import access
from registry.models import User
from registry.reading import read_entry
from registry.services.records import EntryRefused, assign, snapshot


def preview(data: Mapping[str, Any], user: User) -> dict[str, Any]:
    """Read nested text as a loop and judge it with the register as it stands now. Nothing is written.

    Returns the head of the verdict (as loops.services.verification.summary) with `inputs`, `results`, `judged_on` and
    the `site`, the same that saving this text now would store. Raises EntryRefused and PermissionDenied as saving does.
    """
    cleaned, errors = read_entry(LoopEntry, data)
    if errors:
        raise EntryRefused(errors)
    site = cleaned["site"]
    access.require(user, "loop.edit", site)
    judge_on = today_at(site)
    inputs = documents(draft_snapshot(cleaned), site, judge_on)
    results = judge(inputs, site)
    return {**summary(results), "inputs": inputs, "results": results, "judged_on": judge_on, "site": site}


def draft_snapshot(cleaned: Mapping[str, Any]) -> dict[str, Any]:
    """The snapshot that a loop with these cleaned values would have once it is saved; its rows have no keys yet."""
    pins = Pins(cleaned, named=True)
    content = unsaved(Loop, cleaned, pins)
    content["circuits"] = [
        unsaved(Circuit, circuit, pins)
        | {
            "members": [unsaved(Member, row, pins) for row in circuit["members"]],
            "cables": [unsaved(CableRun, row, pins) for row in circuit["cables"]],
            "terminators": [unsaved(Terminator, row, pins) for row in circuit["terminators"]],
        }
        for circuit in cleaned["circuits"]
    ]
    return content


def unsaved(
    model: type[models.Model], cleaned: Mapping[str, Any], pins: Callable[[models.Model], None]
) -> dict[str, Any]:
    """The snapshot of one row that was never saved, without the rows below it."""
    record = model()
    assign(record, cleaned)
    pins(record)
    record.revision_children = ()  # type: ignore[attr-defined]
    return snapshot(record)
