"""A nameplate typed by hand: read by the same readers as the register, judged like an item of it, and not saved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from loops.models import Remark
from loops.services.preview import unsaved
from loops.services.reviews import remark
from loops.services.suitability.answers import Answer, Word
from loops.services.suitability.drafts import require_reason, tell_designers
from loops.services.suitability.positions import TYPED, Candidate, Position
from registry import access
from registry.entries import CertificateEntry, EquipmentEntry
from registry.models import Certificate, Equipment, PermittedRow, TemperatureRow, Terminals
from registry.parameters import parameter_of
from registry.reading import join, read_entry
from registry.services.changes import recorded
from registry.services.records import Author
from registry.words import lazily

CERTIFICATE = "paper"
"""Where the text of the certificate stands beside that of the item."""


def read_typed(position: Position, data: Mapping[str, Any]) -> tuple[Candidate | None, dict[str, list[str]]]:
    """The item that a text describes as a candidate for a position, or the faults by path.

    The text is that of an item (registry.entries.EquipmentEntry) with a set of terminals for each place, and under
    "paper" that of its certificate; without a number there is none.
    """
    text = {key: value for key, value in data.items() if key != CERTIFICATE}
    rows = text.get("terminals")
    text["kind"] = position.standing.item["kind"]
    text["terminals"] = [
        dict(row if isinstance(row, Mapping) else {}) | {"side": str(place.side)}
        for row, place in zip(rows if isinstance(rows, list) else [], position.places, strict=False)
    ]
    cleaned, errors = read_entry(EquipmentEntry, text)
    paper, faults = read_paper(data.get(CERTIFICATE))
    errors |= faults
    if len(text["terminals"]) < len(position.places):
        errors.setdefault("terminals", []).append(
            _("Give a set of terminals for each of the %d places.") % len(position.places)
        )
    if errors:
        return None, errors
    item = unsaved(Equipment, cleaned, nothing)
    certificate = {"id": TYPED, "name": paper["number"]} if paper else None
    item |= {
        "id": TYPED,
        "terminals": [
            unsaved(Terminals, row, nothing)
            | {
                # Keys of rows that are stored are above zero.
                "id": -number,
                "certificate": certificate,
                "permitted": [unsaved(PermittedRow, line, nothing) for line in row["permitted"]],
                "temperature_classes": [unsaved(TemperatureRow, line, nothing) for line in row["temperature_classes"]],
            }
            for number, row in enumerate(cleaned["terminals"], 1)
        ],
    }
    keys = tuple(row["id"] for row in item["terminals"])
    return Candidate(TYPED, item, {TYPED: paper} if paper else {}, keys), {}


def read_paper(data: Any) -> tuple[dict[str, Any] | None, dict[str, list[str]]]:
    """The certificate as typed; None where no number was."""
    text = dict(data) if isinstance(data, Mapping) else {}
    if not any(text.get(name) for name in ("number", "specific_conditions", "valid_to")):
        return None, {}
    cleaned, errors = read_entry(
        CertificateEntry, {"issue": "0"} | {key: value for key, value in text.items() if value}
    )
    if errors:
        return None, {join(CERTIFICATE, path): messages for path, messages in errors.items()}
    return unsaved(Certificate, cleaned, nothing) | {"id": TYPED}, {}


def nothing(record: object) -> None:
    """Pins of a record that is pinned to nothing."""


WORDS = {Word.SUITS: "suits", Word.DOES_NOT: lazily("does not suit"), Word.CANNOT_SAY: lazily("cannot be said to suit")}


def send_typed(found: Answer, author: Author) -> Remark:
    """Ask the engineer about an item that is in no register: a remark on the loop with all values, and notices.

    Raises EntryRefused without a reason, WorkflowRefused, PermissionDenied.
    """
    loop, candidate = found.position.loop, found.candidate
    access.require(author.user, "loop.propose", loop.site)
    require_reason(author)
    lines = [
        (
            _("%(name)s %(word)s in place of %(name2)s by its nameplate. %(why)s")
            % {
                "name": candidate.name,
                "word": WORDS[found.word],
                "name2": found.position.standing.name,
                "why": found.why[0] if found.why else "",
            }
        ).strip(),
        author.reason,
        *values_of(candidate),
    ]
    with recorded():
        thread = remark(loop.pk, author.user, text="\n".join(lines), about=found.position.tag)
        names = f"{candidate.name}, not in the register, is proposed in place of {found.position.standing.name}"
        subject = f"{found.position.tag} in {loop}: {names}. {author.reason}"
        tell_designers([loop], author.user, subject, reverse("loop", args=[loop.pk]))
    return thread


def values_of(candidate: Candidate) -> list[str]:
    """What was typed of an item, a line for each set of terminals."""
    lines = []
    if candidate.item["marking"]:
        lines.append(candidate.item["marking"])
    for row in candidate.sets:
        paper = candidate.certificate(row)
        words = [
            f"{short_name(name)} {value['text']}"
            for name, value in row.items()
            if isinstance(value, Mapping) and "text" in value
        ]
        words += [row[name] for name in ("level", "gas_group", "dust_group", "output", "isolation") if row[name]]
        words += [f"EPL {row[name]}" for name in ("gas_epl", "dust_epl") if row.get(name)]
        words += [
            f"{line['temperature_class']} {(line['ambient_max_degc'] or {}).get('text', '')}".strip()
            for line in row["temperature_classes"]
        ]
        lines.append(f"{row['name']}: {', '.join(words)}{'; ' + paper['number'] if paper else ''}")
    return lines


def short_name(column: str) -> str:
    """A value of terminals as the trade calls it."""
    parameter = parameter_of(Terminals, column)
    return parameter.short if parameter else column
