"""A record of the register as a digital nameplate (IDTA 02006-2-0, the part about explosion safety)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from registry.exchange import aas_writing as aas
from registry.exchange.nameplate import ACTIVE, AMBIENT, CIRCUIT, PASSIVE, QUANTITIES, SAFETY, spelled, template
from registry.fields import Reading
from registry.quantities import Kind
from registry.units import WORK, sizes

NAMEPLATE = "https://admin-shell.io/zvei/nameplate/2/0/Nameplate"
Texts = Mapping[str, Any]


def nameplate_environment(equipment: Texts, certificates: Mapping[Any, Texts]) -> aas.Tree:
    """The nameplate of an item of the register.

    `equipment` is the nested text of an equipment record; `certificates` holds the text of each certificate by what
    stands in the `certificate` of a set of terminals. Only what is known is written: a value that is unknown or not
    stated is left out. The permitted values of each group are a circuit of their own, as the template asks. What the
    template wants beside that (pictures of the marking, address of the maker) the register does not hold.
    """
    markings = [
        _collection("Markings/Marking", number, list(_marking(equipment, certificates.get(key), rows)))
        for number, (key, rows) in enumerate(_by_certificate(equipment).items(), 1)
    ]
    names = {
        "ManufacturerName": equipment.get("maker"),
        "ManufacturerProductDesignation": equipment.get("description") or equipment.get("type_name"),
        "ManufacturerProductType": equipment.get("type_name"),
    }
    elements = [_language(path, str(text)) for path, text in names.items() if text]
    elements.append(_collection("Markings", 0, markings))
    name = f"{equipment.get('maker', '')} {equipment.get('type_name', '')}"
    return aas.environment(name, "Nameplate", NAMEPLATE, elements)


def _by_certificate(equipment: Texts) -> dict[Any, list[Texts]]:
    found: dict[Any, list[Texts]] = {}
    for row in equipment.get("terminals") or []:
        found.setdefault(row.get("certificate") or "", []).append(row)
    return found


def _marking(equipment: Texts, certificate: Texts | None, rows: list[Texts]) -> Iterator[aas.Tree]:
    base = "Markings/Marking"
    certificate = certificate or {}
    yield _text(f"{base}/MarkingName", "Ex")
    for name, key in (
        ("DesignationOfCertificateOrApproval", "number"),
        ("IssueDate", "issued_on"),
        ("ExpiryDate", "valid_to"),
    ):
        if certificate.get(key):
            yield _text(f"{base}/{name}", str(certificate[key]))
    by_level: dict[tuple[str, ...], list[Texts]] = {}
    for row in rows:
        common = tuple(str(row.get(key) or "") for key in ("level", "ambient_min_degc", "ambient_max_degc", "um_v"))
        by_level.setdefault((*common, str(_only_class(row))), []).append(row)
    safeties = [
        _collection(SAFETY, number, list(_safety(certificate, alike)))
        for number, alike in enumerate(by_level.values(), 1)
    ]
    yield _collection(f"{base}/ExplosionSafeties", 0, safeties)


def _only_class(row: Texts) -> str:
    """The one temperature class of a device, where its table has one row for its whole ambient range and any power."""
    rows = row.get("temperature_classes") or []
    if len(rows) != 1 or rows[0].get("pi_w") or rows[0].get("ii_a"):
        return ""
    return str(rows[0].get("temperature_class") or "")


def _safety(certificate: Texts, rows: list[Texts]) -> Iterator[aas.Tree]:
    number = str(certificate.get("number") or "")
    if number:
        yield _text(f"{SAFETY}/DesignationOfCertificateOrApproval", number)
    if certificate.get("scheme"):
        yield _language(f"{SAFETY}/TypeOfApproval", str(certificate["scheme"]))
    first = rows[0]
    if first.get("level"):
        yield _text(f"{SAFETY}/TypeOfProtection", str(first["level"]))
    yield from _quantity(f"{SAFETY}/RatedInsulationVoltage", first)
    for letter, name in (("X", "SpecificConditionsForUse"), ("U", "IncompleteDevice")):
        if number.upper().endswith(letter):
            yield _text(f"{SAFETY}/{name}", letter)
    ambient = [
        element
        for path in (f"{AMBIENT}/MinimumAmbientTemperature", f"{AMBIENT}/MaxAmbientTemperature")
        for element in _quantity(path, first)
    ]
    only = _only_class(first)
    if only.startswith("T"):
        ambient.append(_text(f"{AMBIENT}/TemperatureClass", only))
    elif only:
        ambient += _quantity(f"{AMBIENT}/MaxSurfaceTemperatureForDustProof", {"surface": only})
    if ambient:
        yield _collection(AMBIENT, 0, ambient)
    circuits = [circuit for row in rows for circuit in _circuits(row)]
    yield from (_collection(CIRCUIT, number, circuit) for number, circuit in enumerate(circuits, 1))


def _circuits(row: Texts) -> Iterator[list[aas.Tree]]:
    head = [_text(f"{CIRCUIT}/DesignationOfElectricalTerminal", str(row.get("name") or ""))]
    if row.get("level"):
        head.append(_text(f"{CIRCUIT}/TypeOfProtection", str(row["level"])))
    if epl := ", ".join(filter(None, (str(row.get(name) or "") for name in ("gas_epl", "dust_epl")))):
        head.append(_text(f"{CIRCUIT}/EquipmentProtectionLevel", epl))
    if row.get("side") != "source":
        groups = ";".join(filter(None, (str(row.get(name) or "") for name in ("gas_group", "dust_group"))))
        yield [*head, *_group(groups), *_behaviour(PASSIVE, row)]
        return
    for permitted in row.get("permitted") or [{}]:
        characteristic = [_text(f"{CIRCUIT}/Characteristics", str(row["output"]))] if row.get("output") else []
        group = _group(str(permitted.get("group") or ""))
        yield [*head, *group, *characteristic, *_behaviour(ACTIVE, {**row, **permitted})]


def _group(text: str) -> list[aas.Tree]:
    return [_text(f"{CIRCUIT}/ExplosionGroup", text)] if text else []


def _behaviour(path: str, texts: Texts) -> list[aas.Tree]:
    values = [element for name in QUANTITIES if name.startswith(f"{path}/") for element in _quantity(name, texts)]
    return [_collection(path, 0, values)] if values else []


def _quantity(path: str, texts: Texts) -> Iterator[aas.Tree]:
    column, _, kind = QUANTITIES[path]
    value = Reading.of(str(texts.get(column) or ""), kind).value_si
    if value is None:
        return
    number = value
    if kind is not Kind.TEMPERATURE:
        above, below = sizes(spelled(template()[path].unit), kind)
        number = WORK.divide(WORK.multiply(value, below), above)
    yield _text(path, f"{number.normalize(WORK):f}")


# --- elements by their path in the template ---------------------------------------------------------------------------


def _text(path: str, value: str) -> aas.Tree:
    mapped = template()[path]
    if mapped.kind == "MultiLanguageProperty":
        return _language(path, value)
    return aas.text_element(mapped.name, mapped.semantic_id, value)


def _language(path: str, value: str) -> aas.Tree:
    mapped = template()[path]
    return aas.language_element(mapped.name, mapped.semantic_id, value)


def _collection(path: str, number: int, children: list[aas.Tree]) -> aas.Tree:
    """A collection; a `number` from 1 on tells elements of the same kind apart."""
    mapped = template()[path]
    name = f"{mapped.name}{number:02}" if number else mapped.name
    return aas.collection(name, mapped.semantic_id, children)
