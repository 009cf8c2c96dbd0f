"""Many loops like one: the same equipment and cables under other tags and with other lengths, all of them or none."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from loops import selectors
from loops.models import Loop
from loops.tables import save_loops
from registry.services.bulk import BatchRefused, Incoming
from registry.services.records import Author
from registry.views.forms import without_keys

MOST_LOOPS = 200
_SEPARATOR = re.compile(r"\t|;")


@dataclass
class Line:
    """One line of the list: its number (from 1), what it says, and what became of it."""

    number: int
    tag: str
    lengths: list[str]
    service: str = ""
    faults: list[str] = field(default_factory=list)
    loop: Loop | None = None


def runs_of(loop: Loop) -> list[str]:
    """The cable runs of a loop in the order in which a line gives their lengths."""
    return [run.tag for circuit in loop.circuits.all() for run in circuit.cables.all()]


def read_lines(text: str, runs: int) -> list[Line]:
    """The lines of a list: tag, one length for each run, and the service, parted by tabs or semicolons.

    Faults stand at their line. Blank lines count but make no loop.
    """
    found = []
    seen: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        tag, *rest = [cell.strip() for cell in _SEPARATOR.split(line)]
        item = Line(number, tag, rest[:runs], rest[runs] if len(rest) > runs else "")
        if not tag:
            item.faults.append(_("The tag is missing: begin the line with it."))
        if len(rest) < runs:
            item.faults.append(
                _("%(found)d of %(wanted)d lengths are there: give one for each run, parted by tabs or semicolons.")
                % {"found": len(rest), "wanted": runs}
            )
        if any(rest[runs + 1 :]):
            item.faults.append(
                _("There is more than a tag, the lengths and a service: take “%s” out.") % "; ".join(rest[runs + 1 :])
            )
        if tag.casefold() in seen:
            item.faults.append(_("Line %d has the same tag: change one of the two.") % seen[tag.casefold()])
        seen.setdefault(tag.casefold(), number)
        found.append(item)
    return found


def like(typical: Mapping[str, Any], old_tag: str, line: Line) -> dict[str, Any]:
    """The nested text of one more loop: the tag of the typical gives way to the new one wherever it stands in a name.

    A name without it (a shared junction box, say) stays. Drawing and days of manufacture belong to one loop alone and
    are left behind.
    """
    data: dict[str, Any] = copy.deepcopy(without_keys(typical))
    data |= {"tag": line.tag, "service": line.service or data.get("service", ""), "drawing": ""}
    lengths = iter(line.lengths)
    for circuit in data["circuits"]:
        for row in (*circuit["members"], *circuit["cables"]):
            row.update(
                {key: renamed(row[key], old_tag, line.tag) for key in ("tag", "from_point", "to_point") if key in row}
            )
        for member in circuit["members"]:
            member["made_on"] = ""
        for run in circuit["cables"]:
            run["length_m"] = next(lengths)
    return data


def renamed(name: str, old: str, new: str) -> str:
    """The name with the tag in it replaced, whatever its case.

    >>> renamed("PT-1101-W1", "PT-1101", "PT-1102"), renamed("JB-7", "PT-1101", "PT-1102")
    ('PT-1102-W1', 'JB-7')
    """
    return re.sub(re.escape(old), lambda _: new, name, flags=re.IGNORECASE) if old else name


def make_series(loop: Loop, lines: Sequence[Line], author: Author, *, commit: bool) -> bool:
    """Save a loop for each line, or only find out what would come of it; true when all of them can be (or are) saved.

    Faults and, where there are none, the loops with their verdicts are left at the lines. Nothing is saved while any
    line has a fault.
    """
    if any(line.faults for line in lines) or not lines:
        return False
    typical = selectors.record_names(loop)
    batch = [Incoming(like(typical, loop.tag, line)) for line in lines]
    try:
        with transaction.atomic():
            outcome = save_loops(batch, author)
            for line, made in zip(lines, outcome.records, strict=True):
                assert isinstance(made, Loop)
                line.loop = made
            if not commit:
                transaction.set_rollback(True)
    except BatchRefused as refused:
        for index, errors in refused.outcome.errors.items():
            lines[index].faults.extend(_told(errors))
        return False
    return True


def _told(errors: Mapping[str, Sequence[str]]) -> Iterator[str]:
    """Each fault with the place that it concerns, unless that is the tag at the head of the line."""
    for path, messages in errors.items():
        for message in messages:
            yield message if path in ("", "tag") else f"{path}: {message}"
