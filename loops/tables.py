"""The table of loops: a row a circuit, its members, cable runs and terminators in numbered columns.

Saving goes the way of every other door, loop by loop: each is pinned, versioned and verified. A loop in which nothing
differs is left alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from django.core.exceptions import PermissionDenied
from django.db import models

from loops.entries import LoopEntry
from loops.models import CableRun, Circuit, Loop, Member, Terminator
from loops.services.loops import save_loop
from loops.services.uses import saved_effects
from registry import access
from registry.choices import remembered_choices
from registry.exchange.layouts import Column, Layout, Numbered, register
from registry.exchange.register_layouts import columns_of
from registry.reading import EntryForm, read_entry
from registry.services.bulk import BatchRefused, Incoming, Outcome, unchanged
from registry.services.changes import recorded
from registry.services.imports import ImportKind, register_kind
from registry.services.records import Author, EntryRefused

HEADINGS = {
    (Loop, "load_ohm"): "load",
    (Loop, "safe_voltage_max_v"): "highest voltage in the safe area",
    (Circuit, "name"): "circuit",
    (Member, "made_on"): "made on",
    (CableRun, "cable_type"): "type",
    (CableRun, "length_m"): "length",
    (CableRun, "separation"): "separation",
    (Terminator, "resistance_ohm"): "resistance",
    (Terminator, "capacitance_f"): "capacitance",
}
EXAMPLES: Mapping[type[models.Model], Mapping[str, str]] = {
    Loop: {"site": "NORTH", "tag": "PT-1101", "service": "Reactor pressure", "load_ohm": "250 ohm"},
    Circuit: {"name": "Circuit 1", "interconnection": "undefined"},
    Member: {"role": "source", "tag": "PT-1101-B", "terminals": "Northlight Barriers NB-28, 1-2"},
    CableRun: {
        "tag": "C-1101",
        "cable_type": "Pair 1.5 mm2",
        "length_m": "300 m",
        "separation": "single_circuit",
        "role": "trunk",
    },
    Terminator: {},
}


def columns(model: type[models.Model], entry: type[EntryForm]) -> tuple[Column, ...]:
    """The columns of a model, what a row is called first."""
    named = sorted(columns_of(model, entry.base_fields), key=lambda column: column.name not in {"name", "tag"})
    return tuple(
        replace(
            column,
            heading=HEADINGS.get((model, column.name), column.heading),
            example=EXAMPLES[model].get(column.name, ""),
        )
        for column in named
    )


def save_loops(batch: Sequence[Incoming], author: Author) -> Outcome:
    """Save a batch of loops, all or none. Raises BatchRefused with the errors of every loop."""
    outcome = Outcome()
    with recorded():
        for index, item in enumerate(batch):
            try:
                save_one(item, author, outcome)
            except EntryRefused as refused:
                outcome.errors[index] = refused.errors
            except PermissionDenied as error:
                outcome.errors[index] = {"site": [str(error)]}
        if outcome.errors:
            raise BatchRefused(outcome)
    return outcome


def save_one(item: Incoming, author: Author, outcome: Outcome) -> None:
    """Save one loop of a batch, or leave it alone. Raises EntryRefused, PermissionDenied."""
    stored = item.record
    if isinstance(stored, Loop):
        access.require(author.user, "loop.edit", stored.site)
        with remembered_choices():
            cleaned, errors = read_entry(LoopEntry, item.data)
        if not errors and unchanged(stored, cleaned):
            outcome.unchanged += 1
            outcome.records.append(stored)
            return
    loop = save_loop(item.data, author, loop_id=stored.pk if stored else None)
    outcome.records.append(loop)
    if stored:
        outcome.changed += 1
    else:
        outcome.added += 1


def register_loops() -> None:
    """Make the table of loops known to pages and commands."""
    circuit = LoopEntry.children["circuits"]
    lists = (
        ("members", "member", Member, 2),
        ("cables", "cable", CableRun, 1),
        ("terminators", "terminator", Terminator, 0),
    )
    register(
        Layout(
            "loop",
            "Loop",
            ("site", "tag"),
            columns(Loop, LoopEntry),
            "circuits",
            columns(Circuit, circuit),
            "name",
            tuple(
                Numbered(name, word, columns(model, circuit.children[name]), shown)
                for name, word, model, shown in lists
            ),
        )
    )
    register_kind(ImportKind("loop", LoopEntry, ("site__code", "tag"), save_loops, saved_effects))
