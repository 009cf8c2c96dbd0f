"""The lines of an inspection: what is looked at in each place of a loop, and what should be found there.

Everything comes from one revision of the loop and from what it is pinned to; nothing from the register as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from loops.models import CableRun, Loop
from loops.services.confirmations import has_conditions, standing_confirmations
from loops.services.verification import areas_of, pinned_snapshots
from registry.conditions import numbered_conditions
from registry.models import HazardousArea, PermittedRow, Terminals
from registry.parameters import parameter_of
from reports.inspection import items
from reports.inspection.items import Item

Content = Mapping[str, Any]
SOURCE_VALUES = ("uo_v", "io_a", "po_w")
DEVICE_VALUES = ("ui_v", "ii_a", "pi_w", "ci_f", "li_h")
NOT_ON_RECORD = "not on record"
NONE = "none"


@dataclass(frozen=True)
class Place:
    """One place of a loop, with the rows of its content that describe it; `row` leads there (list, circuit, row)."""

    name: str
    subject: str
    kind: str
    row: tuple[str, int, int] | None = None
    member: Content = field(default_factory=dict)
    terminals: Content = field(default_factory=dict)
    equipment: Content = field(default_factory=dict)
    certificate: Content | None = None
    area: HazardousArea | None = None
    cable: Content = field(default_factory=dict)
    cable_type: Content | None = None


@dataclass(frozen=True)
class DraftLine:
    """A line before it is stored; the columns of reports.inspection.models.Line."""

    place: str
    subject: str
    item: str
    text: str
    expected: str
    values: list[dict[str, str]]
    target: dict[str, Any]


class Builder:
    """Builds the lines of one loop."""

    def __init__(self, loop: Loop, content: Content) -> None:
        self.loop, self.content = loop, content
        self.pinned = pinned_snapshots(content)
        self.confirmed = standing_confirmations(loop)
        self.areas = areas_of(content)

    def lines(self, grade: str, initial: bool) -> Iterator[DraftLine]:
        """The lines of a grade: the loop as a whole, then each item, then each run of cable."""
        asked = list(items.items(grade, initial))
        for place in self.places():
            for item in asked:
                if item.where == items.CONDITION and place.certificate:
                    yield from self.conditions(place, item)
                elif fits(item, place):
                    yield self.line(place, item)

    def places(self) -> Iterator[Place]:
        """The loop, its members and its runs, in their order."""
        several = len(self.content["circuits"]) > 1
        yield Place(_("Loop %(tag)s") % {"tag": self.content["tag"]}, self.content["tag"], items.LOOP)
        for index, circuit in enumerate(self.content["circuits"]):
            note = f" ({circuit['name']})" if several else ""
            for position, row in enumerate(circuit["members"]):
                equipment = self.pinned[row["equipment_revision"]["id"]]
                pin = row["certificate_revision"]
                source = row["role"] == "source"
                word = {"source": _("Source"), "device": _("Field device")}.get(row["role"], _("Inline item"))
                yield Place(
                    f"{word} {row['tag']}{note}",
                    row["tag"],
                    items.SOURCE if source else items.FIELD,
                    ("members", index, position),
                    row,
                    next(item for item in equipment["terminals"] if item["id"] == row["terminals"]["id"]),
                    equipment,
                    self.pinned[pin["id"]] if pin else None,
                    self.areas.get(row["area"]["id"]) if row["area"] else None,
                )
            for position, row in enumerate(circuit["cables"]):
                pin = row["cable_type_revision"]
                yield Place(
                    _("Cable %(tag)s") % {"tag": row["tag"]} + note,
                    row["tag"],
                    items.CABLE,
                    ("cables", index, position),
                    cable=row,
                    cable_type=self.pinned[pin["id"]] if pin else None,
                )

    def line(self, place: Place, item: Item) -> DraftLine:
        found = EXPECTED.get(item.key, nothing)(self, place)
        values = [value for name in item.values for value in VALUES[name](self, place)]
        return DraftLine(place.name, place.subject, item.key, item.text, found, values, target_of(place, values))

    def conditions(self, place: Place, item: Item) -> Iterator[DraftLine]:
        """A line for each specific condition of the certificate, with how it was said to be met."""
        assert place.certificate is not None
        number = place.certificate["number"]
        listed = numbered_conditions(place.certificate["specific_conditions"])
        if has_conditions(number) and not listed:
            expected = f"{number} has specific conditions that are not in the register: read them on the certificate."
            yield DraftLine(place.name, place.subject, item.key, item.text, expected, [], {})
        for index, text in listed:
            how = self.how_met(place, index)
            expected = f"{number}, condition {index}: {text}"
            expected += f" How it is met: {how}" if how else f" How it is met: {NOT_ON_RECORD}."
            yield DraftLine(place.name, place.subject, item.key, item.text, expected, [], {})

    def how_met(self, place: Place, number: int) -> str:
        pin = place.member["certificate_revision"]["id"]
        for row in self.confirmed.values():
            if (row.tag, row.certificate_revision_id, row.number) == (place.subject, pin, number):
                return row.how
        return ""


def fits(item: Item, place: Place) -> bool:
    """Whether an item is looked at in a place; a source in the hazardous area is looked at as what stands there too."""
    members = (items.SOURCE, items.FIELD)
    in_field = place.kind == items.FIELD or (place.kind == items.SOURCE and place.area is not None)
    return (
        item.where == place.kind
        or (item.where == items.MEMBER and place.kind in members)
        or (item.where == items.FIELD and in_field)
    )


def target_of(place: Place, values: list[dict[str, str]]) -> dict[str, Any]:
    """Which row of the loop's content the values of a line belong to."""
    if not values:
        return {}
    if place.row is None:
        return {"list": "loop"}
    return dict(zip(("list", "circuit", "row"), place.row, strict=True))


# ------------------------------------------------------------------------------------------- what should be found


def typed(reading: Content | None) -> str:
    """The text of a quantity as it was typed; "unknown" where nobody has looked."""
    return str(reading["text"]) if reading else "unknown"


def nothing(builder: Builder, place: Place) -> str:
    return ""


def documents(builder: Builder, place: Place) -> str:
    content = builder.content
    areas = {str(area): None for area in builder.areas.values()}
    drawings = [area.drawing for area in builder.areas.values() if area.drawing]
    parts = [
        f"Loop drawing {content['drawing'] or NOT_ON_RECORD}",
        f"area {'; '.join(areas) or NOT_ON_RECORD}",
        *([f"classification drawing {', '.join(dict.fromkeys(drawings))}"] if drawings else []),
    ]
    return ". ".join(part[:1].upper() + part[1:] for part in parts) + "."


def highest_voltage(builder: Builder) -> str:
    reading = builder.content.get("safe_voltage_max_v")
    return typed(reading) if reading else builder.loop.site.safe_voltage_max_v_text or "unknown"


def um(builder: Builder, place: Place) -> str:
    sources = [item for item in builder.places() if item.kind == items.SOURCE]
    limits = ", ".join(f"{item.subject} {typed(item.terminals['um_v'])}" for item in sources)
    return f"Um: {limits}. Highest voltage on the safe side: {highest_voltage(builder)}."


def earth_points(builder: Builder, place: Place) -> str:
    parts = []
    for item in builder.places():
        if item.kind in (items.SOURCE, items.FIELD):
            isolation = item.terminals["isolation"]
            words = {"isolated": "isolated from earth", "earthed": "connected to earth"}.get(isolation, "earth unknown")
            parts.append(f"{item.subject} {words}")
    return "; ".join(parts) + "."


def barrier(builder: Builder, place: Place) -> str:
    kind = {
        "isolated": "Galvanically isolated: no earth is needed for its protection.",
        "earthed": "Not isolated: its earth is one conductor of 4 mm² or two of 1.5 mm², under 1 ohm to the earth of"
        " the power system (from memory).",
    }.get(place.terminals["isolation"], "Isolation unknown.")
    return f"{identity(place)}. {kind}"


def identity(place: Place) -> str:
    return f"{place.equipment['maker']} {place.equipment['type_name']}, terminals {place.terminals['name']}"


def item_on_record(builder: Builder, place: Place) -> str:
    certificate = place.certificate
    parts = [identity(place)]
    if certificate:
        parts.append(f"certificate {certificate['number']} issue {certificate['issue']}, {certificate['status']}")
    elif place.terminals["simple_kind"]:
        parts.append("simple apparatus, no certificate")
    else:
        parts.append("no certificate on record")
    if place.member["made_on"]:
        parts.append(f"made on {place.member['made_on']}")
    return "; ".join(parts) + "."


def nameplate(builder: Builder, place: Place) -> str:
    return " · ".join(f"{value['label']} {value['expected']}" for value in parameters(builder, place))


def place_needs(place: Place) -> str:
    return f"place: {place.area}" if place.area else "place: safe area"


def rating(builder: Builder, place: Place) -> str:
    marking = place.equipment["marking"]
    if not marking and place.terminals["simple_kind"]:
        marking = "none (simple apparatus)"
    return f"Marking {marking or NOT_ON_RECORD}; {place_needs(place)}."


def span(low: str, high: str) -> str:
    return f"{low or 'unknown'} to {high or 'unknown'}"


def highest_of_item(place: Place) -> str:
    """The highest ambient of an item: its own, else the highest of its temperature rows."""
    own = place.terminals["ambient_max_degc"]
    if own:
        return typed(own)
    rows = [row for row in place.terminals["temperature_classes"] if row["ambient_max_degc"]]
    return "; ".join(f"{row['temperature_class']} {typed(row['ambient_max_degc'])}" for row in rows)


def ambient(builder: Builder, place: Place) -> str:
    own = span(typed(place.terminals["ambient_min_degc"]), highest_of_item(place))
    area = place.area
    needs = span(area.ambient_min_degc_text, area.ambient_max_degc_text) if area else "not on record"
    return f"Item {own}; place {needs}."


def label(builder: Builder, place: Place) -> str:
    return f"{place.subject}; loop {builder.content['tag']}; intrinsically safe circuit."


def cable(builder: Builder, place: Place) -> str:
    run = place.cable
    name = run["cable_type"]["name"] if run["cable_type"] else "unknown type (values by default)"
    ends = f"from {run['from_point'] or '–'} to {run['to_point'] or '–'}"
    kept = str(dict(CableRun.Separation.choices).get(run["separation"], ""))
    return f"{name}, {typed(run['length_m'])}, {ends}; {kept[:1].lower()}{kept[1:]}."


def screens(builder: Builder, place: Place) -> str:
    word = (place.cable_type or {}).get("screen", "")
    kept = {"isolated": "Screen isolated from the cores", "on one core": "Screen connected to one core"}.get(word, "")
    drawing = builder.content["drawing"] or NOT_ON_RECORD
    return f"{kept or 'Screen: not on record'}; earthing as on loop drawing {drawing}."


def separation(builder: Builder, place: Place) -> str:
    return "50 mm between terminals of this and of other kinds of circuits, or a partition (from memory)."


def isolation(builder: Builder, place: Place) -> str:
    return "500 V to earth where the record says isolated (from memory)."


EXPECTED = {
    "documents": documents,
    "um": um,
    "earth_points": earth_points,
    "barrier": barrier,
    "item": item_on_record,
    "nameplate": nameplate,
    "rating": rating,
    "ambient": ambient,
    "label": label,
    "cable": cable,
    "screens": screens,
    "separation": separation,
    "isolation": isolation,
}


# ------------------------------------------------------------------------------------ what may be found to differ


def value(name: str, label: str, expected: str) -> dict[str, str]:
    return {"name": name, "label": label, "expected": expected}


def parameters(builder: Builder, place: Place) -> list[dict[str, str]]:
    """The entity parameters of a nameplate, with Co and Lo for each group."""
    row = place.terminals
    names = SOURCE_VALUES if place.kind == items.SOURCE else DEVICE_VALUES
    found = [value(name, symbol(Terminals, name), typed(row[name])) for name in names]
    for index, permitted in enumerate(row["permitted"]):
        for name in ("co_f", "lo_h"):
            label = f"{symbol(PermittedRow, name)} ({permitted['group']})"
            found.append(value(f"permitted.{index}.{name}", label, typed(permitted[name])))
    return found


def symbol(model: type[Any], name: str) -> str:
    parameter = parameter_of(model, name)
    assert parameter is not None
    return parameter.short


def found_item(builder: Builder, place: Place) -> list[dict[str, str]]:
    name = f"{place.equipment['maker']} {place.equipment['type_name']}, {place.terminals['name']}"
    return [value("item", _("Item"), name)]


def found_marking(builder: Builder, place: Place) -> list[dict[str, str]]:
    return [value("marking", _("Marking"), place.equipment["marking"])]


def found_ambient(builder: Builder, place: Place) -> list[dict[str, str]]:
    high = place.area.ambient_max_degc_text if place.area else ""
    return [value("ambient_max_degc", _("Highest ambient at the place"), high or "unknown")] if place.area else []


def found_voltage(builder: Builder, place: Place) -> list[dict[str, str]]:
    return [value("safe_voltage_max_v", _("Highest voltage on the safe side"), highest_voltage(builder))]


def found_cable_type(builder: Builder, place: Place) -> list[dict[str, str]]:
    name = place.cable["cable_type"]["name"] if place.cable["cable_type"] else ""
    return [value("cable_type", _("Cable type"), name or "unknown")]


def found_length(builder: Builder, place: Place) -> list[dict[str, str]]:
    return [value("length_m", _("Length"), typed(place.cable["length_m"]))]


def found_extra(builder: Builder, place: Place) -> list[dict[str, str]]:
    return [value("extra", _("Item that is not on record"), NONE)]


VALUES = {
    "extra": found_extra,
    "parameters": parameters,
    "item": found_item,
    "marking": found_marking,
    "ambient": found_ambient,
    "safe_voltage_max_v": found_voltage,
    "cable_type": found_cable_type,
    "length_m": found_length,
}
