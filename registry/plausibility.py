"""What looks wrong although it can be true: warnings about typed values, never corrections.

A certificate may say what these rules doubt; then the certificate governs and the warning stands beside the value. All
values are in SI units as Decimal; None is a value that is unknown or not stated.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils.translation import gettext as _

from registry.parameters import shown
from registry.quantities import Kind

Number = Decimal | None
TOLERANCE = Decimal("0.05")
INDUCTANCE_TOLERANCE = Decimal("0.15")
SAFETY_FACTOR = Decimal("1.5")
LARGEST = {
    Kind.VOLTAGE: Decimal(60),
    Kind.CURRENT: Decimal(1),
    Kind.POWER: Decimal(25),
    Kind.CAPACITANCE: Decimal("100e-6"),
    Kind.INDUCTANCE: Decimal(1),
}
IGNITION_ENERGY_J = {
    "IIC": Decimal("40e-6"),
    "IIB": Decimal("160e-6"),
    "IIA": Decimal("320e-6"),
    "I": Decimal("525e-6"),
}
"""Energy e of the formula for inductive circuits by group (IEC 60079-11:2011, from memory)."""

EQUIVALENT = {
    "A": "IIC", "B": "IIC", "C": "IIB", "D": "IIA", "E": "IIB", "F": "IIB", "G": "IIB",
    "IIIA": "IIB", "IIIB": "IIB", "IIIC": "IIB",
}  # fmt: skip
"""Gas group whose permitted values a dust group or a North American group takes (from memory)."""

CapacitanceTable = Callable[[str, Decimal, bool], Number]
_tables: list[CapacitanceTable] = []


def use_capacitance_table(lookup: CapacitanceTable) -> None:
    """Name the table of permitted capacitance: `lookup(gas group, Uo in V, whether level ic)` gives F or None."""
    _tables[:] = [lookup]


@dataclass(frozen=True)
class Doubt:
    """One thing to look at again: the column it is about and a sentence that says why."""

    column: str
    text: str
    place: str = ""


@dataclass(frozen=True)
class Permitted:
    """Permitted values for one group: Co in F, Lo in H."""

    group: str
    co_f: Number = None
    lo_h: Number = None


@dataclass(frozen=True)
class Output:
    """The output of a source: Uo in V, Io in A, Po in W, Ro in ohm."""

    uo_v: Number = None
    io_a: Number = None
    po_w: Number = None
    ro_ohm: Number = None
    characteristic: str = "linear"
    level: str = ""
    permitted: tuple[Permitted, ...] = field(default=())


def longest_inductance(io_a: Decimal, group: str, level: str = "") -> Number:
    """Lo in H that the energy formula gives: 2e / (k·Io)², k = 1.5, and 1 for level ic; None for an unknown group.

    IEC 60079-11:2011, annex A (from memory).

    >>> about(longest_inductance(Decimal("0.0171"), "IIC"), Kind.INDUCTANCE)
    '121.6 mH'
    """
    energy = IGNITION_ENERGY_J.get(EQUIVALENT.get(group, group))
    if energy is None or not io_a:
        return None
    factor = Decimal(1) if level == "ic" else SAFETY_FACTOR
    return 2 * energy / (factor * io_a) ** 2


def differs(value: Decimal, expected: Decimal, tolerance: Decimal = TOLERANCE) -> bool:
    """Whether a value is off what is expected by more than the tolerance."""
    return abs(value - expected) > expected * tolerance


def doubts_of_output(output: Output) -> Iterator[Doubt]:
    """What does not fit together among the output values of a source."""
    uo, io, po, ro = output.uo_v, output.io_a, output.po_w, output.ro_ohm
    if uo and io and po:
        if po > uo * io:
            yield Doubt(
                "po_w",
                (
                    _("Po %(POWER)s is more than Uo·Io, %(POWER2)s: no source gives that.")
                    % {"POWER": shown(po, Kind.POWER), "POWER2": about(uo * io, Kind.POWER)}
                ),
            )
        elif output.characteristic == "linear" and differs(po, uo * io / 4):
            yield Doubt(
                "po_w",
                (
                    _("Po %(POWER)s is not near Uo·Io/4, %(POWER2)s, as it is for a linear output.")
                    % {"POWER": shown(po, Kind.POWER), "POWER2": about(uo * io / 4, Kind.POWER)}
                ),
            )
    if uo and io and ro and output.characteristic == "linear" and differs(io, uo / ro):
        yield Doubt(
            "io_a",
            (
                _("Io %(CURRENT)s is not near Uo/Ro, %(CURRENT2)s.")
                % {"CURRENT": shown(io, Kind.CURRENT), "CURRENT2": about(uo / ro, Kind.CURRENT)}
            ),
        )
    for row in output.permitted:
        yield from doubts_of_permitted(output, row)


def doubts_of_permitted(output: Output, row: Permitted) -> Iterator[Doubt]:
    """Permitted values above what the standard's curves and formula give; older certificates have such."""
    if output.io_a and row.lo_h:
        formula = longest_inductance(output.io_a, row.group, output.level)
        if formula is not None and row.lo_h > formula * (1 + INDUCTANCE_TOLERANCE):
            yield Doubt(
                "lo_h",
                (
                    _(
                        "Lo %(INDUCTANCE)s for %(group)s is more than 15 %% above what the energy formula gives "
                        "for this Io, %(INDUCTANCE2)s."
                    )
                    % {
                        "INDUCTANCE": shown(row.lo_h, Kind.INDUCTANCE),
                        "group": row.group,
                        "INDUCTANCE2": about(formula, Kind.INDUCTANCE),
                    }
                ),
            )
    if row.co_f:
        permitted = table_capacitance(row.group, output.uo_v, output.level)
        if permitted is not None and row.co_f > permitted:
            yield Doubt(
                "co_f",
                (
                    _("Co %(CAPACITANCE)s for %(group)s is above the table value for this Uo, %(CAPACITANCE2)s.")
                    % {
                        "CAPACITANCE": shown(row.co_f, Kind.CAPACITANCE),
                        "group": row.group,
                        "CAPACITANCE2": about(permitted, Kind.CAPACITANCE),
                    }
                ),
            )


def table_capacitance(group: str, uo_v: Number, level: str) -> Number:
    """Co in F by the table for a group of any kind at Uo in V; None where no table says."""
    if not uo_v or not _tables:
        return None
    return _tables[0](EQUIVALENT.get(group, group), uo_v, level == "ic")


def doubts_of_size(values: Mapping[str, tuple[Number, Kind, str]]) -> Iterator[Doubt]:
    """Values so large that a unit was probably mistaken: column -> (value, kind, symbol)."""
    for column, (value, kind, symbol) in values.items():
        limit = LARGEST.get(kind)
        if value is not None and limit is not None and value > limit:
            yield Doubt(
                column,
                (
                    _("%(symbol)s %(kind)s is unusually large (above %(kind2)s): check the unit.")
                    % {"symbol": symbol, "kind": shown(value, kind), "kind2": shown(limit, kind)}
                ),
            )


CABLE_RANGE = {
    "capacitance_f_per_m": (Decimal("20e-12"), Decimal("1e-9")),
    "inductance_h_per_m": (Decimal("0.1e-6"), Decimal("3e-6")),
    "inductance_per_resistance_h_per_ohm": (Decimal("1e-6"), Decimal("500e-6")),
    "resistance_ohm_per_m": (Decimal("0.5e-3"), Decimal("0.5")),
}
"""What instrument cable has per metre; outside it a value per foot, per kilometre or in another prefix was probably
typed (common practice, no source)."""


def doubts_of_cable(values: Mapping[str, tuple[Number, Kind, str]]) -> Iterator[Doubt]:
    """Per-length values outside what instrument cable has: column -> (value per metre, kind, symbol)."""
    for column, (value, kind, symbol) in values.items():
        low, high = CABLE_RANGE.get(column, (None, None))
        if not value or low is None or high is None or low <= value <= high:
            continue
        yield Doubt(
            column,
            (
                _(
                    "%(symbol)s %(kind)s is outside what instrument cable has, %(kind2)s to %(kind3)s: check "
                    "the unit and the length it is given for."
                )
                % {"symbol": symbol, "kind": shown(value, kind), "kind2": shown(low, kind), "kind3": shown(high, kind)}
            ),
        )


def about(value: Decimal, kind: Kind) -> str:
    """A computed value rounded to four digits for a sentence."""
    return shown(Decimal(f"{value:.4g}"), kind)


def sentences(doubts: Iterable[Doubt]) -> list[str]:
    """The doubts as sentences, each with its place in front."""
    return [f"{doubt.place}: {doubt.text}" if doubt.place else doubt.text for doubt in doubts]
