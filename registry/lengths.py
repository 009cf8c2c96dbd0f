"""Lengths as a site reads them: in metres or in feet. What was typed keeps its unit, and the site's stands beside it.

A foot is 0.3048 m exactly (international yard and pound agreement of 1959). Everything is computed in metres; feet are
for reading alone. A length that is permitted is cut, never rounded up; the metres that count stand beside it.
"""

from __future__ import annotations

import re
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from django.db import models
from django.utils.translation import gettext_lazy as _

from registry.quantities import Kind, QuantityError, read, write

FOOT_M = Decimal("0.3048")
TENTH = Decimal("0.1")
IMPERIAL = re.compile(r"(?:ft|in|yd|mi|mile)$")
METRES = re.compile(r"(?<![\w.,/])(\d+(?:\.\d+)?)[ \u00a0]m(?![\w/])")
"""A length in metres in a sentence of the engine: "88 m", and neither "88 mA" nor "88 m/s"."""


class LengthUnit(models.TextChoices):
    """What a site shows lengths in."""

    METRE = "m", _("metres")
    FOOT = "ft", _("feet")


def in_feet(metres: Decimal, *, permitted: bool = False) -> str:
    """A length in feet to a tenth; one that is permitted is cut to whole feet.

    >>> in_feet(Decimal("180")), in_feet(Decimal("952"), permitted=True), in_feet(Decimal("30.48"))
    ('590.6 ft', '3123 ft', '100 ft')
    """
    feet = metres / FOOT_M
    cut = feet.quantize(Decimal(1), ROUND_FLOOR) if permitted else feet.quantize(TENTH, ROUND_HALF_EVEN)
    return f"{cut.normalize():f} ft"


def is_imperial(typed: str, kind: Kind) -> bool:
    """Whether a length was typed in feet, inches, yards or miles."""
    return kind is Kind.LENGTH and bool(IMPERIAL.search(typed.strip()))


def typed_length(typed: str, unit: str) -> str:
    """A length as it was typed, with the site's unit beside it where it was typed in the other; "" where none was.

    >>> typed_length("180 m", "ft"), typed_length("100 ft", "m"), typed_length("0.2 km", "m"), typed_length("", "ft")
    ('180 m (590.6 ft)', '100 ft (30.48 m)', '0.2 km', '')
    """
    try:
        metres = read(typed, Kind.LENGTH)
    except QuantityError:
        return typed
    imperial = is_imperial(typed, Kind.LENGTH)
    if imperial == (unit == LengthUnit.FOOT):
        return typed
    return f"{typed} ({write(metres, Kind.LENGTH) if imperial else in_feet(metres)})"


def permitted_length(metres: int | Decimal, unit: str) -> str:
    """A length that a limit permits, in the site's unit, with the metres that count beside feet.

    >>> permitted_length(952, "m"), permitted_length(952, "ft")
    ('952 m', '3123 ft (952 m)')
    """
    told = f"{Decimal(metres).normalize():f} m"
    return f"{in_feet(Decimal(metres), permitted=True)} ({told})" if unit == LengthUnit.FOOT else told


def lengths_in(text: str, unit: str) -> str:
    """A sentence of the engine with the lengths of a site in feet before the metres in it.

    >>> lengths_in("Cable W1 of at most 88 m would pass.", "ft")
    'Cable W1 of at most 288 ft (88 m) would pass.'
    >>> lengths_in("0.65 mH/km at 20 mA", "ft"), lengths_in("at most 88 m", "m")
    ('0.65 mH/km at 20 mA', 'at most 88 m')
    """
    if unit != LengthUnit.FOOT or not text:
        return text
    return METRES.sub(lambda found: permitted_length(Decimal(found[1]), unit), text)


def in_site_unit(metres: Decimal, unit: str) -> str:
    """A length that is there, in the site's unit.

    >>> in_site_unit(Decimal("180"), "m"), in_site_unit(Decimal("180"), "ft")
    ('180 m', '590.6 ft (180 m)')
    """
    told = write(metres, Kind.LENGTH)
    return f"{in_feet(metres)} ({told})" if unit == LengthUnit.FOOT else told
