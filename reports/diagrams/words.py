"""Charts in words. Apart from their drawing, which takes a large library that only who draws should load."""

from __future__ import annotations

from loops.services.curves import Curves
from registry.quantities import Kind, write


def described_curves(curves: Curves) -> str:
    """The chart in words, for whoever does not see it."""
    told = [
        f"Ignition curves for group {curves.group}. {curves.source} works at {write(curves.voltage_v, Kind.VOLTAGE)} "
        f"and {write(curves.current_a, Kind.CURRENT)}."
    ]
    if curves.connected_f is not None:
        told.append(f"Connected: {write(curves.connected_f, Kind.CAPACITANCE)}.")
    return " ".join(told)
