"""A stored verification as a page shows it: what limits, how much is left, what is connected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from loops.models import Circuit, Loop
from loops.services.reach import Reaches, reaches_of
from loops.services.tables import own_tables, tables_by
from loops.services.verification import margin_of
from loops.telling import spoken, told
from loops.views.reach import shown_reach
from registry.lengths import LengthUnit, lengths_in
from registry.models import Site
from registry.remembering import remembered
from registry.services.attachments import files_by_record
from registry.words import lazily

Result = Mapping[str, Any]
QUANTITIES = (
    ("voltage", lazily("Voltage"), lazily("Uo against Ui")),
    ("current", lazily("Current"), lazily("Io against Ii")),
    ("power", lazily("Power"), lazily("Po against Pi")),
    ("capacitance", lazily("Capacitance"), lazily("devices and cables against Co")),
    ("inductance", lazily("Inductance"), lazily("devices and cables against Lo")),
)
NO_MARGIN = Decimal(2)
"""Sorts a check without a margin behind those that have one: no margin is above 1."""

SEVERITY = ("fail", "beyond_simple_rules", "incomplete", "confirm", "pass", "not_applicable")


def margins(result: Result) -> list[dict[str, Any]]:
    """One bar for each of U, I, P, C and L: the worst check of that quantity on the circuit."""
    bars = []
    for name, label, meaning in QUANTITIES:
        checks = [check for check in result["checks"] if check["id"] == name]
        if checks:
            worst = min(checks, key=urgency)
            subject = (worst.get("subject") or meaning).replace(" -> ", " → ")
            note = (
                (_("%(subject)s; the tightest of %(count)s.") % {"subject": subject, "count": len(checks)})
                if len(checks) > 1
                else f"{subject}."
            )
            bars.append({**worst, "label": label, "note": note})
    return bars


def urgency(check: Mapping[str, Any]) -> tuple[int, Any]:
    """Order of checks: the more severe verdict first, then the smaller margin."""
    verdict = check["verdict"]
    margin = margin_of(check)
    return (SEVERITY.index(verdict) if verdict in SEVERITY else 0, NO_MARGIN if margin is None else margin)


def cures(results: Sequence[Result], unit: str = LengthUnit.METRE) -> list[dict[str, str]]:
    """The checks that stand in the way, each with its reason and, where one can be computed, its cure; lengths in the
    unit of the site. `tag` is the item or run that the check speaks of; of two, the one that takes energy."""
    found = []
    for result in results:
        for check in sorted(result["checks"], key=urgency):
            if check["verdict"] in {"fail", "beyond_simple_rules", "incomplete"}:
                cure = check.get("cure") or ""
                why = check["why"].removesuffix(cure).strip()
                words = {"why": spoken(why, unit), "cure": spoken(cure, unit)}
                words["tag"] = check.get("subject", "").rpartition(" -> ")[2]
                found.append({"id": check["id"], "verdict": check["verdict"], **words})
    return found


def with_reach(rows: list[dict[str, Any]], site: Site, content: str) -> None:
    """Write into the rows of `circuits` how far each limit lets the last run grow, as `reach`; `content` is the digest
    of the verification that they show."""
    own = own_tables(site)

    def reached() -> list[Reaches | None]:
        tables = tables_by(own)
        return [reaches_of(row["document"], tables) for row in rows]

    found = remembered("reach", f"{content}:{sorted(own.items())}", reached)
    for row, reaches in zip(rows, found, strict=True):
        row["reach"] = shown_reach(reaches, site.length_unit)


def with_files(rows: list[dict[str, Any]]) -> None:
    """Write into the members of the rows of `circuits` the files of the certificate that their values rest on."""
    members = [member for row in rows for member in row["members"] if member.terminals.certificate_id]
    found = files_by_record("certificate", [member.terminals.certificate_id for member in members])
    for member in members:
        member.certificate_files = found.get(member.terminals.certificate_id, [])


def circuits(
    loop: Loop, inputs: Sequence[Mapping[str, Any]], results: Sequence[Result], unit: str = LengthUnit.METRE
) -> list[dict[str, Any]]:
    """Each circuit of a loop with its result and what is connected on it; lengths in sentences in the site's unit."""
    rows = []
    stored: list[Circuit | None] = list(loop.circuits.all()) if loop.pk else []
    for index, result in enumerate(results):
        circuit = stored[index] if index < len(stored) else None
        document = inputs[index] if index < len(inputs) else {}
        spoken = told(result)
        rows.append(
            {
                "number": index,
                "name": circuit.name if circuit else document.get("case", "").rpartition(" / ")[2],
                "verdict": result["verdict"],
                "margins": margins(spoken),
                "checks": [
                    {
                        **check,
                        "subject": check["subject"].replace(" -> ", " → "),
                        "why": lengths_in(check["why"], unit),
                    }
                    for check in sorted(spoken["checks"], key=urgency)
                ],
                "result": spoken,
                "document": document,
                "circuit": circuit,
                "members": list(circuit.members.all()) if circuit else [],
                "cables": list(circuit.cables.all()) if circuit else [],
                "terminators": list(circuit.terminators.all()) if circuit else [],
            }
        )
    return rows
