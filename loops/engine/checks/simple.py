"""Simple apparatus: needs no certificate, but has limits and a temperature class of its own.

Sources: IEC 60079-11:2011, 5.7 (limits of generating apparatus) and 5.6 (T4 by power and by surface), from memory; the
power table and the margins of 5 K and 10 K are seen in published instructions (IEC 60079-0:2017, 26.5.1).
"""

from __future__ import annotations

from decimal import Decimal
from typing import NamedTuple

from loops.engine.arithmetic import at_most
from loops.engine.case import Case, Device, Parameter, SimpleKind
from loops.engine.checks.temperature import check_ambient, check_temperature, usable_rows
from loops.engine.findings import (
    CONFIRM,
    FAIL,
    INCOMPLETE,
    NOT_APPLICABLE,
    PASS,
    Check,
    CheckId,
    Remark,
)
from loops.engine.groups import is_dust
from loops.engine.sources import Feed

LARGEST_VOLTAGE_V = Decimal("1.5")
LARGEST_CURRENT_A = Decimal("0.1")
LARGEST_POWER_W = Decimal("0.025")
# (ambient up to, power that keeps a surface of at least 20 mm2 within T4); between rows the next higher ambient.
T4_POWER = (
    (Decimal(40), Decimal("1.3")),
    (Decimal(50), Decimal("1.25")),
    (Decimal(60), Decimal("1.2")),
    (Decimal(70), Decimal("1.1")),
    (Decimal(80), Decimal("1.0")),
)
DUST_POWER = (
    (Decimal(40), Decimal("0.75")),
    (Decimal(70), Decimal("0.65")),
    (Decimal(100), Decimal("0.55")),
)
T4_C = Decimal(135)
T3_C = Decimal(200)
SMALL_M2 = Decimal("20e-6")
MEDIUM_M2 = Decimal("1000e-6")
SMALL_T4_C = Decimal(275)
MEDIUM_T4_C = Decimal(200)


class Heat(NamedTuple):
    """What can be said of the surface of simple apparatus: W, degC; ``None`` where unknown.

    ``table_w``: power that the table allows at this ambient, ``None`` above its last row.
    """

    power_w: Decimal | None
    table_w: Decimal | None
    surface_c: Decimal | None
    ambient_c: Decimal = Decimal(0)


def table_power(rows: tuple[tuple[Decimal, Decimal], ...], ambient_c: Decimal) -> Decimal | None:
    """Power in W from a table, at the next higher ambient between rows; ``None`` above the last row.

    >>> table_power(T4_POWER, Decimal(41)), table_power(T4_POWER, Decimal(81))
    (Decimal('1.25'), None)
    """
    return next((power for ambient, power in rows if ambient_c <= ambient), None)


def surface_margin(class_limit_c: Decimal) -> Decimal:
    """Margin in K between surface and class: 5 for T3 to T6, 10 for T1 and T2 (IEC 60079-0:2017, 26.5.1).

    >>> surface_margin(Decimal(135)), surface_margin(Decimal(450))
    (Decimal('5'), Decimal('10'))
    """
    return Decimal(5) if class_limit_c <= T3_C else Decimal(10)


def heat_of(case: Case, device: Device, feed: Feed) -> Heat:
    """Dissipated power, table value and surface temperature (T = ambient + P * Rth).

    The power is the apparatus' own limit where one is given (not for generating apparatus, whose figure is what it
    makes), else all that the feed can give.
    """
    simple, ambient = device.simple, case.area.ambient_max_c
    power: Parameter | None = feed.po_w if feed.unsettled is None else None
    if simple is not None and simple.kind is not SimpleKind.GENERATING and isinstance(simple.power_w, Decimal):
        power = simple.power_w
    table = DUST_POWER if is_dust(case.area) else T4_POWER
    known = power if isinstance(power, Decimal) else None
    if not isinstance(ambient, Decimal):
        return Heat(known, None, None)
    surface = None
    if known is not None and simple is not None and isinstance(simple.thermal_resistance_k_per_w, Decimal):
        surface = ambient + known * simple.thermal_resistance_k_per_w
    elif known == 0:
        surface = ambient
    return Heat(known, table_power(table, ambient), surface, ambient)


def check_simple(case: Case, device: Device, feed: Feed, remarks: list[Remark]) -> list[Check]:
    """Limits of simple apparatus, and its power against the T4 table where no surface temperature is computed."""
    subject = (device.name,)
    simple = device.simple
    if simple is None or simple.kind is None:
        why = Remark("What kind of simple apparatus {0} is (passive, stored energy, generating) is not known.", subject)
        return [Check(CheckId.SIMPLE_APPARATUS, INCOMPLETE, subject, why, "simple_apparatus")]
    remarks.append(
        Remark(
            "{0} is simple apparatus: confirm a written justification, insulation for 500 V and its temperature class, "
            "because no certificate stands for them.",
            subject,
        )
    )
    if simple.kind is SimpleKind.GENERATING:
        checks = [
            _generated(device.name, "voltage", simple.voltage_v, LARGEST_VOLTAGE_V, "V"),
            _generated(device.name, "current", simple.current_a, LARGEST_CURRENT_A, "A"),
            _generated(device.name, "power", simple.power_w, LARGEST_POWER_W, "W"),
        ]
    elif simple.kind is SimpleKind.STORED_ENERGY and not (
        isinstance(device.ci_f, Decimal) and isinstance(device.li_h, Decimal)
    ):
        why = Remark("{0} stores energy, so its Ci and Li must be known.", subject)
        checks = [Check(CheckId.SIMPLE_APPARATUS, INCOMPLETE, subject, why, "simple_apparatus")]
    else:
        words = "stores energy, counted in the sums," if simple.kind is SimpleKind.STORED_ENERGY else "is passive"
        why = Remark("{0} {1} and makes no power of its own.", (device.name, words))
        checks = [Check(CheckId.SIMPLE_APPARATUS, PASS, subject, why, "simple_apparatus")]
    if (
        simple.kind is not SimpleKind.GENERATING
        and isinstance(simple.power_w, Decimal)
        and not (isinstance(feed.po_w, Decimal) and at_most(feed.po_w, simple.power_w))
    ):
        remarks.append(
            Remark(
                "Confirm that {0} cannot dissipate more than {1:W}, whatever the source gives.",
                (*subject, simple.power_w),
            )
        )
    heat = heat_of(case, device, feed)
    if heat.surface_c is None and heat.power_w is not None and heat.table_w is not None:
        table = "dust table" if is_dust(case.area) else "T4 table"
        operands = (device.name, heat.power_w, heat.table_w, heat.ambient_c, table)
        shown = (heat.power_w, heat.table_w, "W")
        if at_most(heat.power_w, heat.table_w):
            why = Remark("{0} may dissipate {1:W}; the {4} allows {2:W-} at {3:degC}.", operands)
            checks.append(Check(CheckId.SIMPLE_APPARATUS, PASS, subject, why, "simple_apparatus", *shown))
        else:
            why = Remark("{0} may dissipate {1:W}; the {4} allows only {2:W-} at {3:degC}.", operands)
            cure = Remark(
                "A source with Po of at most {0:W-} would pass; a thermal resistance lets the surface be computed.",
                (heat.table_w,),
            )
            checks.append(Check(CheckId.SIMPLE_APPARATUS, FAIL, subject, why, "simple_apparatus", *shown, cure=cure))
    return checks


def _generated(name: str, quantity: str, value: Parameter, limit: Decimal, unit: str) -> Check:
    subject = (name,)
    if not isinstance(value, Decimal):
        why = Remark("The {1} that {0} generates is not known.", (name, quantity))
        return Check(CheckId.SIMPLE_APPARATUS, INCOMPLETE, subject, why, "simple_apparatus", None, limit, unit)
    operands = (name, value, limit)
    if at_most(value, limit):
        why = Remark(f"{{0}} generates at most {{1:{unit}}}; simple apparatus may generate {{2:{unit}}}.", operands)
        return Check(CheckId.SIMPLE_APPARATUS, PASS, subject, why, "simple_apparatus", value, limit, unit)
    why = Remark(f"{{0}} generates up to {{1:{unit}}}; simple apparatus may generate only {{2:{unit}}}.", operands)
    cure = Remark("A certified device, with Uo, Io and Po as a source of its own, would pass.")
    return Check(CheckId.SIMPLE_APPARATUS, FAIL, subject, why, "simple_apparatus", value, limit, unit, cure=cure)


def check_simple_temperature(case: Case, device: Device, feed: Feed, remarks: list[Remark]) -> Check:
    """Temperature class of simple apparatus: assigned by its user, else from its power, else from its surface."""
    if usable_rows(case, device):
        remarks.append(
            Remark(
                "The temperature class of {0} is assigned, not certified: the justification must show it.",
                (device.name,),
            )
        )
        return check_temperature(case, device, feed)
    subject = (device.name,)
    limit, ambient = case.area.temperature_c, case.area.ambient_max_c
    heat = heat_of(case, device, feed)
    missing = [
        words
        for words, there in (
            ("the temperature class that the area needs", limit is not None),
            ("the highest ambient of the area", isinstance(ambient, Decimal)),
            (f"the power that {device.name} may dissipate", heat.power_w is not None),
        )
        if not there
    ]
    if missing or limit is None or heat.power_w is None:
        why = Remark("Not known: {0}.", (", ".join(missing),))
        return Check(CheckId.TEMPERATURE_CLASS, INCOMPLETE, subject, why, "temperature_class", None, limit, "degC")
    area = device.simple.surface_area_m2 if device.simple is not None else None
    dust = is_dust(case.area)
    by_table = not dust and limit >= T4_C and heat.table_w is not None and at_most(heat.power_w, heat.table_w)
    if by_table and isinstance(area, Decimal) and area >= SMALL_M2:
        why = Remark(
            "{0} has a surface of {1:m2} and may dissipate {2:W}, within the {3:W} that make it T4 at {4:degC}.",
            (device.name, area, heat.power_w, heat.table_w or Decimal(0), heat.ambient_c),
        )
        return Check(CheckId.TEMPERATURE_CLASS, PASS, subject, why, "temperature_class", T4_C, limit, "degC")
    if heat.surface_c is None:
        why = Remark(
            "No table shows the class of {0} at this power, ambient and surface: enter its surface area or thermal "
            "resistance.",
            subject,
        )
        return Check(CheckId.TEMPERATURE_CLASS, INCOMPLETE, subject, why, "temperature_class", None, limit, "degC")
    return _surface(device, heat, heat.surface_c, limit, dust=dust)


def _surface(device: Device, heat: Heat, surface_c: Decimal, limit_c: Decimal, *, dust: bool) -> Check:
    """Surface temperature with its margin against the class, with the T4 relief for small surfaces."""
    name, simple = device.name, device.simple
    area = simple.surface_area_m2 if simple is not None else None
    allowed, relief = limit_c - surface_margin(limit_c), ""
    if not dust and limit_c >= T4_C and isinstance(area, Decimal):
        if area < SMALL_M2 and allowed < SMALL_T4_C:
            allowed, relief = SMALL_T4_C, " for a surface under 20 mm2"
        elif area <= MEDIUM_M2 and allowed < MEDIUM_T4_C:
            allowed, relief = MEDIUM_T4_C, " for a surface of 20 mm2 to 1000 mm2"
    shown = (surface_c, allowed, "degC")
    operands = (name, surface_c, allowed, relief)
    if at_most(surface_c, allowed):
        why = Remark("The surface of {0} reaches {1:degC}; {2:degC} is allowed{3}.", operands)
        return Check(CheckId.TEMPERATURE_CLASS, PASS, (name,), why, "temperature_class", *shown)
    why = Remark("The surface of {0} reaches {1:degC}; only {2:degC} is allowed{3}.", operands)
    cure = Remark("A place with an ambient of at most {0:degC} would pass.", (allowed - (surface_c - heat.ambient_c),))
    rise = allowed - heat.ambient_c
    if simple is not None and isinstance(simple.thermal_resistance_k_per_w, Decimal) and heat.power_w and rise > 0:
        cure = Remark(
            "Power of at most {0:W-}, or a thermal resistance of at most {1:K/W-}, would pass.",
            (rise / simple.thermal_resistance_k_per_w, rise / heat.power_w),
        )
    return Check(CheckId.TEMPERATURE_CLASS, FAIL, (name,), why, "temperature_class", *shown, cure=cure)


def check_simple_ambient(case: Case, device: Device) -> Check:
    """Simple apparatus has no certified range; a person confirms that it stands the ambient."""
    if usable_rows(case, device) and isinstance(device.ambient_min_c, Decimal):
        return check_ambient(case, device)
    why = Remark("{0} is simple apparatus: confirm that it is made for the ambient of the area.", (device.name,))
    verdict = CONFIRM if isinstance(case.area.ambient_max_c, Decimal) else NOT_APPLICABLE
    return Check(CheckId.AMBIENT, verdict, (device.name,), why, "ambient")
