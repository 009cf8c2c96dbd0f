"""What feeds the circuit: one source as certified, or several sources combined by calculation.

Combination of linear sources: IEC 60079-14:2013, Annex H, and IEC 60079-25:2020, Annex B (partly from memory). In
series voltages add and the current is the largest; in parallel currents add and the voltage is the largest. Both bound
what a network of sources can give, and are exact for equal sources.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import reduce
from itertools import combinations
from typing import NamedTuple

from loops.engine.arithmetic import at_most
from loops.engine.case import (
    NOT_STATED,
    UNKNOWN,
    Case,
    Group,
    Interconnection,
    Level,
    Output,
    Parameter,
    Permitted,
    Source,
)
from loops.engine.findings import BEYOND, FAIL, INCOMPLETE, NOT_APPLICABLE, PASS, Check, CheckId, Remark, Verdict
from loops.engine.groups import DUST, permitted_rows, zone_group
from loops.engine.tables import Outside, Tables

FACTOR = Decimal("1.5")
LARGEST_LO_H = Decimal(1)
# Spark test energy of each group, J (IEC 60079-11:2011, 10.1.5; from memory). Dust as IIB.
SPARK_ENERGY_J = {
    Group.IIC: Decimal("40e-6"),
    Group.IIB: Decimal("160e-6"),
    Group.IIA: Decimal("320e-6"),
    Group.I: Decimal("525e-6"),
}
MOST_ENUMERATED = 4  # series-parallel networks of more sources are bounded instead of enumerated


class Feed(NamedTuple):
    """What every device on the circuit can get: V, A, W, and the rows of permitted values for the area.

    ``unsettled``: the three values are only lower bounds; a comparison that they do not fail has this verdict.
    """

    name: str
    sources: tuple[Source, ...]
    uo_v: Parameter
    io_a: Parameter
    po_w: Parameter
    po_computed: bool
    rows: tuple[Permitted, ...]
    unsettled: Verdict | None = None

    @property
    def calculated(self) -> bool:
        """The values rest on calculation and not on one certificate."""
        return len(self.sources) > 1


class Arrangement(NamedTuple):
    """A network of linear sources seen from outside: V, A, and the least output resistance in ohm."""

    voltage_v: Decimal
    current_a: Decimal
    resistance_ohm: Decimal


def spark_energy(group: Group) -> Decimal:
    """Spark test energy in J.

    >>> spark_energy(Group.IIIC) == spark_energy(Group.IIB) == Decimal("160e-6")
    True
    """
    zoned = zone_group(group)
    return SPARK_ENERGY_J[Group.IIB if zoned in DUST else zoned]


def power(source: Source) -> tuple[Parameter, bool]:
    """Po of a source in W, and whether it was computed.

    Declared Po governs. Else a linear source gives at most Uo*Io/4 (matched load) and a rectangular one Uo*Io; a
    trapezoidal source must declare it. Source: IEC 60079-11:2011, Annex on matched power; common to published manuals.

    >>> power(Source("S", output=Output.LINEAR, uo_v=Decimal("10"), io_a=Decimal("0.1")))
    (Decimal('0.25'), True)
    """
    if isinstance(source.po_w, Decimal):
        return source.po_w, False
    if isinstance(source.uo_v, Decimal) and isinstance(source.io_a, Decimal):
        if source.output is Output.LINEAR:
            return source.uo_v * source.io_a / 4, True
        if source.output is Output.RECTANGULAR:
            return source.uo_v * source.io_a, True
    return source.po_w, False


def least_resistance(source: Source) -> Decimal | None:
    """The smaller of the declared Ro and Uo/Io in ohm: the safe one where they differ. ``None`` when neither is known.

    >>> least_resistance(Source("S", uo_v=Decimal(28), io_a=Decimal("0.1"), ro_ohm=Decimal(300)))
    Decimal('2.8E+2')
    """
    known = [source.ro_ohm] if isinstance(source.ro_ohm, Decimal) else []
    if isinstance(source.uo_v, Decimal) and isinstance(source.io_a, Decimal) and source.io_a:
        known.append(source.uo_v / source.io_a)
    return min(known, default=None)


def permitted_inductance(group: Group, current_a: Decimal) -> Decimal:
    """Lo in H of a linear source: 2e / (1.5 Io)^2, at most 1 H (IEC 60079-11:2011, 10.1.5, from memory).

    >>> round(permitted_inductance(Group.IIC, Decimal("0.0171")), 4)
    Decimal('0.1216')
    """
    if not current_a:
        return LARGEST_LO_H
    return min(LARGEST_LO_H, 2 * spark_energy(group) / (FACTOR * current_a) ** 2)


def permitted_inductance_per_resistance(group: Group, voltage_v: Decimal, resistance_ohm: Decimal) -> Decimal:
    """Lo/Ro in H/ohm of a linear source without inductance inside: 32 e Ro / (9 Uo^2) (from memory).

    ``voltage_v`` must be above zero.

    >>> round(permitted_inductance_per_resistance(Group.IIC, Decimal(28), Decimal(300)) * 10**6, 1)
    Decimal('54.4')
    """
    return 32 * spark_energy(group) * resistance_ohm / (9 * voltage_v**2)


def in_series(a: Arrangement, b: Arrangement) -> Arrangement:
    """Voltages and resistances add, the current is the larger.

    >>> in_series(Arrangement(Decimal(1), Decimal(2), Decimal(3)), Arrangement(Decimal(4), Decimal(1), Decimal(1)))
    Arrangement(voltage_v=Decimal('5'), current_a=Decimal('2'), resistance_ohm=Decimal('4'))
    """
    return Arrangement(a.voltage_v + b.voltage_v, max(a.current_a, b.current_a), a.resistance_ohm + b.resistance_ohm)


def in_parallel(a: Arrangement, b: Arrangement) -> Arrangement:
    """Currents add, the voltage is the larger.

    >>> in_parallel(Arrangement(Decimal(1), Decimal(2), Decimal(3)), Arrangement(Decimal(4), Decimal(1), Decimal(6)))
    Arrangement(voltage_v=Decimal('4'), current_a=Decimal('3'), resistance_ohm=Decimal('2'))
    """
    total = a.resistance_ohm + b.resistance_ohm
    return Arrangement(
        max(a.voltage_v, b.voltage_v),
        a.current_a + b.current_a,
        a.resistance_ohm * b.resistance_ohm / total if total else total,
    )


def arrangements(parts: Sequence[Arrangement], interconnection: Interconnection) -> list[Arrangement]:
    """Every network that the sources may form: one for series or parallel, all series-parallel ones for undefined.

    More than four sources of undefined interconnection are bounded by one arrangement that no network exceeds: the sum
    of the voltages with the sum of the currents and the least resistance.

    >>> a = Arrangement(Decimal(10), Decimal(1), Decimal(10))
    >>> sorted((n.voltage_v, n.current_a) for n in arrangements([a, a], Interconnection.UNDEFINED))
    [(Decimal('10'), Decimal('2')), (Decimal('20'), Decimal('1'))]
    """
    if interconnection is Interconnection.SERIES:
        return [reduce(in_series, parts)]
    if interconnection is Interconnection.PARALLEL:
        return [reduce(in_parallel, parts)]
    if len(parts) > MOST_ENUMERATED:
        return [bound_of(parts)]
    return sorted(_networks(tuple(parts)))


def bound_of(parts: Sequence[Arrangement]) -> Arrangement:
    """What no network of the parts exceeds: the voltage of all in series with the current of all in parallel.

    >>> a = Arrangement(Decimal(10), Decimal(1), Decimal(10))
    >>> bound_of([a, a])
    Arrangement(voltage_v=Decimal('20'), current_a=Decimal('2'), resistance_ohm=Decimal('5'))
    """
    series, parallel = reduce(in_series, parts), reduce(in_parallel, parts)
    return Arrangement(series.voltage_v, parallel.current_a, parallel.resistance_ohm)


def _networks(parts: tuple[Arrangement, ...]) -> set[Arrangement]:
    if len(parts) == 1:
        return set(parts)
    found: set[Arrangement] = set()
    rest = range(1, len(parts))
    for size in range(len(parts) - 1):
        for chosen in combinations(rest, size):
            left = _networks((parts[0], *(parts[i] for i in chosen)))
            right = _networks(tuple(parts[i] for i in rest if i not in chosen))
            found |= {join(a, b) for a in left for b in right for join in (in_series, in_parallel)}
    return found


def matched_power(parts: Sequence[Arrangement], interconnection: Interconnection) -> Decimal:
    """The most that the combination gives into a matched load, in W: exact for series and for parallel.

    Series: (sum U)^2 / (4 sum R); parallel: (sum I)^2 / (4 sum 1/R). The larger of both where the interconnection is
    undefined. Parts without current or resistance add no power.

    >>> a = Arrangement(Decimal(28), Decimal("0.1"), Decimal(280))
    >>> matched_power([a, a], Interconnection.PARALLEL) == Decimal("1.4")
    True
    """
    real = [part for part in parts if part.resistance_ohm and part.current_a]
    if not real:
        return Decimal(0)
    series = sum(p.voltage_v for p in real) ** 2 / (4 * sum(p.resistance_ohm for p in real))
    parallel = sum(p.current_a for p in real) ** 2 / (4 * sum(1 / p.resistance_ohm for p in real))
    if interconnection is Interconnection.SERIES:
        return Decimal(series)
    return Decimal(parallel) if interconnection is Interconnection.PARALLEL else Decimal(max(series, parallel))


def feed_of(case: Case, tables: Tables, remarks: list[Remark]) -> tuple[Feed, list[Check]]:
    """The feed of a circuit and the ``sources`` checks. Confirmations are appended to ``remarks``."""
    group = case.area.group
    if len(case.sources) == 1:
        source = case.sources[0]
        po, computed = power(source)
        rows = permitted_rows(source.permitted, group) if group else ()
        return Feed(source.name, case.sources, source.uo_v, source.io_a, po, computed, rows), _SINGLE
    return _combined(case, tables, remarks)


_SINGLE = [Check(CheckId.SOURCES, NOT_APPLICABLE, ("circuit",), Remark("One source feeds the circuit."), "sources")]


def _combined(case: Case, tables: Tables, remarks: list[Remark]) -> tuple[Feed, list[Check]]:
    sources = case.sources
    name = " + ".join(source.name for source in sources)
    powers = [power(source) for source in sources]
    computed = any(was_computed for _, was_computed in powers)
    other = next((s for s in sources if s.output not in (None, Output.LINEAR)), None)
    unknown = next((s for s in sources if s.output is None or not _stated(s)), None)
    if other is not None or unknown is not None:
        lower = [_largest(s.uo_v for s in sources), _largest(s.io_a for s in sources), _largest(p for p, _ in powers)]
        if other is not None:
            verdict = BEYOND
            why = Remark(
                "{0} is not linear ({1}); its combination with another source needs a specialist's assessment.",
                (other.name, str(other.output)),
            )
        else:
            assert unknown is not None
            verdict = INCOMPLETE
            why = Remark(
                "Output characteristic, Uo or Io of {0} is unknown, so the sources cannot be combined.", (unknown.name,)
            )
        check = Check(CheckId.SOURCES, verdict, (name,), why, "sources")
        return Feed(name, sources, lower[0], lower[1], lower[2], computed, _upper_bound(case), verdict), [check]
    return _linear(case, tables, remarks, name, powers, computed)


def _linear(
    case: Case,
    tables: Tables,
    remarks: list[Remark],
    name: str,
    powers: Sequence[tuple[Parameter, bool]],
    computed: bool,
) -> tuple[Feed, list[Check]]:
    """Combine linear sources with known Uo and Io."""
    parts = [_part(source) for source in case.sources]
    # A channel without current (diode return) counts with its voltage for capacitance (and, to be safe, for Ui).
    carrying = [part for part in parts if part.current_a] or parts[:1]
    networks = arrangements(carrying, case.interconnection)
    sums = case.interconnection is not Interconnection.PARALLEL
    voltage = sum((p.voltage_v for p in parts), Decimal(0)) if sums else max(p.voltage_v for p in parts)
    current = max(n.current_a for n in networks)
    watts = [po for po, _ in powers if isinstance(po, Decimal)]
    total = sum(watts, Decimal(0)) if len(watts) == len(powers) else UNKNOWN
    matched = matched_power(parts, case.interconnection)
    remarks.append(
        Remark(
            "{0} are combined by calculation ({1}): the level is at most ib; inductance and capacitance inside the "
            "sources are not in the computed Co, Lo and Lo/Ro: confirm that they are negligible. The sum of the powers "
            "is used; the exact matched power is {2:W}. Permitted current and capacitance are from {3} and {4}.",
            (name, case.interconnection.value, matched, tables.current.name, tables.capacitance.name),
        )
    )
    group = case.area.group
    if group is None:
        why = Remark("The group of the area is unknown, so tables A.1 and A.2 cannot be used.")
        check = Check(CheckId.SOURCES, INCOMPLETE, (name,), why, "sources")
        return Feed(name, case.sources, voltage, current, total, computed, ()), [check]
    factor = "x1" if all(source.level is Level.IC for source in case.sources) else "x1.5"
    judged = networks
    if case.interconnection is Interconnection.UNDEFINED:
        judged = [*networks, bound_of(carrying)]
    checks = [_current_check(name, case.interconnection, judged, group, factor, tables)]
    co, co_check = _capacitance(name, case, voltage, group, factor, tables)
    checks.extend(co_check)
    lo = min([permitted_inductance(group, current), *_declared(case, group, "lo_h")])
    ratios = [
        permitted_inductance_per_resistance(group, n.voltage_v, n.resistance_ohm) for n in networks if n.voltage_v
    ]
    ratio: Parameter = min([*ratios, *_declared(case, group, "lo_ro_h_per_ohm")]) if ratios else NOT_STATED
    row = Permitted(zone_group(group), co, lo, ratio)
    return Feed(name, case.sources, voltage, current, total, computed, (row,)), checks


def _current_check(
    name: str,
    interconnection: Interconnection,
    networks: Sequence[Arrangement],
    group: Group,
    factor: str,
    tables: Tables,
) -> Check:
    """Short-circuit current of every arrangement against table A.1; the worst is reported.

    Of an undefined interconnection the most onerous of each is judged too: the voltage of the series connection with
    the current of the parallel one.
    """
    worst: tuple[int, Decimal, Check] | None = None
    for network in networks:
        cell = tables.current.look_up(group, factor, network.voltage_v)
        seen = (name, interconnection.value, network.voltage_v, network.current_a, tables.current.name, group.value)
        if cell is Outside.ABOVE:
            why = Remark(
                "{0} ({1}) can give {2:V} and {3:A}; {4} has no value for group {5} at this voltage, so a specialist "
                "must assess the combination.",
                seen,
            )
            found = Check(CheckId.SOURCES, BEYOND, (name,), why, "sources", network.current_a, None, "A")
            rank = (1, Decimal(0))
        elif isinstance(cell, Outside):
            why = Remark(
                "{0} ({1}) can give {2:V} and {3:A}; {4} sets no limit for group {5} at so low a voltage.", seen
            )
            found = Check(CheckId.SOURCES, PASS, (name,), why, "sources", network.current_a, None, "A")
            rank = (0, Decimal(0))
        else:
            within = at_most(network.current_a, cell.value)
            why = Remark(
                "{0} ({1}) can give {2:V} and {3:A}; {4} permits {6:A-} for group {5} at the row {7:V}, factor {8}.",
                (*seen, cell.value, cell.row_voltage_v, factor[1:]),
            )
            cure = None
            if not within:
                told = interconnection is Interconnection.UNDEFINED
                cure = Remark(
                    "Combined Io of at most {0:A-} would pass"
                    + ("; or say whether the sources are in series or in parallel." if told else "."),
                    (cell.value,),
                )
            verdict = PASS if within else FAIL
            found = Check(
                CheckId.SOURCES, verdict, (name,), why, "sources", network.current_a, cell.value, "A", cure=cure
            )
            rank = (0 if within else 2, network.current_a / cell.value)
        if worst is None or rank > worst[:2]:
            worst = (*rank, found)
    assert worst is not None
    return worst[2]


def _capacitance(
    name: str, case: Case, voltage: Decimal, group: Group, factor: str, tables: Tables
) -> tuple[Parameter, list[Check]]:
    """Co of the combination in F: table A.2, never above what any of the certificates allows its source alone."""
    cell = tables.capacitance.look_up(group, factor, voltage)
    if cell is Outside.ABOVE:
        why = Remark(
            "{0} can give {1:V}; {2} has no value for group {3} at this voltage, so a specialist must assess the "
            "combination.",
            (name, voltage, tables.capacitance.name, group.value),
        )
        return UNKNOWN, [Check(CheckId.SOURCES, BEYOND, (name,), why, "sources", voltage, None, "V")]
    if isinstance(cell, Outside):
        cell = tables.capacitance.first(group, factor)
    return min([cell.value, *_declared(case, group, "co_f")]), []


def _declared(case: Case, group: Group, quantity: str) -> list[Decimal]:
    """The largest declared value of each source for the group: adding a source never raises what is permitted."""
    found = []
    for source in case.sources:
        values = [getattr(row, quantity) for row in permitted_rows(source.permitted, group)]
        known = [value for value in values if isinstance(value, Decimal)]
        if known and len(known) == len(values):
            found.append(max(known))
    return found


def _upper_bound(case: Case) -> tuple[Permitted, ...]:
    """What no combination of the sources can permit more of: the least that any one of them permits alone."""
    group = case.area.group
    if group is None:
        return ()
    co = min(_declared(case, group, "co_f"), default=UNKNOWN)
    lo = min(_declared(case, group, "lo_h"), default=UNKNOWN)
    return (Permitted(zone_group(group), co, lo, NOT_STATED, together=True),)


def _stated(source: Source) -> bool:
    return isinstance(source.uo_v, Decimal) and isinstance(source.io_a, Decimal)


def _part(source: Source) -> Arrangement:
    assert isinstance(source.uo_v, Decimal)
    assert isinstance(source.io_a, Decimal)
    return Arrangement(source.uo_v, source.io_a, least_resistance(source) or Decimal(0))


def _largest(values: object) -> Parameter:
    known = [value for value in values if isinstance(value, Decimal)]  # type: ignore[attr-defined]
    return max(known, default=UNKNOWN)
