"""The rows of the editor of a loop: what its buttons do with nested text, and which rows hold nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils.translation import gettext

from loops.entries import NOT_CHOSEN, CableEntry, LoopEntry, MemberEntry, near_terminals
from loops.models import Member
from loops.picks import terminals_named
from registry.models import Terminals
from registry.reading import join
from registry.views.forms import add_or_remove, drop_blank_rows, is_blank, rows_at

SOURCES, DEVICES, CABLES, TERMINATORS = "sources", "devices", "cables", "terminators"
FOLLOWS = {(DEVICES, "area"): "area", (CABLES, "from_point"): "to_point"}
"""What a row that is added takes over from the row before it, and from which of its columns: the next device stands
beside the last one, the next run begins where the last one ends."""


def blank_loop(site_code: str) -> dict[str, Any]:
    """What a new loop's form shows: one circuit with a row of each kind."""
    circuit = {"name": gettext("Circuit 1"), "members": [{"role": "source"}, new_device()], "cables": [{}]}
    return {"site": site_code, "circuits": [circuit]}


def new_device(role: str = Member.Role.DEVICE.value) -> dict[str, Any]:
    """What the row of a further device shows: somebody has yet to say where it stands."""
    return {"role": role, "area": NOT_CHOSEN}


def row_command(data: dict[str, Any], command: str, value: str) -> str:
    """Carry out a row button on nested text and return the path of the field to focus."""
    if command == "_chain":
        return chain(data, value)
    if command == "_up":
        return move_up(data, value)
    path, _colon, role = value.partition(":")
    focus = add_or_remove(data, command, path, LoopEntry)
    row = row_at(data, focus)
    if command == "_add" and row is not None:
        if path.endswith(".members"):
            role = role if role in Member.Role.values else Member.Role.DEVICE.value
            row |= {"role": role} if role == Member.Role.SOURCE.value else new_device(role)
        if path.endswith((".members", ".cables")):
            follow(data, path, row)
        elif path == "circuits":
            row |= blank_loop("")["circuits"][0] | {"name": free_name(data)}
    if command == "_duplicate" and row is not None and path.count(".") == 1:
        row["name"] = free_name(data)
    return join(focus, "name" if focus.count(".") == 1 else "tag") if focus else ""


def follow(data: dict[str, Any], path: str, row: dict[str, Any]) -> None:
    """Let a row that was added at the end of a list take over what `FOLLOWS` says."""
    kind = CABLES if path.endswith(".cables") else SOURCES if is_source(row) else DEVICES
    others = rows_at(data, path.split("."), LoopEntry) or []
    before = [
        other for other in others if other is not row and isinstance(other, dict) and is_source(other) == is_source(row)
    ]
    for (where, name), follows in FOLLOWS.items():
        if where == kind and before and (text := before[-1].get(follows)):
            row[name] = text


def move_up(data: dict[str, Any], path: str) -> str:
    """Let a row change places with the one before it: a source with a source, a device with a device."""
    row = row_at(data, path)
    list_path, _dot, position = path.rpartition(".")
    rows = rows_at(data, list_path.split("."), LoopEntry) if row is not None else None
    if row is None or rows is None:
        return ""
    here = int(position)
    alike = [
        index
        for index, other in enumerate(rows[:here])
        if isinstance(other, dict) and is_source(other) == is_source(row)
    ]
    there = alike[-1] if alike else here
    rows[here], rows[there] = rows[there], rows[here]
    return join(f"{list_path}.{there}", "name" if list_path == "circuits" else "tag")


def is_source(row: Mapping[str, Any]) -> bool:
    return row.get("role") == Member.Role.SOURCE.value


def row_at(data: dict[str, Any], path: str) -> dict[str, Any] | None:
    """The row of nested text at a path like `circuits.0.members.1`."""
    list_path, _dot, position = path.rpartition(".")
    rows = rows_at(data, list_path.split("."), LoopEntry) if list_path else None
    if rows is None or not position.isdecimal() or int(position) >= len(rows):
        return None
    row = rows[int(position)]
    return row if isinstance(row, dict) else None


def free_name(data: Mapping[str, Any]) -> str:
    """A circuit name that is not taken yet."""
    taken = {row.get("name") for row in data.get("circuits", []) if isinstance(row, Mapping)}
    return next(name for number in range(1, 1000) if (name := f"Circuit {number}") not in taken)


def chain(data: dict[str, Any], path: str) -> str:
    """Begin a new circuit in which a device of another circuit is the source, under the same tag and in its area.

    Its output terminals are chosen where the device has exactly one set of them.
    """
    row = row_at(data, path)
    if row is None or ".members." not in path:
        return ""
    source = {
        "role": "source",
        "tag": row.get("tag", ""),
        "area": row.get("area", ""),
        "made_on": row.get("made_on", ""),
    }
    source["terminals"] = output_terminals(str(row.get("terminals", "")))
    data["circuits"].append(
        {"name": free_name(data), "members": [source, {"role": "device", "area": row.get("area", "")}], "cables": [{}]}
    )
    return f"circuits.{len(data['circuits']) - 1}.members.0.tag"


def output_terminals(name: str) -> str:
    """The name of the one set of output terminals of the device that has the input terminals `name`; else nothing."""
    device = terminals_named().filter(near_terminals(name), picked_name=name, side=Terminals.Side.DEVICE).first()
    if device is None:
        return ""
    outputs = list(terminals_named().filter(equipment_id=device.equipment_id, side=Terminals.Side.SOURCE)[:2])
    return str(outputs[0].picked_name) if len(outputs) == 1 else ""


def without_blank_rows(data: dict[str, Any]) -> dict[str, Any]:
    """Leave out rows in which nothing was typed or chosen, and the last ones that hold only what they took over."""
    circuits = data.get("circuits")
    for circuit in circuits if isinstance(circuits, list) else []:
        members = circuit.get("members") if isinstance(circuit, dict) else None
        if isinstance(members, list):
            circuit["members"] = [
                row
                for row in members
                if not isinstance(row, dict) or any(row[key] for key in row if key not in bare(row))
            ]
    data = drop_blank_rows(data, LoopEntry)
    for circuit in circuits if isinstance(circuits, list) else []:
        for kind, name in ((DEVICES, "members"), (CABLES, "cables")):
            rows = circuit.get(name) if isinstance(circuit, dict) else None
            while isinstance(rows, list) and untouched(kind, rows):
                rows.pop()
    return data


def bare(row: Mapping[str, Any]) -> set[str]:
    """The columns of a row that say nothing although they are filled."""
    return {"role", "area"} if row.get("area") == NOT_CHOSEN else {"role"}


def untouched(kind: str, rows: Sequence[Any]) -> bool:
    """Whether the last row holds nothing but what it took over from the one before it."""
    if len(rows) < 2 or not all(isinstance(row, dict) and not is_source(row) for row in rows[-2:]):
        return False
    before, last = rows[-2:]
    entry = CableEntry if kind == CABLES else MemberEntry
    taken = {
        name for (where, name), follows in FOLLOWS.items() if where == kind and last.get(name) == before.get(follows)
    }
    return is_blank({key: text for key, text in last.items() if key not in taken | bare(last)}, entry)
