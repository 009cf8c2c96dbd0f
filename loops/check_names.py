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


def check_name(word: str) -> str:
    """The name of a check; a word that is none as it stands. A percentage does not break over two lines."""
    return str(CHECK_NAMES.get(word, word)).replace(" %", "\N{NO-BREAK SPACE}%")
