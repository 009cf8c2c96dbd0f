"""Copper: what a conductor is called, its resistance, and the resistance of the runs of a circuit at a temperature.

Sources: IEC 60228:2004, Tables 1 and 3 (highest resistance of one conductor at 20 degC); loop resistances by AWG as
printed in published manuals (14 to 20 AWG in ohm/ft, 22 and 24 AWG in ohm/m). For function alone: a table gives the
highest resistance, and the ratio L/R of a cable wants the lowest.
"""

from __future__ import annotations

from decimal import Context, Decimal
from typing import NamedTuple

from loops.engine.case import Cable, Case
from loops.engine.findings import Remark
from loops.engine.totals import FOOT_M, loop_resistance, resistance_at

COPPER_TABLES_C = Decimal(20)  # temperature of the tables below
# Where the resistance of a cable is not given: 0.5 mm2 copper, both cores, the thinnest usual instrument cable.
DEFAULT_LOOP_OHM_PER_M = Decimal("0.0720")

# Highest resistance of one plain copper conductor of class 1 or 2 at 20 degC, ohm/m, by cross-section in mm2.
IEC_60228_CLASS_2_OHM_PER_M = {
    Decimal("0.5"): Decimal("0.0360"),
    Decimal("0.75"): Decimal("0.0245"),
    Decimal("1.0"): Decimal("0.0181"),
    Decimal("1.5"): Decimal("0.0121"),
    Decimal("2.5"): Decimal("0.00741"),
    Decimal("4"): Decimal("0.00461"),
}
IEC_60228_CLASS_5_OHM_PER_M = {
    Decimal("0.5"): Decimal("0.0390"),
    Decimal("0.75"): Decimal("0.0260"),
    Decimal("1.0"): Decimal("0.0195"),
    Decimal("1.5"): Decimal("0.0133"),
    Decimal("2.5"): Decimal("0.00798"),
    Decimal("4"): Decimal("0.00495"),
}
_PER_FOOT = Context(prec=60)  # as many digits as a typed value per foot is read with
# Loop resistance (both conductors) at 20 degC by AWG.
AWG_LOOP_OHM_PER_M = {
    14: _PER_FOOT.divide(Decimal("0.0050"), FOOT_M),
    16: _PER_FOOT.divide(Decimal("0.0080"), FOOT_M),
    18: _PER_FOOT.divide(Decimal("0.0128"), FOOT_M),
    20: _PER_FOOT.divide(Decimal("0.0204"), FOOT_M),
    22: Decimal("0.098"),
    24: Decimal("0.157"),
}
LOOP_OHM_PER_M_BY_NAME = {
    **{f"{size} mm2": 2 * ohm for size, ohm in IEC_60228_CLASS_2_OHM_PER_M.items()},
    **{f"{size} AWG": ohm for size, ohm in AWG_LOOP_OHM_PER_M.items()},
}
"""Loop resistance in ohm/m at 20 degC by the name of the conductor as the case format writes it."""


class Line(NamedTuple):
    """Resistance of all runs, both cores, in ohm, and what is missing of it, in words."""

    ohm: Decimal
    missing: tuple[str, ...] = ()


def working_resistance(cable: Cable) -> Decimal:
    """Resistance of both cores in ohm/m at 20 degC: as given, else by the conductor, else 0.5 mm2 copper.

    >>> working_resistance(Cable("W", conductor="1.5 mm2"))
    Decimal('0.0242')
    """
    given = loop_resistance(cable)
    if given is not None:
        return given
    return DEFAULT_LOOP_OHM_PER_M if cable.conductor is None else LOOP_OHM_PER_M_BY_NAME[cable.conductor]


def cable_resistance(cable: Cable, temperature_c: Decimal) -> Decimal:
    """Resistance of both cores of a run in ohm at a temperature; a length that is not known counts as 0.

    >>> round(cable_resistance(Cable("W", Decimal(1000), resistance_ohm_per_m=Decimal("0.0242")), Decimal(20)), 1)
    Decimal('24.2')
    """
    length = cable.length_m if isinstance(cable.length_m, Decimal) else Decimal(0)
    return length * resistance_at(working_resistance(cable), temperature_c)


def line_of(case: Case) -> Line:
    """Resistance of all runs at the highest ambient; where that is unknown, at 20 degC and told as missing.

    >>> line_of(Case((), cables=(Cable("W"),))).missing
    ('cable lengths', 'highest ambient of the area')
    """
    if case.cables is None:
        return Line(Decimal(0), ("cable lengths",))
    ambient = case.area.ambient_max_c
    missing = []
    if not all(isinstance(cable.length_m, Decimal) for cable in case.cables):
        missing.append("cable lengths")
    if case.cables and not isinstance(ambient, Decimal):
        missing.append("highest ambient of the area")
    temperature = ambient if isinstance(ambient, Decimal) else COPPER_TABLES_C
    return Line(
        sum((cable_resistance(cable, temperature) for cable in case.cables), Decimal(0)),
        tuple(missing),
    )


def assumptions(case: Case) -> list[Remark]:
    """What the function verdict takes for granted: cables whose resistance comes from the conductor or is the default.

    >>> assumptions(Case(()))
    []
    """
    if not any(device.needs is not None for device in case.devices):
        return []
    found = []
    for cable in case.cables or ():
        if loop_resistance(cable) is not None:
            continue
        if cable.conductor is None:
            template = (
                "Resistance of {0} is not given: 0.5 mm2 copper, {1:ohm/m} for both cores, is assumed for function."
            )
            found.append(Remark(template, (cable.name, DEFAULT_LOOP_OHM_PER_M)))
        else:
            template = (
                "Resistance of {0} is that of its conductor, {1}: {2:ohm/m} for both cores at 20 degC, for function."
            )
            found.append(Remark(template, (cable.name, cable.conductor, working_resistance(cable))))
    return found
