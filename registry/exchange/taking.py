"""From what was read in a certificate or a nameplate file to the text of a form, for a person to look through.

Nothing here saves. A value goes into a form only with the place where it was read beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry.exchange.pasted_result import Found, Pasted, equipment_text

STRUCTURE = frozenset({"name", "side", "group", "kind"})
"""What only says where values belong; alone it is worth no row."""
STAYS = STRUCTURE | {"maker", "type_name", "description", "function"}
"""What stays as it is stored where something is stored."""
KEYS = {"terminals": "name", "permitted": "group", "temperature_classes": "temperature_class"}


@dataclass(frozen=True)
class Offered:
    """A value that a form can take over: the path of its field, its text, where it was read.

    `certain` is false where the reader interpreted a word, as "negligible": a person decides about it.
    """

    path: str
    place: str
    found: Found

    @property
    def certain(self) -> bool:
        return self.found.is_plain


def offered(pasted: Pasted) -> tuple[list[Offered], dict[str, str]]:
    """The values of a pasted text by the path that each has in an equipment form, and the structure around them."""
    left = list(pasted.all_found())
    values: list[Offered] = []
    structure: dict[str, str] = {}

    def walk(node: Any, path: str, place: str) -> None:
        if isinstance(node, Mapping):
            here = ", ".join(part for part in (place, str(node.get("name") or node.get("group") or "")) if part)
            for key, value in node.items():
                walk(value, f"{path}.{key}" if path else key, here)
        elif isinstance(node, list):
            for index, value in enumerate(node):
                walk(value, f"{path}.{index}", place)
        else:
            column = path.rpartition(".")[2]
            found = taken_from(left, pasted, column, str(node))
            if found and column not in STRUCTURE:
                values.append(Offered(path, place, found))
            elif node:
                structure[path] = str(node)

    walk(equipment_text(pasted), "", "")
    return sorted(values, key=lambda item: (item.found.line_number, item.found.span)), structure


def taken_from(left: list[Found], pasted: Pasted, column: str, text: str) -> Found | None:
    """Where a value was read: the first place not used yet, else the first of all."""
    names = {column, "marking"} if column == "marking" else {column}
    for pool in (left, pasted.all_found()):
        for found in pool:
            if found.column in names and found.text == text:
                if found in left:
                    left.remove(found)
                return found
    return None


def without_bare_rows(data: dict[str, Any]) -> dict[str, Any]:
    """Rows in which nothing but their name, side or group was taken over are left out."""
    for name in KEYS:
        rows = data.get(name)
        if isinstance(rows, list):
            kept = [without_bare_rows(row) for row in rows if isinstance(row, dict)]
            data[name] = [row for row in kept if any(value for key, value in row.items() if key not in STRUCTURE)]
    return data


def laid_into(stored: Mapping[str, Any], taken: Mapping[str, Any]) -> dict[str, Any]:
    """The text of a record with the values taken over laid on it; rows meet by name, group or class.

    A single set of terminals without a name belongs to the single stored set of its side. What meets no stored row
    becomes a further one: nothing that is stored goes.
    """
    merged = dict(stored)
    for name, value in taken.items():
        if name not in KEYS:
            standing = stored.get(name)
            if name == "notes" and standing and standing != value:
                merged[name] = standing if value in standing else f"{standing}\n{value}"
            elif name not in STAYS or not standing:
                merged[name] = value
            continue
        rows = [dict(row) for row in stored.get(name) or []]
        for row in value:
            index = meeting(rows, row, name, alone=len(value) == 1)
            if index is None:
                rows.append(dict(row))
            else:
                rows[index] = laid_into(rows[index], row)
        merged[name] = rows
    return merged


def meeting(rows: list[dict[str, Any]], row: Mapping[str, Any], name: str, alone: bool) -> int | None:
    """Which stored row an incoming one belongs to."""
    key = row.get(KEYS[name])
    for index, stored in enumerate(rows):
        if key and stored.get(KEYS[name]) == key:
            return index
    alike = [index for index, stored in enumerate(rows) if stored.get("side") == row.get("side")]
    return alike[0] if name == "terminals" and alone and not key and len(alike) == 1 else None
