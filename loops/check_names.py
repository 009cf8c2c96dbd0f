"""How the checks of the engine are called where people read of them, by their words in the case format."""

from __future__ import annotations

CHECK_NAMES = {
    "voltage": "Voltage",
    "current": "Current",
    "power": "Power",
    "capacitance": "Capacitance",
    "inductance": "Inductance",
    "lumped_rule": "Lumped C and L (1 % rule)",
    "level": "Level of protection",
    "group": "Equipment group",
    "temperature_class": "Temperature class",
    "ambient": "Ambient temperature",
    "certificate": "Certificate",
    "simple_apparatus": "Simple apparatus",
    "earthing": "Earthing",
    "cable_construction": "Cable construction",
    "cable_type": "Cable type",
    "um": "Um (safe-area voltage)",
    "sources": "Combined sources",
    "fisco": "FISCO",
}
