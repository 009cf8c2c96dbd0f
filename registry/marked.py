"""What an Ex marking says of an item's terminals: laid into a form where nothing is typed, and compared where
something is. Nothing is saved by it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from registry.entries import read_temperature_class
from registry.marking import Marking, MarkingError, parse_markings
from registry.models import Terminals
from registry.models.equipment import DUST_GROUPS, EPLS, GAS_GROUPS
from registry.quantities import Kind, QuantityError, read
from registry.words import lazily

NAMES = {
    "level": lazily("level of protection"),
    "gas_group": lazily("gas group"),
    "dust_group": lazily("dust group"),
    "gas_epl": lazily("EPL for gas"),
    "dust_epl": lazily("EPL for dust"),
    "ambient_min_degc": lazily("lowest ambient"),
    "ambient_max_degc": lazily("highest ambient"),
    "temperature_class": lazily("temperature class"),
}


@dataclass(frozen=True)
class Taken:
    """What became of a marking: sentences on what was filled in and on what differs."""

    filled: tuple[str, ...]
    differs: tuple[str, ...]


def take_marking(data: dict[str, Any]) -> Taken:
    """Lay the marking of an item's nested text into its terminals; `data` is changed.

    Filled are only values that are empty. Raises registry.marking.MarkingError for a text that is no marking.
    """
    markings = parse_markings(str(data.get("marking", "")))
    filled: list[str] = []
    differs: list[str] = []
    for number, row in enumerate(data.get("terminals") or [], start=1):
        if not isinstance(row, dict):
            continue
        place = _("Terminals %(number)s") % {"number": f"{row.get('name') or number!s:.60}"}
        gives = row.get("side") == Terminals.Side.SOURCE
        for column, says in said(markings, gives):
            typed = str(row.get(column) or "").strip()
            if column in EPLS and not typed and says[1] < earned(str(row.get("level") or "")):
                continue  # the level typed earns less; that it is not the marking's has been told
            if not typed:
                row[column] = says
                filled.append(f"{place}: {NAMES[column]} {says}")
            elif not agrees(column, typed, says):
                differs.append(
                    _("%(place)s: the %(column)s typed is %(typed)s, the marking says %(says)s.")
                    % {"place": place, "column": NAMES[column], "typed": f"{typed:.60}", "says": says}
                )
        if not gives:
            for sentence, is_new in take_classes(row, markings):
                (filled if is_new else differs).append(f"{place}: {sentence}")
        if not any(level_of(marking, gives) for marking in markings):
            side = _("gives energy") if gives else _("takes energy")
            differs.append(
                _("%(place)s %(side)s; the marking names no intrinsically safe circuit of that side.")
                % {"place": place, "side": side}
            )
    return Taken(tuple(filled), tuple(differs))


def level_of(marking: Marking, gives: bool) -> str:
    return marking.source_level if gives else marking.device_level


def said(markings: tuple[Marking, ...], gives: bool) -> Iterator[tuple[str, str]]:
    """What markings say of one side of a circuit: columns of terminals with their text."""
    named = [marking for marking in markings if level_of(marking, gives)]
    if not named:
        return
    level = max(level_of(marking, gives) for marking in named)
    yield "level", level
    groups = dict.fromkeys(group for marking in named for group in groups_of(marking, gives))
    for column, order in (("gas_group", GAS_GROUPS), ("dust_group", DUST_GROUPS)):
        alike = [group for group in order if group in groups]
        letters = [group for group in alike if len(group) == 1 and group != "I"]
        # A letter of North America stands for the most severe of those named; of two IEC groups a person chooses.
        if len(alike) == 1 or (letters and len(letters) == len(alike)):
            yield column, alike[0]
    for column, names in EPLS.items():
        # Of the two of a boundary the lower one is safe wherever the item stands; never more than the level earns.
        if (epl := lowest_of(named, gives, names)) and epl[1] >= earned(level):
            yield column, epl
    lows = [marking.ambient_min_degc for marking in named if marking.ambient_min_degc is not None]
    highs = [marking.ambient_max_degc for marking in named if marking.ambient_max_degc is not None]
    # Where gas and dust hold in different ranges, the range in which both hold.
    if lows:
        yield "ambient_min_degc", degrees(max(lows))
    if highs:
        yield "ambient_max_degc", degrees(min(highs))


def epls_of(marking: Marking, gives: bool) -> tuple[str, ...]:
    """The EPLs that a marking names for one side: a source feeds circuits of those in its brackets."""
    return tuple(name for part in marking.associated for name in part.epl) if gives else marking.epl


def lowest_of(markings: Iterable[Marking], gives: bool, names: Collection[str]) -> str:
    """The lowest EPL of some names that markings state; empty where they state none of them."""
    stated = [epl for marking in markings for epl in epls_of(marking, gives) if epl in names]
    return max(stated, key=lambda epl: epl[1], default="")


def earned(level: str) -> str:
    """The letter of the EPL that a level earns at the most: ia a, ib b, ic c (IEC 60079-0:2017, from memory)."""
    return level[-1:]


@lru_cache(maxsize=4096)
def lower_epl(marking: str, gives: bool, level: str, air: str) -> str:
    """The EPL for some atmospheres (``"GM"``, ``"D"``) that a marking states lower than a level earns; else empty.

    Empty too for a text that is no marking: it says nothing, and whoever keeps the record is told so.
    """
    try:
        markings = parse_markings(marking)
    except MarkingError:
        return ""
    named = [item for item in markings if level_of(item, gives)]
    epl = lowest_of(named, gives, [f"{first}{letter}" for first in air for letter in "abc"])
    return epl if level and epl and epl[1] > earned(level) else ""


def groups_of(marking: Marking, gives: bool) -> tuple[str, ...]:
    """The groups that a marking names for one side; IIB+H2 counts as IIB."""
    inside = tuple(name for part in marking.associated for name in part.groups) if gives else ()
    return tuple(name.partition("+")[0] for name in (inside or marking.groups or marking.hazard_groups))


def agrees(column: str, typed: str, says: str) -> bool:
    """Whether what is typed is no wider than what the marking says."""
    if not column.startswith("ambient"):
        return typed == says
    try:
        value, marked = read(typed, Kind.TEMPERATURE), read(says, Kind.TEMPERATURE)
    except QuantityError:
        return True  # the form has its own message for a text that is no temperature
    return value >= marked if column == "ambient_min_degc" else value <= marked


def take_classes(row: dict[str, Any], markings: tuple[Marking, ...]) -> Iterator[tuple[str, bool]]:
    """Lay classes and surface temperatures into the table of a device: sentences, and whether a row was added."""
    rows = [item for item in row.get("temperature_classes") or [] if isinstance(item, dict)]
    typed = [item for item in rows if str(item.get("temperature_class") or "").strip()]
    for text, high in dict.fromkeys(classes_said(markings)):
        alike = [item for item in typed if is_surface(class_text(item)) == is_surface(text)]
        if not alike:
            blank = next((item for item in rows if not any(item.values())), None)
            if blank is None:
                rows.append(blank := {})
            # A class without an ambient of its own holds over the whole range that is marked
            # (IEC 60079-0:2017, clause 29, from memory).
            high = high or str(row.get("ambient_max_degc") or "").strip()
            blank |= {"temperature_class": text} | ({"ambient_max_degc": high} if high else {})
            yield (
                (_("temperature class %(text)s") % {"text": text})
                + ((_(" up to %(high)s") % {"high": high}) if high else ""),
                True,
            )
        elif all(class_text(item) != text for item in alike):
            named = ", ".join(class_text(item) for item in alike)
            yield (
                (
                    _("the temperature class typed is %(named)s, the marking says %(text)s.")
                    % {"named": f"{named:.60}", "text": text}
                ),
                False,
            )
    if rows:
        row["temperature_classes"] = rows


def classes_said(markings: tuple[Marking, ...]) -> Iterator[tuple[str, str]]:
    """The weakest class and the surface temperature of the markings of a device, each with its highest ambient."""
    for marking in markings:
        if not marking.device_level:
            continue
        high = degrees(marking.ambient_max_degc) if marking.ambient_max_degc is not None else ""
        if marking.temperature_classes:
            # Of a range the weakest class holds at the highest ambient; the table of the certificate says more.
            yield min(marking.temperature_classes, key=lambda name: name[:2]), high
        if marking.surface_temperature_degc is not None and any(name.startswith("III") for name in marking.groups):
            yield degrees(marking.surface_temperature_degc), high


def class_text(item: Mapping[str, Any]) -> str:
    """The class of a typed row in one spelling; as typed where it cannot be read."""
    text = str(item.get("temperature_class") or "")
    try:
        return read_temperature_class(text)
    except ValidationError:
        return text


def is_surface(text: str) -> bool:
    return "degC" in text


def degrees(value: Decimal) -> str:
    return f"{value:f} degC"
