"""Charts in words. Apart from their drawing, which takes a large library that only who draws should load."""

from __future__ import annotations

from django.utils.translation import gettext as _

from loops.services.curves import Curves
from registry.parameters import shown
from registry.quantities import Kind


def described_curves(curves: Curves) -> str:
    """The chart in words, for whoever does not see it."""
    told = [
        _("Ignition curves for group %(group)s. %(source)s works at %(voltage)s and %(current)s.")
        % {
            "group": curves.group,
            "source": curves.source,
            "voltage": shown(curves.voltage_v, Kind.VOLTAGE),
            "current": shown(curves.current_a, Kind.CURRENT),
        }
    ]
    if curves.connected_f is not None:
        told.append(_("Connected: %(capacitance)s.") % {"capacitance": shown(curves.connected_f, Kind.CAPACITANCE)})
    return " ".join(told)
