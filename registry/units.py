"""The kinds of quantity that the site knows, and the closed list of units in which each may be written.

A unit that is not in the list is not read at all; how large a listed one is, pint says, once per unit. Sources: SI
prefixes and units, BIPM SI brochure, 9th edition; 1 ft = 0.3048 m exactly, international yard and pound agreement
of 1959.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from enum import Enum
from functools import cache

import pint

WORK = Context(prec=60, Emin=-999, Emax=999)
"""Precision in which quantities are converted."""

_CRUMBLESS = Context(prec=40, Emin=-999, Emax=999)


class Kind(Enum):
    """What a quantity is; the value is the text of its SI unit, in which it is stored and judged."""

    VOLTAGE = "V"
    CURRENT = "A"
    POWER = "W"
    CAPACITANCE = "F"
    INDUCTANCE = "H"
    RESISTANCE = "ohm"
    INDUCTANCE_PER_RESISTANCE = "H/ohm"
    LENGTH = "m"
    CAPACITANCE_PER_LENGTH = "F/m"
    INDUCTANCE_PER_LENGTH = "H/m"
    RESISTANCE_PER_LENGTH = "ohm/m"
    TEMPERATURE = "degC"
    AREA = "m2"
    THERMAL_RESISTANCE = "K/W"
    TIME = "s"

    @property
    def noun(self) -> str:
        """The kind in words: ``"capacitance per length"``."""
        return self.name.lower().replace("_", " ")

    @property
    def example(self) -> str:
        """A right example of this kind, as messages and forms show it: ``"25.2 V"``."""
        return _EXAMPLES[self]


_EXAMPLES = {
    Kind.VOLTAGE: "25.2 V",
    Kind.CURRENT: "95 mA",
    Kind.POWER: "0.6 W",
    Kind.CAPACITANCE: "110 nF",
    Kind.INDUCTANCE: "3.9 mH",
    Kind.RESISTANCE: "265 ohm",
    Kind.INDUCTANCE_PER_RESISTANCE: "55 uH/ohm",
    Kind.LENGTH: "300 m",
    Kind.CAPACITANCE_PER_LENGTH: "110 nF/km",
    Kind.INDUCTANCE_PER_LENGTH: "0.65 mH/km",
    Kind.RESISTANCE_PER_LENGTH: "12.1 ohm/km",
    Kind.TEMPERATURE: "40 degC",
    Kind.AREA: "2.5 mm2",
    Kind.THERMAL_RESISTANCE: "37 K/W",
    Kind.TIME: "65 us",
}


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of the list: what pint is asked for, above and below the stroke."""

    above: str
    below: str = ""
    below_count: int = 1


_LENGTHS = ("um", "mm", "cm", "m", "km", "in", "ft", "kft", "yd", "mi")
_PER_LENGTHS = {
    **{name: (name, 1) for name in ("mm", "cm", "m", "km", "in", "ft", "kft", "yd", "mi")},
    "100m": ("m", 100),
    "100ft": ("ft", 100),
    "1000m": ("m", 1000),
    "1000ft": ("ft", 1000),
}


def _plain(prefixes: str, symbol: str) -> dict[str, Unit]:
    """The symbol with each of the prefixes, and bare where a dot stands among them."""
    names = [prefix.strip(".") + symbol for prefix in prefixes]
    return {name: Unit(name) for name in names}


def _per_length(units: dict[str, Unit]) -> dict[str, Unit]:
    return {
        f"{name}/{length}": Unit(unit.above, below, count)
        for name, unit in units.items()
        for length, (below, count) in _PER_LENGTHS.items()
    }


UNITS: dict[Kind, dict[str, Unit]] = {
    Kind.VOLTAGE: _plain("um.k", "V"),
    Kind.CURRENT: _plain("num.k", "A"),
    Kind.POWER: _plain("num.k", "W"),
    Kind.CAPACITANCE: _plain("fpnum.", "F"),
    Kind.INDUCTANCE: _plain("pnum.", "H"),
    Kind.RESISTANCE: _plain("um.kMG", "ohm"),
    Kind.INDUCTANCE_PER_RESISTANCE: {
        f"{above}/{below}": Unit(above, below) for above in _plain("pnum.", "H") for below in _plain("m.k", "ohm")
    },
    Kind.LENGTH: {name: Unit(name) for name in _LENGTHS},
    Kind.CAPACITANCE_PER_LENGTH: _per_length(_plain("fpnum.", "F")),
    Kind.INDUCTANCE_PER_LENGTH: _per_length(_plain("pnum.", "H")),
    Kind.RESISTANCE_PER_LENGTH: _per_length(_plain("um.k", "ohm")),
    Kind.TEMPERATURE: {name: Unit(name) for name in ("degC", "degF", "K")},
    Kind.AREA: {f"{name}2": Unit(f"{name}**2") for name in ("um", "mm", "cm", "m", "in", "ft")},
    Kind.THERMAL_RESISTANCE: {
        f"{above}/{below}": Unit("delta_degC", below) for above in ("K", "degC") for below in _plain("m.k", "W")
    },
    Kind.TIME: _plain("num.", "s"),
}

_SI = {kind: kind.value.replace("m2", "m**2").replace("K/", "delta_degC/").partition("/") for kind in Kind}


@cache
def _registry() -> pint.UnitRegistry[Decimal]:
    """Made on first use: reading pint's definitions takes a good part of a second."""
    return pint.UnitRegistry(non_int_type=Decimal)


@cache
def _size(unit: str, si: str) -> Decimal:
    """How many ``si`` one ``unit`` is: an exact decimal for every unit of the list."""
    with localcontext(WORK):
        size = Decimal(_registry().Quantity(Decimal(1), unit).to(si).magnitude)
    # pint goes by yards (an inch is a 36th) and leaves a crumb at the 60th digit; no size has more than 12 digits.
    return size.normalize(_CRUMBLESS)


@cache
def sizes(name: str, kind: Kind) -> tuple[Decimal, Decimal]:
    """Sizes in SI above and below the stroke of a listed unit, both exact: 1E-12 and 0.3048 for pF/ft."""
    unit = UNITS[kind][name]
    si_above, _, si_below = _SI[kind]
    below = WORK.multiply(_size(unit.below, si_below), Decimal(unit.below_count)) if unit.below else Decimal(1)
    return _size(unit.above, si_above), below
