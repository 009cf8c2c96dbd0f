"""What a source gives in normal operation, and what the circuit takes before its devices get anything."""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from loops.engine.case import Case, DeviceKind, Parameter, Source
from loops.engine.conductors import Line, line_of
from loops.engine.sources import least_resistance

AT_20_MA_A = Decimal("0.020")


class Budget(NamedTuple):
    """Load in the field circuit in ohm (``None`` while unknown), line, inline resistance in ohm, fixed drops in V.

    ``unclear``: devices of which nobody has said what they take from the loop.
    """

    load_ohm: Decimal | None
    line: Line
    inline_ohm: Decimal
    drops_v: Decimal
    unclear: tuple[str, ...] = ()

    @property
    def ohm(self) -> Decimal:
        """All that is known of the resistance."""
        return (self.load_ohm or Decimal(0)) + self.line.ohm + self.inline_ohm

    @property
    def missing(self) -> list[str]:
        """What is not known, in words."""
        return ([] if self.load_ohm is not None else ["load resistance"]) + self.missing_of_line

    @property
    def missing_of_line(self) -> list[str]:
        """What is not known of cables and devices in the line, in words."""
        return [*self.line.missing, *(f"voltage drop or resistance of {name}" for name in self.unclear)]


def budget_of(case: Case, source: Source) -> Budget:
    """What the circuit takes besides the source and the devices that state a need.

    Simple apparatus without figures takes nothing; of any other device without need, resistance or drop it is unclear.

    >>> budget_of(Case((Source("S"),)), Source("S")).missing
    ['load resistance', 'cable lengths']
    """
    inline, drops = Decimal(0), Decimal(0)
    unclear = []
    for device in case.devices:
        resistance, drop = device.series_resistance_ohm, device.voltage_drop_v
        if resistance is None and drop is None and device.needs is None and device.kind is not DeviceKind.SIMPLE:
            unclear.append(device.name)
        inline += resistance or 0
        drops += drop or 0
    return Budget(_load(case, source), line_of(case), inline, drops, tuple(unclear))


def has_load_apart(source: Source) -> bool:
    """The load is on the other side of an isolation: the source is isolated and states its voltage at 20 mA.

    >>> has_load_apart(Source("S"))
    False
    """
    return (
        source.isolated is True and source.supply is not None and isinstance(source.supply.voltage_at_20ma_v, Decimal)
    )


def _load(case: Case, source: Source) -> Decimal | None:
    if has_load_apart(source):
        return Decimal(0)
    return case.load_resistance_ohm if isinstance(case.load_resistance_ohm, Decimal) else None


def source_voltage(source: Source, current_a: Decimal) -> Decimal | None:
    """Voltage in V that a source offers its field terminals at a current, or ``None`` where it is unknown.

    >>> from loops.engine.case import Supply
    >>> source_voltage(Source("S", supply=Supply(Decimal(24), resistance_ohm=Decimal(340))), Decimal("0.02"))
    Decimal('17.20')
    """
    supply = source.supply
    if supply is None:
        return None
    if isinstance(supply.voltage_at_20ma_v, Decimal):
        if current_a <= AT_20_MA_A:
            return supply.voltage_at_20ma_v
        resistance = falling_resistance(source)
        if resistance is None:
            return None
        return supply.voltage_at_20ma_v - (current_a - AT_20_MA_A) * resistance
    if isinstance(supply.voltage_v, Decimal) and isinstance(supply.resistance_ohm, Decimal):
        return supply.voltage_v - current_a * supply.resistance_ohm
    return None


def falling_resistance(source: Source) -> Decimal | None:
    """Resistance in ohm with which the voltage of an isolator falls above 20 mA: Ro, else Uo / Io.

    >>> falling_resistance(Source("S", ro_ohm=Decimal(265)))
    Decimal('265')
    """
    return source.ro_ohm if isinstance(source.ro_ohm, Decimal) else least_resistance(source)


def signal_resistance(source: Source) -> Parameter | None:
    """Resistance in ohm that the source itself puts into the path of a HART signal; ``None`` without a supply.

    Of an isolator what it presents to the field circuit, else the end-to-end resistance.

    >>> signal_resistance(Source("S")) is None
    True
    """
    if source.supply is None:
        return None
    return source.supply.hart_resistance_ohm if has_load_apart(source) else source.supply.resistance_ohm
