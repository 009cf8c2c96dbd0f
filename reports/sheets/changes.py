"""What differs between two snapshots of a loop, as lines that a person reads before signing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

NAMES = {
    "tag": "tag",
    "service": "service",
    "drawing": "loop drawing",
    "load_ohm": "load",
    "safe_voltage_max_v": "highest safe-area voltage",
    "notes": "notes",
    "interconnection": "interconnection",
    "fisco": "judged as FISCO",
    "role": "role",
    "terminals": "terminals",
    "area": "area",
    "made_on": "made on",
    "equipment_revision": "register revision of the equipment",
    "certificate_revision": "register revision of the certificate",
    "cable_type_revision": "register revision of the cable type",
    "from_point": "from",
    "to_point": "to",
    "cable_type": "cable type",
    "length_m": "length",
    "separation": "circuits in the cable",
    "archived": "archived",
    "site": "site",
    "name": "name",
}
CHILDREN = {"circuits": ("Circuit", "name"), "members": ("Item", "tag"), "cables": ("Cable", "tag")}


@dataclass(frozen=True)
class Change:
    """One difference. An empty `before` is something new, an empty `after` something taken away."""

    what: str
    before: str
    after: str


def shown(value: Any) -> str:
    """A snapshot's value as people read it."""
    if isinstance(value, Mapping):
        return str(value.get("text") or value.get("name") or "")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def changes(before: Mapping[str, Any] | None, after: Mapping[str, Any]) -> list[Change]:
    """What is different in `after`; everything that is new where there is no `before`."""
    return list(compare(before or {}, after, ""))


def compare(before: Mapping[str, Any], after: Mapping[str, Any], path: str) -> Iterator[Change]:
    for key in dict.fromkeys([*before, *after]):
        if key == "id":
            continue
        if key in CHILDREN:
            yield from compare_rows(before.get(key, []), after.get(key, []), path, *CHILDREN[key])
            continue
        old, new = before.get(key), after.get(key)
        if shown(old) != shown(new):
            name = NAMES.get(key, key.replace("_", " "))
            yield Change(f"{path}: {name}" if path else name.capitalize(), shown(old) or "–", shown(new) or "–")


def compare_rows(old: list[Any], new: list[Any], path: str, kind: str, label: str) -> Iterator[Change]:
    """Rows are the same by their key, else by their tag; what is left was added or taken away."""
    standing = {row["id"]: row for row in old}
    by_name = {row[label]: row for row in old}
    seen = set()
    for row in new:
        earlier = standing.get(row["id"]) or by_name.get(row[label])
        here = f"{path}, {kind.lower()} {row[label]}" if path else f"{kind} {row[label]}"
        if earlier is None or earlier["id"] in seen:
            yield Change(here, "", summary(row))
            continue
        seen.add(earlier["id"])
        yield from compare(earlier, row, here)
    for row in old:
        if row["id"] not in seen:
            yield Change(f"{path}, {kind.lower()} {row[label]}" if path else f"{kind} {row[label]}", summary(row), "")


def summary(row: Mapping[str, Any]) -> str:
    """A row in one line, for what was added or taken away."""
    facts = [
        shown(row[key])
        for key in ("terminals", "area", "cable_type", "length_m", "from_point", "to_point")
        if shown(row.get(key))
    ]
    facts += [str(child.get("tag", "")) for name in ("members", "cables") for child in row.get(name, [])]
    return ", ".join(facts) or "present"
