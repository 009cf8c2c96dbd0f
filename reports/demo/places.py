"""The invented plant and its hazardous areas."""

from __future__ import annotations

Text = dict[str, str]

SCHEME: Text = {
    "name": "NQS",
    "description": "Invented national scheme; its certificates hold for five years",
    "number_form": "NQS #### @",
    "number_example": "NQS 4417-A",
    "lead_days": "365, 180, 90, 30, 0",
}

SITE: Text = {
    "code": "DRAV",
    "name": "Dravenhume Works",
    "basis": "IEC",
    "time_zone": "UTC",
    "schemes": "ATEX, IECEx, NQS",
    "safe_ambient_max_degc": "40 degC",
    "safe_voltage_max_v": "230 V",
}

SECOND_SITE: Text = SITE | {"code": "OVEL", "name": "Ovelstrand Terminal"}
"""Where the many loops of the large demo are."""


def area(key: str, name: str, zone: str, group: str, limit: str, ambient: tuple[str, str], drawing: str) -> Text:
    """The text of one area; `key` is what loops of this demo call it by."""
    low, high = ambient
    return {
        "key": key,
        "name": name,
        "zone": zone,
        "group": group,
        "temperature_class": limit,
        "ambient_min_degc": low,
        "ambient_max_degc": high,
        "drawing": drawing,
    }


TEMPERATE = ("-20 degC", "40 degC")

AREAS: tuple[Text, ...] = (
    area("vapour", "Unit 30 tank vapour space", "0", "IIB", "T4", TEMPERATE, "AC-30-001"),
    area("hydrogen", "Unit 10 hydrogen compressor house", "1", "IIC", "T4", TEMPERATE, "AC-10-001"),
    area("dosing", "Unit 10 disulphide dosing", "1", "IIC", "T6", TEMPERATE, "AC-10-002"),
    area("solvent", "Unit 20 solvent recovery", "1", "IIB", "T4", ("-20 degC", "45 degC"), "AC-20-001"),
    area("furnace", "Unit 20 furnace deck", "1", "IIB", "T4", ("-20 degC", "60 degC"), "AC-20-002"),
    area("farm", "Unit 30 tank farm", "2", "IIA", "T3", TEMPERATE, "AC-30-002"),
    area("dryer", "Unit 40 powder dryer", "21", "IIIC", "135 degC", ("-10 degC", "40 degC"), "AC-40-001"),
    area("bagging", "Unit 40 bagging hall", "22", "IIIB", "150 degC", ("0 degC", "40 degC"), "AC-40-002"),
)
