"""What a circuit diagram shows, as plain data, from a stored loop snapshot or from a case document alone."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from registry.signs import with_signs
from registry.stored import figures

Content = Mapping[str, Any]


@dataclass(frozen=True)
class Item:
    """A source, field device or inline item. `area` is empty in the safe area; `earthed` None where unknown."""

    tag: str
    role: str
    type_name: str = ""
    terminals: str = ""
    lines: tuple[str, ...] = ()
    area: str = ""
    hazardous: bool = False
    simple: bool = False
    earthed: bool | None = None


@dataclass(frozen=True)
class Run:
    """A run of cable; `start` and `end` are the points it joins, as they were typed."""

    tag: str
    start: str = ""
    end: str = ""
    length: str = ""
    type_name: str = ""

    @property
    def text(self) -> str:
        return " · ".join(part for part in (self.tag, figures(self.length)) if part)


@dataclass(frozen=True)
class Plan:
    """One circuit to draw."""

    name: str
    items: tuple[Item, ...]
    runs: tuple[Run, ...]
    area: str = ""
    verdict: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def sources(self) -> list[Item]:
        return [item for item in self.items if item.role == "source"]


def joined(values: Content, names: Sequence[str]) -> str:
    """The typed values of some parameters: `Uo 25.2 V · Io 95 mA`; what is unknown shows as a question mark."""
    return with_signs(" · ".join(f"{name} {figures(values.get(name) or '?')}" for name in names))


def marks(document: Content) -> str:
    """Level and group of an item of a case document."""
    return " ".join(part for part in (document.get("level"), document.get("group")) if part)


def area_words(area: Content) -> str:
    """`Zone 1, IIC, T4, -20 °C to 40 °C` from the area of a case document; empty where there is none."""
    if not area:
        return ""
    place = f"Zone {area['zone']}" if area.get("zone") else ""
    if area.get("division"):
        place = _("Class %(area)s, Division %(area2)s") % {"area": area.get("class", "?"), "area2": area["division"]}
    low, high = area.get("ambient_min"), area.get("ambient_max")
    ambient = (
        (_("%(low)s to %(high)s") % {"low": low, "high": high})
        if low and high
        else (_("up to %(high)s") % {"high": high})
        if high
        else ""
    )
    parts = (place, area.get("group", ""), area.get("temperature_class", ""), ambient)
    return with_signs(", ".join(part for part in parts if part))


def source_item(document: Content, **more: Any) -> Item:
    lines = [joined(document, ("Uo", "Io")), joined(document, ("Po",))]
    isolated = document.get("isolated")
    return Item(
        tag=document["name"],
        role="source",
        lines=tuple(lines),
        earthed=None if isolated is None else not isolated,
        **more,
    )


def device_item(document: Content, **more: Any) -> Item:
    simple = document.get("kind") == "simple"
    isolated = document.get("isolated_from_earth")
    figures = () if simple else (joined(document, ("Ui", "Ii")), joined(document, ("Pi",)))
    return Item(
        tag=document["name"],
        lines=figures or (_("Simple apparatus"),),
        simple=simple,
        earthed=None if isolated is None else not isolated,
        **more,
    )


def plan_of_case(document: Content, result: Content | None = None) -> Plan:
    """The plan of a case document alone: sources in the safe area, devices in the one area it is judged for."""
    area = area_words(document.get("area", {}))
    place = area.split(", -")[0]
    items = [source_item(row) for row in document.get("sources", [])]
    items += [device_item(row, role="device", area=place, hazardous=True) for row in document.get("devices", [])]
    runs = [Run(tag=row.get("name", ""), length=row.get("length", "")) for row in document.get("cables") or []]
    return Plan(
        name=document.get("case", ""),
        items=tuple(items),
        runs=tuple(runs),
        area=area,
        verdict=(result or {}).get("verdict", ""),
    )


def plan_of_circuit(circuit: Content, document: Content, result: Content | None = None) -> Plan:
    """The plan of one circuit of a stored loop snapshot with the case document that was made from it."""
    known = {row["name"]: row for rows in ("sources", "devices") for row in document.get(rows, [])}
    items = []
    for row in circuit["members"]:
        values = known.get(row["tag"], {"name": row["tag"]})
        type_name, _comma, terminals = str(row["terminals"]["name"]).rpartition(", ")
        place = {
            "type_name": type_name or terminals,
            "terminals": terminals if type_name else "",
            "area": row["area"]["name"] if row["area"] else "",
            "hazardous": bool(row["area"]),
        }
        if row["role"] == "source":
            items.append(source_item(values, **place))
        else:
            items.append(device_item(values, role=row["role"], **place))
    runs = tuple(run_of(row) for row in circuit["cables"])
    return Plan(
        name=circuit["name"],
        items=tuple(items),
        runs=runs,
        area=area_words(document.get("area", {})),
        verdict=(result or {}).get("verdict", ""),
    )


def run_of(row: Content) -> Run:
    """A cable run of a loop snapshot."""
    return Run(
        tag=row["tag"],
        start=row["from_point"],
        end=row["to_point"],
        length=row["length_m"]["text"] if row["length_m"] else "length ?",
        type_name=row["cable_type"]["name"] if row["cable_type"] else _("default values"),
    )


def same_place(text: str, tags: Iterable[str]) -> str | None:
    """Which of the tags a typed point means: the tag itself, or the tag with something after it (`PT-1 terminals 3`).

    >>> same_place("pt-1 (terminals 1, 2)", ["PT-1", "PT-10"]), same_place("PT-10", ["PT-1", "PT-10"])
    ('PT-1', 'PT-10')
    >>> same_place("JB-7", ["PT-1"]) is None
    True
    """
    plain = " ".join(text.split()).casefold()
    for tag in sorted(tags, key=len, reverse=True):
        if re.match(rf"{re.escape(' '.join(tag.split()).casefold())}(?![\w-])", plain):
            return tag
    return None
