"""How the checks of the engine are called where people read of them, by their words in the case format."""

from __future__ import annotations

from registry.words import lazily as _

CHECK_NAMES = {
    "voltage": _("Voltage"),
    "current": _("Current"),
    "power": _("Power"),
    "capacitance": _("Capacitance"),
    "inductance": _("Inductance"),
    "lumped_rule": _("Lumped C and L (1 % rule)"),
    "level": _("Level of protection"),
    "group": _("Equipment group"),
    "temperature_class": _("Temperature class"),
    "ambient": _("Ambient temperature"),
    "certificate": _("Certificate"),
    "simple_apparatus": _("Simple apparatus"),
    "earthing": _("Earthing"),
    "cable_construction": _("Cable construction"),
    "cable_type": _("Cable type"),
    "um": _("Um (safe-area voltage)"),
    "sources": _("Combined sources"),
    "fisco": "FISCO",
}


def check_name(word: str) -> str:
    """The name of a check; a word that is none as it stands. A percentage does not break over two lines."""
    return str(CHECK_NAMES.get(word, word)).replace(" %", "\N{NO-BREAK SPACE}%")
