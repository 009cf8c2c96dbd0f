"""What was found in pasted text: each value beside the line it was read from, and the lines not understood."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from registry.exchange.pasted_inline import heading_unit
from registry.exchange.pasted_words import COLUMNS, SPELLINGS
from registry.quantities import Kind, QuantityError, read

OUTPUTS = frozenset({"uo_v", "io_a", "po_w", "uq_v", "ro_ohm", "um_v", "output"})
INPUTS = frozenset({"ui_v", "ii_a", "pi_w"})
AMBIENTS = frozenset({"ambient_min_degc", "ambient_max_degc"})
HEADING_UNITS = frozenset(map(heading_unit, SPELLINGS.values()))


@dataclass(frozen=True)
class Found:
    """One value.

    `column` is the column of the register that holds it (`uo_v`, `co_f`, `ambient_max_degc`, `number` …), `text` what
    an entry reads ("30 V", "not stated"). `line_number` counts from 1; `span` is where the value stands in `line`. A
    `note` says what was interpreted; it is empty where the text itself says all. A `contradictory` value is one of
    several different ones for the same parameter: none of them is preferred.
    """

    column: str
    text: str
    line_number: int
    line: str
    span: tuple[int, int]
    note: str = ""
    contradictory: bool = False

    @property
    def is_plain(self) -> bool:
        """Whether the text itself says the value; a unit in a heading is said, a word such as "negligible" is not."""
        return not self.note or self.note in HEADING_UNITS


@dataclass(frozen=True)
class FoundPermitted:
    """Permitted values for one group; `group` is empty where the text names none, and a person has to choose."""

    group: str
    values: tuple[Found, ...]
    note: str = ""


@dataclass(frozen=True)
class FoundClass:
    """One row of a table of temperature classes."""

    temperature_class: Found
    ambient_max: Found


@dataclass(frozen=True)
class FoundTerminals:
    """What was found for one set of terminals; `name` is empty before the first heading that names terminals."""

    name: str
    values: tuple[Found, ...] = ()
    permitted: tuple[FoundPermitted, ...] = ()
    temperature_classes: tuple[FoundClass, ...] = ()


@dataclass(frozen=True)
class Unread:
    """A line, or a part of one, that was not understood; `reason` is empty where no parameter was seen in it."""

    line_number: int
    line: str
    reason: str = ""


@dataclass(frozen=True)
class Pasted:
    """All that was found in a text."""

    terminals: tuple[FoundTerminals, ...] = ()
    certificates: tuple[Found, ...] = ()
    markings: tuple[Found, ...] = ()
    names: tuple[Found, ...] = ()
    """Maker, type and holder of the certificate."""
    conditions: tuple[Found, ...] = ()
    """Specific conditions of use, each value all of those under one heading, one a line."""
    unread: tuple[Unread, ...] = ()

    def all_found(self) -> tuple[Found, ...]:
        """Every value, in the order of the lines."""
        found = [*self.certificates, *self.markings, *self.names, *self.conditions]
        for terminals in self.terminals:
            found += terminals.values
            found += [value for row in terminals.permitted for value in row.values]
            for row in terminals.temperature_classes:
                found += [row.temperature_class, row.ambient_max]
        return tuple(sorted(found, key=lambda value: (value.line_number, value.span)))


def equipment_text(pasted: Pasted) -> dict[str, Any]:
    """The nested text of an equipment entry, as far as the pasted text gives it; contradictory values stay empty.

    A set of terminals with input and output values becomes two sets, because input and output parameters belong to two.
    An ambient range that stands before the first terminals holds for all of them, and Um for all that give energy.
    The certificate is left to the person, and so is what the text says in several ways.
    """
    rows = [row for terminals in _with_what_is_common(pasted.terminals) for row in _terminals_text(terminals)]
    sides = {row["side"] for row in rows}
    data: dict[str, Any] = {"terminals": rows}
    if sides == {"source"}:
        data["kind"] = "source"
    elif "device" in sides:
        data["kind"] = "field_device"
    if len({marking.text for marking in pasted.markings}) == 1:
        data["marking"] = pasted.markings[0].text
    data |= {item.column: item.text for item in pasted.names if item.column != "holder" and not item.contradictory}
    return data


def gives_energy(terminals: FoundTerminals) -> bool:
    """Whether values of an output stand among those of a set; Um alone is of the whole item."""
    return bool(terminals.permitted or {value.column for value in terminals.values} & (OUTPUTS - {"um_v"}))


def _with_what_is_common(sets: tuple[FoundTerminals, ...]) -> tuple[FoundTerminals, ...]:
    """The sets with what stands before all of them and is of the whole item: ambient range, temperature classes, Um."""
    common = next((item for item in sets if not item.name), None)
    if common is None or len(sets) == 1:
        return sets
    ambient = tuple(value for value in common.values if value.column in AMBIENTS)
    giving = [item for item in sets if item is not common and gives_energy(item)]
    um = tuple(value for value in common.values if giving and value.column == "um_v" and not gives_energy(common))
    rest = replace(
        common,
        values=tuple(value for value in common.values if value not in ambient + um),
        temperature_classes=(),
    )
    named = [
        replace(
            item,
            values=item.values
            + tuple(
                value
                for value in ambient + (um if item in giving else ())
                if all(value.column != own.column for own in item.values)
            ),
            temperature_classes=item.temperature_classes or common.temperature_classes,
        )
        for item in sets
        if item is not common
    ]
    return (*([rest] if rest.values or rest.permitted else []), *named)


def _terminals_text(terminals: FoundTerminals) -> list[dict[str, Any]]:
    certain = {value.column: value.text for value in terminals.values if not value.contradictory}
    seen = {value.column for value in terminals.values}
    gives, takes = bool(seen & OUTPUTS or terminals.permitted), bool(seen & INPUTS)
    permitted = [
        {"group": row.group} | {value.column: value.text for value in row.values if not value.contradictory}
        for row in terminals.permitted
    ]
    classes = [
        {"temperature_class": row.temperature_class.text, "ambient_max_degc": row.ambient_max.text}
        for row in terminals.temperature_classes
        if not row.ambient_max.contradictory
    ]
    device = {key: text for key, text in certain.items() if key not in OUTPUTS} | {"temperature_classes": classes}
    source = {key: text for key, text in certain.items() if key not in INPUTS} | {"permitted": permitted}
    if gives and takes:
        internal = {"ci_f", "li_h"}
        return [
            {"name": terminals.name, "side": "device"} | device,
            {"name": f"{terminals.name} (output)".strip(), "side": "source"}
            | {key: value for key, value in source.items() if key not in internal},
        ]
    if gives:
        return [
            {"name": terminals.name, "side": "source"} | source | ({"temperature_classes": classes} if classes else {})
        ]
    return [{"name": terminals.name, "side": "device"} | device]


def same(value: Found) -> tuple[str, str | Decimal]:
    """What makes two found values the same: the parameter and the size, however it is written."""
    kind = Kind.TEMPERATURE if value.column.startswith("ambient") else COLUMNS.get(value.column)
    try:
        return value.column, read(value.text, kind) if kind else value.text
    except QuantityError:
        return value.column, value.text


def marked(values: list[Found]) -> tuple[Found, ...]:
    """The values without repetitions; different ones for the same column are marked as contradictory."""
    kept = once(values)
    columns = [value.column for value in kept]
    return tuple(replace(value, contradictory=columns.count(value.column) > 1) for value in kept)


def once(values: list[Found]) -> tuple[Found, ...]:
    """The values without repetitions: the first of each."""
    kept: dict[tuple[str, str | Decimal], Found] = {}
    for value in values:
        kept.setdefault(same(value), value)
    return tuple(kept.values())
