"""How far the last run of a circuit may grow, as a page draws it: a bar for each limit, all on one scale of metres."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from loops.services.reach import CAPACITANCE, FUNCTION, INDUCTANCE, LIMIT, LONGEST_M, NONE, SEGMENT, Reach, Reaches
from registry.lengths import LengthUnit, in_feet, in_site_unit, permitted_length

NAMES = {
    CAPACITANCE: gettext_lazy("Capacitance"),
    INDUCTANCE: gettext_lazy("Inductance, or L/R"),
    SEGMENT: gettext_lazy("Rules of the segment"),
    FUNCTION: gettext_lazy("Function: it must still work"),
}
BESIDE = Decimal("1.25")
"""So much of the longer of the run and its first limit is shown at least."""
FARTHEST = 4
"""A limit beyond so many times that is drawn to the edge with an arrow, so that the near ones are told apart."""


def shown_reach(found: Reaches | None, unit: str) -> dict[str, Any] | None:
    """What components/cable_reach.html shows; None where there is no run, or no limit is known."""
    if found is None or found.first is None or found.first.metres is None:
        return None
    if found.first.metres > LONGEST_M and (found.length_m or 0) <= LONGEST_M:
        return {
            "run": found.run,
            "sentence": _("Nothing limits %(run)s within %(far)s.") % {"run": found.run, "far": far(unit)},
            "is_open": found.is_open,
            "rows": [],
        }
    first, length = found.first, found.length_m
    near = max(Decimal(found.first.metres), length or Decimal(0), Decimal(1)) * BESIDE
    farthest = max([row.metres or 0 for row in found.rows if (row.metres or 0) <= LONGEST_M], default=0)
    scale = max(near, min(Decimal(farthest) * BESIDE, near * FARTHEST))
    return {
        "run": found.run,
        "sentence": sentence(found, first, unit),
        "is_open": found.is_open,
        "rows": [bar(row, first, length, scale, unit) for row in found.rows],
    }


def sentence(found: Reaches, first: Reach, unit: str) -> str:
    """The run, its first limit and what is left, in words with both numbers."""
    limit, metres = name_in_sentence(first.limit), first.metres or 0
    permitted = permitted_length(metres, unit)
    if found.length_m is None:
        words = _("The length of %(run)s is not known. %(limit)s comes first: it permits %(permitted)s.")
        return words % {"run": found.run, "limit": limit, "permitted": permitted}
    left = metres - found.length_m
    told = {
        "run": found.run,
        "length": in_site_unit(found.length_m, unit),
        "limit": limit,
        "permitted": permitted,
        "left": permitted_length(left, unit) if left > 0 else in_site_unit(-left, unit),
    }
    if left > 0:
        return _("%(run)s is %(length)s long. %(limit)s comes first, at %(permitted)s: %(left)s are left.") % told
    if left == 0:
        return _("%(run)s is %(length)s long, exactly what %(limit)s permits.") % (told | {"limit": limit.lower()})
    return _("%(run)s is %(length)s long. %(limit)s permits %(permitted)s: it is %(left)s too long.") % told


def far(unit: str) -> str:
    """A length that no cable of an instrument has."""
    return "20 km" if unit == LengthUnit.METRE else f"{in_feet(Decimal(LONGEST_M), permitted=True)} (20 km)"


def name_in_sentence(limit: str) -> str:
    return {
        CAPACITANCE: _("Capacitance"),
        INDUCTANCE: _("Inductance"),
        SEGMENT: _("The longest segment"),
        FUNCTION: _("The function"),
    }[limit]


def bar(row: Reach, first: Reach, length: Decimal | None, scale: Decimal, unit: str) -> Mapping[str, Any]:
    """One limit: its name, its length in words, and where its bar ends (0 to 100 of the drawing)."""
    found: dict[str, Any] = {"name": NAMES[row.limit], "is_first": row == first}
    if row.state == NONE:
        return found | {"words": _("sets no limit")}
    if row.state != LIMIT or row.metres is None:
        return found | {"words": _("cannot be said yet")}
    if row.metres > LONGEST_M and row != first:
        return found | {"words": _("over %s") % far(unit)}
    limit = min(Decimal(100), 100 * row.metres / scale)
    used = Decimal(0) if length is None else min(Decimal(100), 100 * length / scale)
    return found | {
        "words": _("up to %s") % permitted_length(row.metres, unit),
        "limit": f"{limit:.1f}",
        "used": f"{min(used, limit):.1f}",
        "present": "" if length is None else f"{used:.1f}",
        "over": f"{used:.1f}" if used > limit else "",
        "is_beyond": row.metres > scale,
    }
