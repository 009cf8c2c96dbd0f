"""A sheet in the unit that its site reads lengths in: what was typed stays, the site's unit stands beside it."""

from __future__ import annotations

from dataclasses import replace

from registry.lengths import lengths_in, typed_length
from reports.diagrams import Plan
from reports.sheets.content import Check, Circuit, SheetContent


def plan_in(plan: Plan, unit: str) -> Plan:
    """A diagram with the lengths of its runs in the site's unit."""
    return replace(plan, runs=tuple(replace(run, length=typed_length(run.length, unit)) for run in plan.runs))


def content_in(content: SheetContent, unit: str) -> SheetContent:
    """What a sheet says, with every length in the site's unit."""
    return replace(
        content,
        limiting=lengths_in(content.limiting, unit),
        circuits=tuple(circuit_in(circuit, unit) for circuit in content.circuits),
    )


def circuit_in(circuit: Circuit, unit: str) -> Circuit:
    def told(check: Check) -> Check:
        return replace(check, why=lengths_in(check.why, unit), cure=lengths_in(check.cure, unit))

    return replace(
        circuit,
        plan=plan_in(circuit.plan, unit),
        cables=tuple(replace(cable, length=typed_length(cable.length, unit)) for cable in circuit.cables),
        checks=tuple(map(told, circuit.checks)),
        longest=lengths_in(circuit.longest, unit),
    )
