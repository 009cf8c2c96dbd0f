"""Digital nameplates, read into the text of an equipment entry.

Reads the explosion safety part of the submodel Digital Nameplate (IDTA 02006-2-0). Elements are known by their semantic
identifier without its version, else by that of the IEC common data dictionary, else by their short name. Units are
fixed by the template; a file that gives another one is not believed. Values that cannot well be true stay out of the
entry and are named (the sample of the template itself gives a Co of 2878 µF at 15.7 V). Whatever is taken over is
unconfirmed until a person has compared it with the certificate, and the notes of the entry say so.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from registry.exchange.aas_files import AasError, Element, Environment, read_environment
from registry.plausibility import doubts_of_size
from registry.quantities import Kind, QuantityError, read

__all__ = ["AasError", "Nameplate", "NameplateValue", "read_nameplates"]

MAP = Path(__file__).with_name("nameplate_map.json")
SAFETY = "Markings/Marking/ExplosionSafeties/ExplosionSafety"
CIRCUIT = f"{SAFETY}/ExternalElectricalCircuit"
AMBIENT = f"{SAFETY}/AmbientConditions"
PASSIVE = f"{CIRCUIT}/SafetyRelatedPropertiesForPassiveBehaviour"
ACTIVE = f"{CIRCUIT}/SafetyRelatedPropertiesForActiveBehaviour"

QUANTITIES: dict[str, tuple[str, str, Kind]] = {
    f"{PASSIVE}/MaxInputVoltage": ("ui_v", "Ui", Kind.VOLTAGE),
    f"{PASSIVE}/MaxInputCurrent": ("ii_a", "Ii", Kind.CURRENT),
    f"{PASSIVE}/MaxInputPower": ("pi_w", "Pi", Kind.POWER),
    f"{PASSIVE}/MaxInternalCapacitance": ("ci_f", "Ci", Kind.CAPACITANCE),
    f"{PASSIVE}/MaxInternalInductance": ("li_h", "Li", Kind.INDUCTANCE),
    f"{ACTIVE}/MaxOutputVoltage": ("uo_v", "Uo", Kind.VOLTAGE),
    f"{ACTIVE}/MaxOutputCurrent": ("io_a", "Io", Kind.CURRENT),
    f"{ACTIVE}/MaxOutputPower": ("po_w", "Po", Kind.POWER),
    f"{ACTIVE}/MaxExternalCapacitance": ("co_f", "Co", Kind.CAPACITANCE),
    f"{ACTIVE}/MaxExternalInductance": ("lo_h", "Lo", Kind.INDUCTANCE),
    f"{ACTIVE}/MaxExternalInductanceResistanceRatio": ("lo_ro_h_per_ohm", "Lo/Ro", Kind.INDUCTANCE_PER_RESISTANCE),
    f"{SAFETY}/RatedInsulationVoltage": ("um_v", "Um", Kind.VOLTAGE),
    f"{AMBIENT}/MinimumAmbientTemperature": ("ambient_min_degc", "Ta min", Kind.TEMPERATURE),
    f"{AMBIENT}/MaxAmbientTemperature": ("ambient_max_degc", "Ta max", Kind.TEMPERATURE),
    f"{AMBIENT}/MaxSurfaceTemperatureForDustProof": ("surface", "surface temperature", Kind.TEMPERATURE),
}
"""Path in the template -> column of the register, symbol, quantity."""

EPL = r"(?<![A-Za-z])[GDM][abc](?![A-Za-z])"
PERMITTED = ("co_f", "lo_h", "lo_ro_h_per_ohm")
UNCONFIRMED = (
    "Taken over from a digital nameplate and unconfirmed: compare every value with the certificate before it is used."
)


@dataclass(frozen=True)
class NameplateValue:
    """One value: as it stands in the file (`raw`), in the unit of the template, and as the entry reads it (`text`).

    `text` is empty where the value is not taken over; `warning` then says why.
    """

    terminals: str
    column: str
    symbol: str
    raw: str
    unit: str
    text: str
    warning: str = ""
    group: str = ""
    """The group that the circuit names, as it stands in the file: Co and Lo hold for it."""


@dataclass(frozen=True)
class Nameplate:
    """What one nameplate gives: nested text for an equipment entry and for certificate entries, and every value."""

    equipment: dict[str, Any]
    certificates: tuple[dict[str, str], ...]
    values: tuple[NameplateValue, ...]
    warnings: tuple[str, ...]


# --- the map ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mapped:
    """One element of the template."""

    path: str
    identifiers: frozenset[str]
    semantic_id: str
    kind: str
    unit: str = ""

    @property
    def name(self) -> str:
        return self.path.rpartition("/")[2]


@cache
def template() -> dict[str, Mapped]:
    """The elements of the template by path."""
    elements = json.loads(MAP.read_text(encoding="utf-8"))["elements"]
    return {
        item["path"]: Mapped(
            item["path"],
            frozenset(without_version(item[key]) for key in ("semanticId", "cdd") if item.get(key)),
            item["semanticId"],
            item["type"],
            item.get("unit", ""),
        )
        for item in elements
    }


def without_version(identifier: str) -> str:
    """A semantic identifier without the version of the concept, so that another edition of the same is known.

    >>> without_version("0173-1#02-AAM638#003") == without_version("https://api.eclass-cdp.com/0173-1-02-AAM638-004")
    True
    """
    eclass = re.search(r"0173-1[#-](\d\d)[#-]([A-Z]{3}\d{3})", identifier)
    if eclass:
        return f"0173-1#{eclass[1]}-{eclass[2]}"
    dictionary = re.search(r"61987#([A-Z]{3}\d{3})", identifier)
    if dictionary:
        return f"61987#{dictionary[1]}"
    return re.sub(r"/\d+/\d+(?=/|$)", "", identifier.strip().rstrip("/")).casefold()


def short_name(id_short: str) -> str:
    """`ExplosionSafety01`, `ExplosionSafety__00__` and `ExplosionSafety{00}` are all an ExplosionSafety."""
    return re.sub(r"[_{]*\d*[_}]*$", "", id_short).casefold()


def path_of(element: Element, parent: str) -> str:
    """The path in the template of an element found below `parent`; empty for one that the template does not know."""
    choices = [item for item in template().values() if item.path.rpartition("/")[0] == parent]
    identifiers = {without_version(name) for name in element.semantic_ids}
    found = [item for item in choices if item.identifiers & identifiers]
    if len(found) != 1:
        found = [item for item in choices if item.name.casefold() == short_name(element.id_short)]
    return found[0].path if len(found) == 1 else ""


def children(element: Element, parent: str) -> Iterator[tuple[str, Element]]:
    """The known children of an element: (path, element)."""
    for child in element.children:
        path = path_of(child, parent)
        if path:
            yield path, child


# --- reading ----------------------------------------------------------------------------------------------------------


def read_nameplates(content: bytes) -> tuple[Nameplate, ...]:
    """The nameplates of an AASX, AAS JSON or AAS XML file that say something of explosion safety. Raises AasError."""
    environment = read_environment(content)
    found = []
    for submodel in environment.submodels:
        reader = _Reader(environment)
        reader.read(submodel)
        if reader.rows:
            found.append(reader.result())
    if not found:
        raise AasError("This file says nothing of intrinsically safe circuits: type the values of the certificate.")
    return tuple(found)


@dataclass
class _Circuit:
    name: str
    certificate: str
    level: str
    group: str
    epl: str
    output: str
    values: dict[str, str] = field(default_factory=dict)
    sides: set[str] = field(default_factory=set)
    classes: list[dict[str, str]] = field(default_factory=list)


class _Reader:
    def __init__(self, environment: Environment) -> None:
        self.environment = environment
        self.rows: list[_Circuit] = []
        self.values: list[NameplateValue] = []
        self.certificates: list[dict[str, str]] = []
        self.warnings: list[str] = []
        self.names: dict[str, str] = {}

    def read(self, submodel: Element) -> None:
        self.names = {path: child.value for path, child in children(submodel, "") if child.value}
        for path, markings in children(submodel, ""):
            for marking_path, marking in children(markings, path):
                self._marking(marking, marking_path)

    def _marking(self, marking: Element, path: str) -> None:
        texts = {key.rpartition("/")[2]: child.value for key, child in children(marking, path) if child.value}
        for safeties_path, safeties in children(marking, path):
            for safety_path, safety in children(safeties, safeties_path):
                self._safety(safety, safety_path, texts)

    def _safety(self, safety: Element, path: str, marking: dict[str, str]) -> None:
        texts = {key.rpartition("/")[2]: child.value for key, child in children(safety, path) if child.value}
        certificate = self._certificate(texts, marking)
        common: dict[str, str] = {}
        classes: list[dict[str, str]] = []
        group = epl = ""
        for key, child in children(safety, path):
            if key in QUANTITIES:
                common |= self._quantity(child, key, "")
            elif key == AMBIENT:
                ambient, classes, group, epl = self._ambient(child)
                common |= ambient
        for key, child in children(safety, path):
            if key == CIRCUIT:
                protection = texts.get("TypeOfProtection", "")
                self._circuit(child, certificate, protection, group, epl, common, classes)

    def _certificate(self, texts: dict[str, str], marking: dict[str, str]) -> str:
        number = texts.get("DesignationOfCertificateOrApproval") or marking.get(
            "DesignationOfCertificateOrApproval", ""
        )
        if not number:
            return ""
        for name, letter in (("SpecificConditionsForUse", "X"), ("IncompleteDevice", "U")):
            if texts.get(name, "").strip().upper() == letter and not number.upper().endswith(letter):
                number = f"{number} {letter}"
        data = {
            "scheme": texts.get("TypeOfApproval", ""),
            "number": number,
            "holder": self.names.get("ManufacturerName", ""),
            "issued_on": marking.get("IssueDate", ""),
            "valid_to": marking.get("ExpiryDate", ""),
        }
        certificate = {key: text for key, text in data.items() if text}
        if certificate not in self.certificates:
            self.certificates.append(certificate)
        return number

    def _ambient(self, conditions: Element) -> tuple[dict[str, str], list[dict[str, str]], str, str]:
        found: dict[str, str] = {}
        names: list[str] = []
        group = epl = ""
        for key, child in children(conditions, AMBIENT):
            if key in QUANTITIES:
                found |= self._quantity(child, key, "")
            elif key.endswith("/TemperatureClass") and child.value:
                names = re.findall(r"T[1-6](?![0-9])", child.value)
            elif key.endswith("/ExplosionGroup"):
                group = child.value
            elif key.endswith("/EquipmentProtectionLevel"):
                epl = child.value
        surface = found.pop("surface", "")
        if len(names) > 1:
            self.warnings.append("Several temperature classes in one text: type the table of the certificate.")
        classes = [{"temperature_class": name} for name in names[:1] if len(names) == 1]
        classes += [{"temperature_class": surface}] if surface else []
        return found, [row | {"ambient_max_degc": found.get("ambient_max_degc", "")} for row in classes], group, epl

    def _circuit(
        self,
        element: Element,
        certificate: str,
        protection: str,
        group: str,
        epl: str,
        common: dict[str, str],
        classes: list[dict[str, str]],
    ) -> None:
        texts = {key: child.value for key, child in children(element, CIRCUIT) if child.value}
        protection = texts.get(f"{CIRCUIT}/TypeOfProtection", protection)
        levels = re.findall(r"(?<![a-z])i[abc](?![a-z])", protection)
        name = texts.get(f"{CIRCUIT}/DesignationOfElectricalTerminal", "")
        circuit = _Circuit(
            name,
            certificate,
            levels[0] if len(set(levels)) == 1 else "",
            texts.get(f"{CIRCUIT}/ExplosionGroup", group),
            texts.get(f"{CIRCUIT}/EquipmentProtectionLevel", epl),
            self._output(texts.get(f"{CIRCUIT}/Characteristics", ""), name),
            dict(common),
            classes=classes,
        )
        for behaviour, child in children(element, CIRCUIT):
            for key, item in children(child, behaviour):
                if key in QUANTITIES and item.value:
                    circuit.values |= self._quantity(item, key, name, texts.get(f"{CIRCUIT}/ExplosionGroup", group))
                    circuit.sides.add("device" if behaviour == PASSIVE else "source")
        if circuit.epl and not re.search(EPL, circuit.epl):
            self.warnings.append(f"Terminals {name or '?'}: “{circuit.epl:.40}” is no EPL such as Ga: choose it.")
        if circuit.sides:
            self.rows.append(circuit)

    def _output(self, text: str, name: str) -> str:
        if re.fullmatch(r"(?i)\s*(linear|trapezoidal|rectangular)\s*", text):
            return text.strip().lower()
        if text:
            self.warnings.append(
                f"Terminals {name or '?'}: “{text:.40}” does not say which characteristic it is: choose it."
            )
        return ""

    def _quantity(self, element: Element, path: str, terminals: str, group: str = "") -> dict[str, str]:
        """The column with the text that an entry reads; nothing where the value is not taken over."""
        column, symbol, kind = QUANTITIES[path]
        if not element.value:
            return {}
        unit = template()[path].unit
        text, warning = self._converted(element, unit, kind, symbol)
        self.values.append(NameplateValue(terminals, column, symbol, element.value, unit, text, warning, group))
        if warning:
            self.warnings.append(f"Terminals {terminals}: {warning}" if terminals else warning)
        return {column: text} if text else {}

    def _converted(self, element: Element, unit: str, kind: Kind, symbol: str) -> tuple[str, str]:
        raw = element.value
        stated = next(
            (self.environment.units[name] for name in element.semantic_ids if name in self.environment.units), ""
        )
        if stated and spelled(stated) != spelled(unit):
            return "", f"{symbol} {raw:.40} is not taken over: the file says {stated:.20}, the template {unit}."
        number = re.fullmatch(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*(\D*)", raw)
        text = f"{number[1]} {spelled(unit)}" if number and not number[2] else raw.strip()
        try:
            value = read(text, kind)
        except QuantityError as error:
            return "", f"{symbol} “{raw:.40}” is not taken over. {error}"
        # Um is the voltage of the mains and the like, not one of an intrinsically safe circuit.
        doubts = [] if symbol == "Um" else list(doubts_of_size({"": (value, kind, symbol)}))
        if doubts:
            return "", f"{doubts[0].text} The nameplate says {raw:.40} {unit}; it is not taken over."
        return text, ""

    # --------------------------------------------------------------------------------------------------------- result

    def result(self) -> Nameplate:
        rows: list[dict[str, Any]] = []
        for circuit in self.rows:
            for side in sorted(circuit.sides):
                self._add(rows, circuit, side)
        for number, row in enumerate(rows, 1):
            row["name"] = row["name"] or f"circuit {number}"
        names = [row["name"] for row in rows]
        for row in rows:
            if names.count(row["name"]) > 1:
                row["name"] = f"{row['name']} ({'output' if row['side'] == 'source' else 'input'})"
        numbers = ", ".join(dict.fromkeys(item["number"] for item in self.certificates))
        notes = [UNCONFIRMED, f"Certificate named: {numbers}." if numbers else "", *dict.fromkeys(self.warnings)]
        sides = {row["side"] for row in rows}
        names_of = self.names
        equipment = {
            "kind": "source" if sides == {"source"} else "field_device",
            "maker": names_of.get("ManufacturerName", ""),
            "type_name": names_of.get("ManufacturerProductType", "") or names_of.get("OrderCodeOfManufacturer", ""),
            "description": names_of.get("ManufacturerProductDesignation", ""),
            "notes": "\n".join(filter(None, notes)),
            "terminals": rows,
        }
        return Nameplate(equipment, tuple(self.certificates), tuple(self.values), tuple(dict.fromkeys(self.warnings)))

    def _add(self, rows: list[dict[str, Any]], circuit: _Circuit, side: str) -> None:
        """A set of terminals; a further circuit with the same output for another group adds permitted values to it."""
        foreign = (
            {"um_v", "uo_v", "io_a", "po_w", *PERMITTED}
            if side == "device"
            else {"ui_v", "ii_a", "pi_w", "ci_f", "li_h"}
        )
        values = {
            key: text
            for key, text in circuit.values.items()
            if key not in foreign and (side == "device" or key not in PERMITTED)
        }
        groups = re.findall(r"III?[ABC]|(?<![A-Z])I(?![A-Z])", circuit.group)
        gas = [name for name in groups if not name.startswith("III")]
        dust = [name for name in groups if name.startswith("III")]
        row: dict[str, Any] = {
            "name": circuit.name,
            "side": side,
            "level": circuit.level,
            "certificate": circuit.certificate,
            "gas_epl": max(re.findall(EPL.replace("GDM", "GM"), circuit.epl), key=letter, default=""),
            "dust_epl": max(re.findall(EPL.replace("GDM", "D"), circuit.epl), key=letter, default=""),
        } | values
        if side == "device":
            row |= {"gas_group": min(gas, key=severity, default=""), "dust_group": min(dust, key=severity, default="")}
            row["temperature_classes"] = [dict(item) for item in circuit.classes]
            rows.append(row)
            return
        row |= {"output": circuit.output, "permitted": []}
        permitted = {key: circuit.values[key] for key in PERMITTED if key in circuit.values}
        apart = {"permitted": 0, "gas_epl": "", "dust_epl": ""}
        same = [other for other in rows if {**other, **apart} == {**row, **apart}] if circuit.name else []
        if same:
            for name in ("gas_epl", "dust_epl"):
                same[0][name] = max(filter(None, (same[0][name], row[name])), key=letter, default="")
            row = same[0]
        else:
            rows.append(row)
        if permitted:
            row["permitted"] += [{"group": name} | permitted for name in groups or [""]]


def letter(epl: str) -> str:
    """Of two EPLs the one with the later letter is the lower."""
    return epl[1]


def severity(group: str) -> int:
    """Order of the groups, the most severe first."""
    return ("IIC", "IIB", "IIA", "I", "IIIC", "IIIB", "IIIA").index(group)


def spelled(unit: str) -> str:
    """A unit of the template in the spelling of the register: `µF` is uF, `mH/Ω` mH/ohm, `°C` degC."""
    plain = unit.strip().replace("\u00b5", "u").replace("\u03bc", "u").replace("\u2126", "ohm").replace("\u03a9", "ohm")
    return re.sub(r"^[°º] ?C$", "degC", plain)
