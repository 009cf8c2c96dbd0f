"""Capacitance and inductance on the circuit: what devices and cables add up to.

Sums keep apart what is known and what is missing: a sum of the known parts that is above its limit fails, whatever the
missing parts are. Default cable values: IEC 60079-25:2020, 9.3 (200 pF/m, 1 uH/m or 30 uH/ohm for two- and three-core
cable) and, in North America, 60 pF/ft and 0.20 uH/ft (published control drawings; ISA-RP12.06.01).
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Context, Decimal
from typing import NamedTuple

from loops.engine.case import Basis, Cable, Device, Parameter, Screen

FOOT_M = Decimal("0.3048")
_PER_FOOT = Context(prec=60)  # as many digits as a typed value per foot is read with
DEFAULT_CAPACITANCE_F_PER_M = {
    Basis.IEC: Decimal("200e-12"),
    Basis.NEC: _PER_FOOT.divide(Decimal("60e-12"), FOOT_M),
}
DEFAULT_INDUCTANCE_H_PER_M = {
    Basis.IEC: Decimal("1e-6"),
    Basis.NEC: _PER_FOOT.divide(Decimal("0.20e-6"), FOOT_M),
}
DEFAULT_INDUCTANCE_PER_RESISTANCE_H_PER_OHM = Decimal("30e-6")
DEFAULT_RATIO_UP_TO_A = Decimal(3)
COPPER_PER_K = Decimal("0.00393")


class Sum(NamedTuple):
    """Sum of the known parts, and the names of the parts whose share is missing."""

    known: Decimal
    missing: tuple[str, ...]


class Run(NamedTuple):
    """A cable with its values settled: F/m, H/m for the loop, m, and which of them are defaults."""

    name: str
    length_m: Parameter
    capacitance_f_per_m: Decimal
    inductance_h_per_m: Decimal
    default_capacitance: bool
    default_inductance: bool


def device_capacitance(devices: Sequence[Device]) -> Sum:
    """Sum of Ci in F. Ci that is not stated is as missing as one that nobody has looked up.

    >>> device_capacitance([Device("A", ci_f=Decimal("2e-9")), Device("B")])
    Sum(known=Decimal('2E-9'), missing=('Ci of B',))
    """
    known, missing = Decimal(0), []
    for device in devices:
        if isinstance(device.ci_f, Decimal):
            known += device.ci_f
        else:
            missing.append(f"Ci of {device.name}")
    return Sum(known, tuple(missing))


def device_inductance(devices: Sequence[Device]) -> Sum:
    """Sum of Li in H; as :func:`device_capacitance`.

    >>> device_inductance([Device("A", li_h=Decimal("1e-6"))])
    Sum(known=Decimal('0.000001'), missing=())
    """
    known, missing = Decimal(0), []
    for device in devices:
        if isinstance(device.li_h, Decimal):
            known += device.li_h
        else:
            missing.append(f"Li of {device.name}")
    return Sum(known, tuple(missing))


def settle(cable: Cable, basis: Basis, earthed: bool) -> Run:
    """The per-length values that a cable counts with.

    From core figures: C = Ccc + Ccs/2 with the screen isolated, Ccc + Ccs with the screen on one core; an earthed
    circuit (``earthed``: a source is not isolated, or nobody knows) always takes the latter. Inductance per core counts
    twice, capacitance once. What is left out takes the default of the basis.

    >>> settle(Cable("W", inductance_h_per_m=Decimal("1e-7"), inductance_per_core=True), Basis.IEC, False)[2:]
    (Decimal('2.00E-10'), Decimal('2E-7'), True, False)
    """
    capacitance, default_capacitance = cable.capacitance_f_per_m, False
    if not isinstance(capacitance, Decimal):
        core, screen = cable.core_core_f_per_m, cable.core_screen_f_per_m
        if isinstance(core, Decimal) and isinstance(screen, Decimal):
            isolated = cable.screen is Screen.ISOLATED and not earthed
            capacitance = core + screen / 2 if isolated else core + screen
        else:
            capacitance, default_capacitance = DEFAULT_CAPACITANCE_F_PER_M[basis], True
    inductance, default_inductance = cable.inductance_h_per_m, False
    if not isinstance(inductance, Decimal):
        inductance, default_inductance = DEFAULT_INDUCTANCE_H_PER_M[basis], True
    elif cable.inductance_per_core:
        inductance = 2 * inductance
    return Run(cable.name, cable.length_m, capacitance, inductance, default_capacitance, default_inductance)


def loop_resistance(cable: Cable) -> Decimal | None:
    """Resistance of both cores in ohm/m at 20 degC, or ``None``.

    >>> loop_resistance(Cable("W", resistance_ohm_per_m=Decimal("0.0121"), resistance_per_core=True))
    Decimal('0.0242')
    """
    if not isinstance(cable.resistance_ohm_per_m, Decimal):
        return None
    return cable.resistance_ohm_per_m * (2 if cable.resistance_per_core else 1)


def resistance_at(resistance_20: Decimal, temperature_c: Decimal) -> Decimal:
    """Copper at a temperature: R20 * (1 + 0.00393 * (T - 20)).

    >>> round(resistance_at(Decimal("12.1"), Decimal(70)), 1)
    Decimal('14.5')
    """
    return resistance_20 * (1 + COPPER_PER_K * (temperature_c - 20))


def ratio(cable: Cable, basis: Basis, io_a: Parameter, ambient_min_c: Parameter) -> tuple[Decimal | None, str]:
    """L/R of a cable in H/ohm and where it comes from: "stated", "computed", "default" or "" with ``None``.

    Computed from L and R it takes the resistance at the lowest ambient, because cold copper has the highest L/R. The
    default of 30 uH/ohm (IEC, Io up to 3 A) stands only for a cable of which neither L nor R is known.

    >>> ratio(Cable("W", inductance_per_resistance_h_per_ohm=Decimal("25e-6")), Basis.IEC, Decimal(1), Decimal(-20))
    (Decimal('0.000025'), 'stated')
    """
    if isinstance(cable.inductance_per_resistance_h_per_ohm, Decimal):
        return cable.inductance_per_resistance_h_per_ohm, "stated"
    resistance = loop_resistance(cable)
    if isinstance(cable.inductance_h_per_m, Decimal):
        if resistance is None or not isinstance(ambient_min_c, Decimal):
            return None, ""
        cold = resistance_at(resistance, min(ambient_min_c, Decimal(20)))
        if cold <= 0:
            return None, ""
        return cable.inductance_h_per_m * (2 if cable.inductance_per_core else 1) / cold, "computed"
    if basis is Basis.IEC and resistance is None and isinstance(io_a, Decimal) and io_a <= DEFAULT_RATIO_UP_TO_A:
        return DEFAULT_INDUCTANCE_PER_RESISTANCE_H_PER_OHM, "default"
    return None, ""


def cable_capacitance(runs: Sequence[Run]) -> Sum:
    """Sum of the capacitances of the runs in F.

    >>> cable_capacitance([settle(Cable("W", length_m=Decimal(100)), Basis.IEC, False)]).known
    Decimal('2.0000E-8')
    """
    known, missing = Decimal(0), []
    for run in runs:
        if isinstance(run.length_m, Decimal):
            known += run.length_m * run.capacitance_f_per_m
        else:
            missing.append(f"length of {run.name}")
    return Sum(known, tuple(missing))


def cable_inductance(runs: Sequence[Run]) -> Sum:
    """Sum of the inductances of the runs in H.

    >>> cable_inductance([settle(Cable("W"), Basis.IEC, False)])
    Sum(known=Decimal('0'), missing=('length of W',))
    """
    known, missing = Decimal(0), []
    for run in runs:
        if isinstance(run.length_m, Decimal):
            known += run.length_m * run.inductance_h_per_m
        else:
            missing.append(f"length of {run.name}")
    return Sum(known, tuple(missing))
