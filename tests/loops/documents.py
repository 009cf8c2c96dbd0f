"""The complete case document of the agreed format, and ways to change one thing of it."""

from __future__ import annotations

import copy
from typing import Any

COMPLETE: dict[str, Any] = {
    "case": "free text, echoed in the result",
    "basis": "IEC",
    "area": {
        "zone": "1",
        "group": "IIC",
        "temperature_class": "T4",
        "ambient_min": "-20 degC",
        "ambient_max": "40 degC",
    },
    "safe_area_ambient_max": "40 degC",
    "safe_area_voltage_max": "230 V",
    "sources": [
        {
            "name": "S1",
            "terminals": "1-2",
            "level": "ia",
            "output": "linear",
            "isolated": True,
            "um": "250 V",
            "Uo": "25.2 V",
            "Io": "95 mA",
            "Po": "0.6 W",
            "Ro": "265 ohm",
            "permitted": [{"group": "IIC", "Co": "107 nF", "Lo": "3.9 mH", "Lo_Ro": "58 uH/ohm", "together": False}],
            "certificate": {
                "number": "EXA 21 ATEX 0101 X",
                "scheme": "ATEX",
                "valid_to": "2031-05-01",
                "status": "current",
            },
            "supply": {"voltage": "24 V", "voltage_at_20mA": "15.8 V", "resistance": "22 ohm"},
        }
    ],
    "devices": [
        {
            "name": "D1",
            "kind": "certified",
            "level": "ia",
            "group": "IIC",
            "Ui": "30 V",
            "Ii": "120 mA",
            "Pi": "1 W",
            "Ci": "2.2 nF",
            "Li": "0 H",
            "temperature_classes": [
                {"class": "T4", "ambient_max": "70 degC"},
                {"class": "T6", "ambient_max": "45 degC"},
            ],
            "ambient_min": "-40 degC",
            "isolated_from_earth": True,
            "certificate": {"number": "EXB 19 ATEX 0202", "scheme": "ATEX", "status": "current"},
            "needs": {"voltage_min": "11 V", "current_max": "22 mA", "voltage_min_at_4mA": "11 V"},
        }
    ],
    "cables": [
        {
            "name": "W1",
            "length": "300 m",
            "C": "110 nF/km",
            "L": "0.65 mH/km",
            "L_R": "25 uH/ohm",
            "R": "12.1 ohm/km",
            "R_is": "per_core",
            "strand_diameter": "0.3 mm",
            "insulation_thickness": "0.4 mm",
            "test_voltage": "500 V",
            "type": "single_circuit",
        }
    ],
    "interconnection": "undefined",
    "load_resistance": "250 ohm",
    "judge_on": "2026-11-25",
}


def changed(path: str, value: Any = ..., document: dict[str, Any] = COMPLETE) -> dict[str, Any]:
    """The document with one value set, or taken away."""
    made = copy.deepcopy(document)
    *way, last = path.split(".")
    place: Any = made
    for step in way:
        place = place[int(step) if isinstance(place, list) else step]
    key: Any = int(last) if isinstance(place, list) else last
    if value is ...:
        del place[key]
    else:
        place[key] = value
    return made
