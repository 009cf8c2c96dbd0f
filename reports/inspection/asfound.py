"""The verdict of a loop with what an inspection found in place of what is on record. Nothing is written.

What was found and cannot be read as a value of the trade, or is not in the register, is unknown: the verdict is then
incomplete at best.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from loops.adapters import circuit_document
from loops.entries import CableEntry, LoopEntry, MemberEntry
from loops.models import Loop, LoopVerdict, Member
from loops.services.verification import areas_of, judge, pinned_snapshots, summary, today_at
from registry.entries import TerminalsEntry
from registry.fields import Reading
from registry.marked import classes_said, said
from registry.marking import MarkingError, parse_markings
from registry.models import CableType, HazardousArea, Revision, Terminals
from registry.quantities import Kind
from registry.reading import ReadingField, RecordField
from registry.services.records import latest_revision_ids, plain_reading
from registry.words import lazily

UNKNOWN = "unknown"
NOT_IN_REGISTER = lazily("What was found is not in the register: nobody can say yet. Add it there, then judge.")
NOT_JUDGED = lazily(
    "%(item)s is connected and not on record, so that nobody can say what holds. Add it to the loop, then judge."
)
NAMED = ("item", "cable_type", "marking", "extra")
"""Values that are names or marks, not quantities."""


@dataclass(frozen=True)
class Finding:
    """What was found in one row of a loop's content: texts by the name of the value."""

    target: Mapping[str, Any]
    found: Mapping[str, str]


@dataclass
class AsFound:
    """A loop's content while findings are laid into it."""

    content: dict[str, Any]
    pinned: dict[Any, Any]
    areas: dict[int, HazardousArea]
    doubts: list[str] = field(default_factory=list)

    def member(self, target: Mapping[str, Any]) -> dict[str, Any]:
        row: dict[str, Any] = self.content["circuits"][target["circuit"]][target["list"]][target["row"]]
        return row

    def terminals(self, target: Mapping[str, Any]) -> dict[str, Any]:
        """The terminals of a member, apart from those of every other member that is pinned to the same revision."""
        row = self.member(target)
        key = ("found", target["circuit"], target["row"])
        if row["equipment_revision"]["id"] != key:
            self.pinned[key] = copy.deepcopy(self.pinned[row["equipment_revision"]["id"]])
            row["equipment_revision"] = {"id": key}
        rows: list[dict[str, Any]] = self.pinned[key]["terminals"]
        return next(item for item in rows if item["id"] == row["terminals"]["id"])


def judged(loop: Loop, revision: Revision, findings: Iterable[Finding]) -> dict[str, Any]:
    """The verdict with all findings in place, as plain data: head, case documents, results, and what is in doubt."""
    content = copy.deepcopy(dict(revision.snapshot))
    state = AsFound(content, dict(pinned_snapshots(content)), dict(areas_of(content)))
    # The item first: what else was found is laid into it.
    for finding in findings:
        for name in sorted(finding.found, key=lambda name: name != "item"):
            lay(state, finding.target, name, finding.found[name])
    day = today_at(loop.site)
    inputs = [
        circuit_document(state.content, circuit, loop.site, state.areas, state.pinned, day)
        for circuit in state.content["circuits"]
    ]
    results = judge(inputs, loop.site)
    head = summary(results)
    verdict, limiting = str(head["verdict"]), head["limiting"]
    if state.doubts and verdict in (LoopVerdict.COMPLIES, LoopVerdict.INCOMPLETE):
        verdict, limiting = str(LoopVerdict.INCOMPLETE.value), state.doubts[0]
    return {
        "verdict": verdict,
        "function_verdict": head["function_verdict"],
        "limiting": limiting,
        "least_margin": str(head["least_margin"]) if head["least_margin"] is not None else "",
        "engine": head["engine"],
        "judged_on": day.isoformat(),
        "doubts": state.doubts,
        "inputs": inputs,
        "results": results,
    }


def lay(state: AsFound, target: Mapping[str, Any], name: str, text: str) -> None:
    """Put one value as found where the record's value was."""
    if name == "extra":
        state.doubts.append(str(NOT_JUDGED) % {"item": " ".join(text.split())})
    elif target["list"] == "loop":
        state.content[name] = reading_of(name, text)
    elif name == "item":
        lay_item(state, target, text)
    elif name == "marking":
        lay_marking(state, target, text)
    elif name == "cable_type":
        lay_cable_type(state, target, text)
    elif name == "ambient_max_degc":
        lay_ambient(state, target, text)
    elif name.startswith("permitted."):
        _rows, index, column = name.split(".")
        rows = state.terminals(target)["permitted"]
        if int(index) < len(rows):
            rows[int(index)][column] = reading_of(name, text)
    elif target["list"] == "members":
        state.terminals(target)[name] = reading_of(name, text)
    else:
        state.member(target)[name] = reading_of(name, text)


def lay_item(state: AsFound, target: Mapping[str, Any], text: str) -> None:
    """Put the item that the register knows by this name where the recorded one was; else all its values are unknown."""
    row = state.member(target)
    terminals = record_called(MemberEntry, "terminals", text)
    side = Terminals.Side.SOURCE if row["role"] == Member.Role.SOURCE else Terminals.Side.DEVICE
    if not isinstance(terminals, Terminals) or terminals.side != side:
        state.terminals(target)["unconfirmed"] = True
        state.doubts.append(f"{row['tag']}: {NOT_IN_REGISTER}")
        return
    row["equipment_revision"] = newest(state, "equipment", terminals.equipment_id)
    row["terminals"] = {"id": terminals.pk}
    certificate = terminals.certificate_id
    row["certificate_revision"] = newest(state, "certificate", certificate) if certificate else None


def newest(state: AsFound, kind: str, key: int) -> dict[str, Any]:
    """The newest content of a record of the register, as a pin of the loop's content."""
    pk = latest_revision_ids(kind, [key])[key]
    state.pinned[pk] = Revision.objects.values_list("snapshot", flat=True).get(pk=pk)
    return {"id": pk}


def lay_marking(state: AsFound, target: Mapping[str, Any], text: str) -> None:
    """Put what a marking says of level, groups, classes and ambient in place of the record; the rest is unknown."""
    terminals = state.terminals(target)
    gives = state.member(target)["role"] == Member.Role.SOURCE
    terminals |= {"level": "", "gas_group": "", "dust_group": "", "gas_epl": "", "dust_epl": ""}
    try:
        markings = parse_markings(text)
    except MarkingError:
        state.doubts.append(
            _("%(target)s: the marking as found cannot be read as an Ex marking.")
            % {"target": state.member(target)["tag"]}
        )
        terminals["temperature_classes"] = []
        return
    for column, word in said(markings, gives):
        ambient = column.startswith("ambient")
        terminals[column] = plain_reading(Reading.of(word, Kind.TEMPERATURE)) if ambient else word
    if not gives:
        standing = {row["temperature_class"]: row for row in terminals["temperature_classes"]}
        terminals["temperature_classes"] = [
            standing.get(name)
            or {
                "temperature_class": name,
                "ambient_max_degc": plain_reading(Reading.of(limit, Kind.TEMPERATURE)) if limit else STANDARD,
                "pi_w": None,
                "ii_a": None,
            }
            for name, limit in classes_said(markings)
        ]


STANDARD = {"text": "40 degC", "si": "40"}
"""A marking without an ambient holds from -20 to 40 degC (IEC 60079-0:2017, clause 5.1.1, from memory)."""


def lay_cable_type(state: AsFound, target: Mapping[str, Any], text: str) -> None:
    """Put another cable type in place; one that the register does not hold counts with the values of unknown cable."""
    row = state.member(target)
    cable_type = record_called(CableEntry, "cable_type", text)
    row["cable_type_revision"] = None
    if isinstance(cable_type, CableType):
        row["cable_type_revision"] = newest(state, "cable_type", cable_type.pk)
    else:
        state.doubts.append(f"{row['tag']}: {NOT_IN_REGISTER}")


def lay_ambient(state: AsFound, target: Mapping[str, Any], text: str) -> None:
    """Raise or lower the highest ambient of a member's area."""
    area = state.member(target)["area"]
    if area and area["id"] in state.areas:
        found = copy.copy(state.areas[area["id"]])
        reading = reader("ambient_max_degc").clean(known(text))
        found.ambient_max_degc, found.ambient_max_degc_text = reading.value_si, reading.text
        state.areas[area["id"]] = found


# ------------------------------------------------------------------------------------------- reading what is typed


def known(text: str) -> str:
    """A text as the readers of the register take it: there an empty one is unknown."""
    return "" if text.strip().lower() == UNKNOWN else text


def reader(name: str) -> ReadingField:
    """The reader of a quantity that may be found."""
    column = name.rsplit(".", 1)[-1]
    for entry in (TerminalsEntry, TerminalsEntry.children["permitted"], CableEntry, LoopEntry):
        found = entry.base_fields.get(column)
        if isinstance(found, ReadingField):
            return found
    raise LookupError(name)


def reading_of(name: str, text: str) -> dict[str, str] | None:
    """A quantity as found, as it stands in a snapshot."""
    return plain_reading(reader(name).clean(known(text)))


def fault_of(name: str, text: str) -> str:
    """What is wrong with a value as found, as a sentence; empty where nothing is."""
    if name in NAMED:
        return ""
    try:
        reader(name).clean(known(text))
    except ValidationError as error:
        return _("%(messages)s Write “unknown” where it cannot be read.") % {"messages": error.messages[0]}
    return ""


def differs(name: str, expected: str, text: str) -> bool:
    """Whether a value as found is another than that on record; both spellings of the same quantity are the same."""
    if name in NAMED:
        return " ".join(text.split()).casefold() != " ".join(expected.split()).casefold()
    try:
        one, other = (reader(name).clean(known(item)) for item in (expected, text))
    except ValidationError:
        return True
    if one.value_si is None and other.value_si is None:
        return bool(one.state != other.state)
    return bool(one.value_si != other.value_si)


def record_called(entry: Any, name: str, text: str) -> Any:
    """The record of the register with this name; None where there is none, or more than one."""
    field = entry.base_fields[name]
    assert isinstance(field, RecordField)
    try:
        return field.clean(" ".join(text.split()))
    except ValidationError:
        return None


__all__ = ["Finding", "differs", "fault_of", "judged"]
