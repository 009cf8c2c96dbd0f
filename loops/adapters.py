"""A loop as stored, with the revisions it is pinned to, becomes case documents: one for each circuit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from loops.engine.checks.certificates import suffix
from registry.marked import lower_epl
from registry.models import HazardousArea, Site

Snapshot = Mapping[str, Any]
ZONE_RANK = {"0": 0, "20": 0, "1": 1, "21": 1, "2": 2, "22": 2}
GROUP_RANK = {
    name: rank
    for rank, names in enumerate(
        (("IIC", "IIIC", "A", "B", "E"), ("IIB", "IIIB", "C", "F", "G"), ("IIA", "IIIA", "D"), ("I",))
    )
    for name in names
}

SOURCE_KEYS = {"Uo": "uo_v", "Io": "io_a", "Po": "po_w", "Uq": "uq_v", "Ro": "ro_ohm", "um": "um_v"}
DEVICE_KEYS = {"Ui": "ui_v", "Ii": "ii_a", "Pi": "pi_w", "Ci": "ci_f", "Li": "li_h"}
SUPPLY_KEYS = {"voltage": "supply_v", "voltage_at_20mA": "supply_at_20ma_v", "resistance": "supply_ohm"}
SUPPLY_KEYS |= {"hart_resistance": "supply_hart_ohm"}
NEEDS_KEYS = {
    "voltage_min": "needs_v",
    "current_max": "needs_max_a",
    "voltage_min_at_4mA": "needs_at_4ma_v",
    "pull_in_current": "pull_in_a",
    "coil_resistance": "coil_ohm",
    "coil_temperature_max": "coil_max_degc",
}
SIMPLE_KEYS = {
    "voltage": "simple_v",
    "current": "simple_a",
    "power": "simple_w",
    "surface_area": "surface_m2",
    "thermal_resistance": "thermal_k_per_w",
}
INLINE_KEYS = {"series_resistance": "series_ohm", "voltage_drop": "drop_v"}
ROW_KEYS = {"Pi": "pi_w", "Ii": "ii_a"}
AMBIENT_KEYS = {"ambient_min": "ambient_min_degc", "ambient_max": "ambient_max_degc"}
PERMITTED_KEYS = {"Co": "co_f", "Lo": "lo_h", "Lo_Ro": "lo_ro_h_per_ohm"}
CABLE_KEYS = {
    "C": "capacitance_f_per_m",
    "L": "inductance_h_per_m",
    "L_R": "inductance_per_resistance_h_per_ohm",
    "R": "resistance_ohm_per_m",
    "C_core_core": "core_core_f_per_m",
    "C_core_screen": "core_screen_f_per_m",
    "strand_diameter": "strand_m",
    "insulation_thickness": "insulation_m",
    "test_voltage": "test_v",
}

TERMINATOR_KEYS = {"R": "resistance_ohm", "C": "capacitance_f"}


def texts(row: Snapshot, keys: Mapping[str, str]) -> dict[str, str]:
    """The typed texts of the quantities that are known or not stated, under the keys of the case format."""
    return {key: row[column]["text"] for key, column in keys.items() if row.get(column)}


def confirmed(terminals: Snapshot) -> Snapshot:
    """Terminals as verification may see them: values that nobody has compared with the certificate are unknown."""
    if not terminals.get("unconfirmed"):
        return terminals
    known = {
        name: None if isinstance(value, Mapping) and "text" in value else value for name, value in terminals.items()
    }
    bare = {"level": "", "gas_group": "", "dust_group": "", "output": "", "isolation": ""}
    bare |= {"gas_epl": "", "dust_epl": ""}
    return known | bare | {"permitted": [], "temperature_classes": []}


def with_marked_epl(terminals: Snapshot, marking: str) -> Snapshot:
    """Terminals with the EPL of the item's marking where none is typed and it is lower than their level earns.

    A marking that says Gb must not pass in zone 0 because nobody has typed that again.
    """
    gives = terminals["side"] == "source"
    found = {
        column: epl
        for column, air in (("gas_epl", "GM"), ("dust_epl", "D"))
        if not terminals.get(column) and (epl := lower_epl(marking, gives, terminals["level"], air))
    }
    return {**terminals, **found} if found else terminals


def epl_document(terminals: Snapshot, dust: bool) -> dict[str, str]:
    """The EPL stated for the atmosphere, else the one stated for the other: it counts by its letter."""
    gas, of_dust = terminals.get("gas_epl"), terminals.get("dust_epl")
    epl = (of_dust or gas) if dust else (gas or of_dust)
    return {"epl": epl} if epl else {}


def certificate_document(certificate: Snapshot, made_on: str | None) -> dict[str, str]:
    """What the case format holds of a certificate."""
    document = {key: certificate[key] for key in ("number", "scheme", "status", "valid_to") if certificate.get(key)}
    return document | ({"made_on": made_on} if made_on else {})


def source_document(
    tag: str, terminals: Snapshot, certificate: Snapshot | None, made_on: str | None, dust: bool = False
) -> dict[str, Any]:
    """A set of terminals that gives energy, as the case format has it. `dust`: the areas hold dust."""
    document: dict[str, Any] = {"name": tag, "terminals": terminals["name"]} | texts(terminals, SOURCE_KEYS)
    document |= {key: terminals[key] for key in ("level", "output") if terminals[key]}
    document |= epl_document(terminals, dust)
    document |= texts(terminals, AMBIENT_KEYS)
    if terminals["isolation"]:
        document["isolated"] = terminals["isolation"] == "isolated"
    document["permitted"] = [
        {"group": row["group"], "together": row["together"]} | texts(row, PERMITTED_KEYS)
        for row in terminals["permitted"]
    ]
    if certificate:
        document["certificate"] = certificate_document(certificate, made_on)
    if supply := texts(terminals, SUPPLY_KEYS):
        document["supply"] = supply
    return document


def device_document(
    tag: str,
    terminals: Snapshot,
    certificate: Snapshot | None,
    made_on: str | None,
    dust: bool,
    by_code: bool = False,
) -> dict[str, Any]:
    """A set of terminals that takes energy, as the case format has it.

    `dust`: the areas hold dust; `by_code`: they are classes of North America with a T code as their limit.
    """
    document: dict[str, Any] = {"name": tag, "kind": device_kind(terminals, certificate)} | texts(
        terminals, DEVICE_KEYS
    )
    if terminals["level"]:
        document["level"] = terminals["level"]
    document |= epl_document(terminals, dust)
    group = (
        (terminals["dust_group"] or terminals["gas_group"])
        if dust
        else (terminals["gas_group"] or terminals["dust_group"])
    )
    if group:
        document["group"] = group
    if rows := temperature_rows(terminals, dust, by_code):
        document["temperature_classes"] = rows
    document |= texts(terminals, {"ambient_min": "ambient_min_degc"} | INLINE_KEYS)
    if terminals["isolation"]:
        document["isolated_from_earth"] = terminals["isolation"] == "isolated"
    if terminals["simple_kind"]:
        document["simple"] = {"kind": terminals["simple_kind"]} | texts(terminals, SIMPLE_KEYS)
    if certificate:
        document["certificate"] = certificate_document(certificate, made_on)
    if needs := needs_document(terminals):
        document["needs"] = needs
    return document


def needs_document(terminals: Snapshot) -> dict[str, Any]:
    """What the terminals need to work; empty where nobody has said anything of it."""
    kind = {"kind": terminals["needs_kind"]} if terminals.get("needs_kind") else {}
    return kind | texts(terminals, NEEDS_KEYS) | ({"hart": True} if terminals.get("hart") else {})


def temperature_rows(terminals: Snapshot, dust: bool, by_code: bool) -> list[dict[str, str]]:
    """The temperature rows that speak of the place: surface temperatures for dust, T classes for gas.

    Where the limit of a dust place is a T code, T classes speak of it too; a surface temperature for dust, where the
    certificate states one, is then still the better evidence and stands alone.
    """
    rows = terminals["temperature_classes"]
    for_dust = [row for row in rows if "degC" in row["temperature_class"]]
    for_gas = [row for row in rows if "degC" not in row["temperature_class"]]
    chosen = (for_dust or (for_gas if by_code else [])) if dust else for_gas
    return [
        {
            "class": f"T{row['temperature_class']}" if row in for_dust else row["temperature_class"],
            **row_ambient(row, terminals),
            **texts(row, ROW_KEYS),
        }
        for row in chosen
    ]


def row_ambient(row: Snapshot, terminals: Snapshot) -> dict[str, str]:
    """Up to which ambient a temperature row holds: never above the highest ambient of the terminals themselves."""
    limits = [item for item in (row["ambient_max_degc"], terminals["ambient_max_degc"]) if item and "si" in item]
    if not row["ambient_max_degc"] or not limits:
        return texts(row, {"ambient_max": "ambient_max_degc"})
    return {"ambient_max": min(limits, key=lambda item: Decimal(item["si"]))["text"]}


def device_kind(terminals: Snapshot, certificate: Snapshot | None) -> str:
    """simple, certified, component (a U certificate) or uncertified."""
    if terminals["simple_kind"]:
        return "simple"
    if certificate is None:
        return "uncertified"
    return "component" if suffix(certificate["number"]) == "U" else "certified"


def cable_document(run: Snapshot, cable_type: Snapshot | None) -> dict[str, Any]:
    """A run of cable, as the case format has it; without a type the defaults of the basis apply."""
    document: dict[str, Any] = {"name": run["tag"], "type": run["separation"], "role": run["role"]}
    document |= texts(run, {"length": "length_m"})
    if cable_type:
        document |= texts(cable_type, CABLE_KEYS)
        document |= {"L_is": cable_type["inductance_is"], "R_is": cable_type["resistance_is"]}
        if cable_type["screen"]:
            document["screen"] = cable_type["screen"]
        if cable_type.get("conductor"):
            document["conductor"] = cable_type["conductor"]
    return document


def area_document(areas: Iterable[HazardousArea]) -> dict[str, str]:
    """The area a circuit is judged for: of several areas the strictest zone, group, class and the widest ambient."""
    chosen = list(areas)
    if not chosen:
        return {}
    strictest = min(chosen, key=lambda area: ZONE_RANK.get(area.zone, int(area.division or 3) - 1))
    document: dict[str, str] = (
        {"zone": strictest.zone} if strictest.zone else {"class": strictest.nec_class, "division": strictest.division}
    )
    document["group"] = min((area.group for area in chosen), key=lambda group: GROUP_RANK[group])
    document["temperature_class"] = min((area.temperature_class for area in chosen), key=surface_limit_degc)
    coldest = [area for area in chosen if area.ambient_min_degc is not None]
    if coldest and len(coldest) == len(chosen):
        document["ambient_min"] = min(coldest, key=lambda area: area.ambient_min_degc).ambient_min_degc_text
    warmest = [area for area in chosen if area.ambient_max_degc is not None]
    if warmest and len(warmest) == len(chosen):
        document["ambient_max"] = max(warmest, key=lambda area: area.ambient_max_degc).ambient_max_degc_text
    return document


def surface_limit_degc(temperature_class: str) -> float:
    """Order of temperature classes by the surface they permit (IEC 60079-0:2017, Table 2); for choosing only."""
    gas = {"T1": 450, "T2": 300, "T2A": 280, "T2B": 260, "T2C": 230, "T2D": 215, "T3": 200, "T3A": 180, "T3B": 165}
    gas |= {"T3C": 160, "T4": 135, "T4A": 120, "T5": 100, "T6": 85}
    return gas.get(temperature_class) or float(temperature_class.split()[0].lstrip("T").replace(",", "."))


def places_of(circuit: Snapshot, areas: Mapping[int, HazardousArea]) -> list[HazardousArea]:
    """The hazardous areas that the members of a circuit stand in."""
    return [areas[row["area"]["id"]] for row in circuit["members"] if row["area"]]


def atmosphere(places: Iterable[HazardousArea]) -> tuple[bool, bool]:
    """Whether areas hold dust, and whether they are classes of North America with a T code as their limit."""
    chosen = list(places)
    dust = bool(chosen) and all(place.is_dust for place in chosen)
    return dust, dust and all(place.nec_class and "degC" not in place.temperature_class for place in chosen)


def circuit_document(
    loop: Snapshot,
    circuit: Snapshot,
    site: Site,
    areas: Mapping[int, HazardousArea],
    pinned: Mapping[int, Snapshot],
    judge_on: dt.date,
) -> dict[str, Any]:
    """The case document of one circuit.

    `loop` and `circuit` are snapshots; `pinned` maps revision keys to the snapshots of equipment, certificates and
    cable types that the members and runs are pinned to.
    """
    places = places_of(circuit, areas)
    dust, by_code = atmosphere(places)
    document: dict[str, Any] = {
        "case": f"{loop['tag']} / {circuit['name']}",
        "basis": site.basis,
        "area": area_document(places),
        "sources": [],
        "devices": [],
        "cables": [
            cable_document(row, pinned[row["cable_type_revision"]["id"]] if row["cable_type_revision"] else None)
            for row in circuit["cables"]
        ],
        "interconnection": circuit["interconnection"],
        "judge_on": judge_on.isoformat(),
    }
    document |= texts(loop, {"load_resistance": "load_ohm", "safe_area_voltage_max": "safe_voltage_max_v"})
    document["accepted_schemes"] = site.accepted_schemes
    if "safe_area_voltage_max" not in document and site.safe_voltage_max_v_text:
        document["safe_area_voltage_max"] = site.safe_voltage_max_v_text
    if site.safe_ambient_max_degc_text:
        document["safe_area_ambient_max"] = site.safe_ambient_max_degc_text
    if circuit["fisco"]:
        document["fisco"] = True
    if circuit.get("two_wise"):
        document["two_wise"] = True
    if terminators := circuit.get("terminators"):
        document["terminators"] = [texts(row, TERMINATOR_KEYS) for row in terminators]
    if not circuit["cables"] and not circuit.get("no_cable"):
        del document["cables"]
    for row in circuit["members"]:
        equipment = pinned[row["equipment_revision"]["id"]]
        terminals = next(item for item in equipment["terminals"] if item["id"] == row["terminals"]["id"])
        terminals = confirmed(with_marked_epl(terminals, equipment.get("marking", "")))
        certificate = pinned[row["certificate_revision"]["id"]] if row["certificate_revision"] else None
        if row["role"] == "source":
            document["sources"].append(source_document(row["tag"], terminals, certificate, row["made_on"], dust))
        else:
            document["devices"].append(
                device_document(row["tag"], terminals, certificate, row["made_on"], dust, by_code)
            )
    return document
