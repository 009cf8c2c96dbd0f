"""Digital nameplates, read and written.

The values of `test_the_sample_of_the_template` are the samples of IDTA 02006-2-0 itself (the map names its source). The
JSON, XML and AASX that are written are judged by a general AAS library, basyx-python-sdk.
"""

import io
import json
import zipfile
from decimal import Decimal
from typing import Any

import pytest
from basyx.aas import model
from basyx.aas.adapter.aasx import AASXReader, DictSupplementaryFileContainer
from basyx.aas.adapter.json import read_aas_json_file
from basyx.aas.adapter.xml import read_aas_xml_file

from registry.entries import EquipmentEntry
from registry.exchange import aas_writing
from registry.exchange.aas_files import AasError
from registry.exchange.nameplate import MAP, read_nameplates
from registry.exchange.nameplate_export import nameplate_environment
from registry.quantities import Kind, read
from registry.reading import read_entry

SOURCE = {
    "kind": "source",
    "maker": "Northlight Barriers",
    "type_name": "NB-28",
    "description": "Transmitter supply",
    "terminals": [
        {
            "name": "1-2",
            "side": "source",
            "level": "ia",
            "output": "linear",
            "certificate": 7,
            "ambient_min_degc": "-20 degC",
            "ambient_max_degc": "60 degC",
            "uo_v": "28 V",
            "io_a": "93 mA",
            "po_w": "0.65 W",
            "um_v": "253 V",
            "permitted": [
                {"group": "IIC", "co_f": "83 nF", "lo_h": "4.2 mH", "lo_ro_h_per_ohm": "55 uH/ohm"},
                {"group": "IIB", "co_f": "650 nF", "lo_h": "16 mH", "lo_ro_h_per_ohm": "not stated"},
            ],
        }
    ],
}
DEVICE = {
    "kind": "field_device",
    "maker": "Sandpiper Instruments",
    "type_name": "SP-100",
    "terminals": [
        {
            "name": "+/-",
            "side": "device",
            "level": "ia",
            "gas_group": "IIC",
            "dust_group": "IIIC",
            "gas_epl": "Gb",
            "dust_epl": "Da",
            "certificate": 7,
            "ambient_min_degc": "-40 degC",
            "ambient_max_degc": "70 degC",
            "ui_v": "30 V",
            "ii_a": "100 mA",
            "pi_w": "",
            "ci_f": "5 nF",
            "li_h": "0 H",
            "temperature_classes": [{"temperature_class": "T4", "ambient_max_degc": "70 degC"}],
        }
    ],
}
CERTIFICATES = {7: {"scheme": "ATEX", "number": "EXA 21 ATEX 0101 X", "issued_on": "2021-03-01", "valid_to": ""}}


def comparable(rows: list[dict[str, Any]]) -> Any:
    """Nested text with every quantity as its exact value, and without what is empty or not stated."""
    kinds = {"_v": Kind.VOLTAGE, "_a": Kind.CURRENT, "_w": Kind.POWER, "_f": Kind.CAPACITANCE, "_h": Kind.INDUCTANCE}
    found = []
    for row in rows:
        plain: dict[str, Any] = {}
        for key, value in row.items():
            if isinstance(value, list):
                plain[key] = comparable(value)
            elif value in ("", "not stated") or key == "certificate":
                continue
            elif key.endswith("degc"):
                plain[key] = read(value, Kind.TEMPERATURE)
            elif key == "lo_ro_h_per_ohm":
                plain[key] = read(value, Kind.INDUCTANCE_PER_RESISTANCE)
            elif key[-2:] in kinds:
                plain[key] = read(value, kinds[key[-2:]])
            else:
                plain[key] = value
        found.append(plain)
    return found


WRITERS = {"json": aas_writing.as_json, "xml": aas_writing.as_xml, "aasx": aas_writing.as_aasx}


def in_namespace_3_0(content: bytes) -> bytes:
    return content.replace(b"aas/3/1", b"aas/3/0")


@pytest.mark.parametrize("data", [SOURCE, DEVICE], ids=["source", "device"])
@pytest.mark.parametrize("form", [*WRITERS, "xml 3/0"])
def test_what_is_written_reads_back_as_it_was(data: dict[str, Any], form: str) -> None:
    tree = nameplate_environment(data, CERTIFICATES)
    content = in_namespace_3_0(aas_writing.as_xml(tree)) if form == "xml 3/0" else WRITERS[form](tree)
    (found,) = read_nameplates(content)
    assert not found.warnings
    assert comparable(found.equipment["terminals"]) == comparable(data["terminals"])
    assert {key: found.equipment[key] for key in ("kind", "maker", "type_name")} == {
        key: data[key] for key in ("kind", "maker", "type_name")
    }
    assert found.certificates[0]["number"] == "EXA 21 ATEX 0101 X"
    assert "unconfirmed" in found.equipment["notes"]
    assert "EXA 21 ATEX 0101 X" in found.equipment["notes"]


def judged(tree: dict[str, Any], form: str) -> model.Submodel:
    """The submodel as the AAS library reads the written file; it raises on whatever is not right."""
    content = io.BytesIO(WRITERS[form](tree))
    objects: model.DictIdentifiableStore[model.Identifiable] = model.DictIdentifiableStore()
    if form == "json":
        objects = read_aas_json_file(io.TextIOWrapper(content, encoding="utf-8"), failsafe=False)
    elif form == "xml":
        objects = read_aas_xml_file(content, failsafe=False)
    else:
        with AASXReader(content, failsafe=False) as reader:
            reader.read_into(objects, DictSupplementaryFileContainer())
    assert sum(isinstance(item, model.AssetAdministrationShell) for item in objects) == 1
    return next(item for item in objects if isinstance(item, model.Submodel))


@pytest.mark.parametrize("form", WRITERS)
def test_a_general_library_reads_what_is_written(form: str) -> None:
    submodel = judged(nameplate_environment(SOURCE, CERTIFICATES), form)
    assert submodel.id_short == "Nameplate"
    assert submodel.semantic_id.key[0].value == "https://admin-shell.io/zvei/nameplate/2/0/Nameplate"
    safety = (
        submodel.get_referable("Markings").get_referable("Marking01").get_referable("ExplosionSafeties")
    ).get_referable("ExplosionSafety01")
    circuits = [safety.get_referable(f"ExternalElectricalCircuit{number:02}") for number in (1, 2)]
    assert [circuit.get_referable("ExplosionGroup").value for circuit in circuits] == ["IIC", "IIB"]
    active = circuits[0].get_referable("SafetyRelatedPropertiesForActiveBehaviour")
    # The template fixes the units: mW, V, mA, µF, mH, mH/Ω.
    assert {item.id_short: Decimal(item.value) for item in active} == {
        "MaxOutputVoltage": Decimal(28),
        "MaxOutputCurrent": Decimal(93),
        "MaxOutputPower": Decimal(650),
        "MaxExternalCapacitance": Decimal("0.083"),
        "MaxExternalInductance": Decimal("4.2"),
        "MaxExternalInductanceResistanceRatio": Decimal("0.055"),
    }


def sample_environment() -> dict[str, Any]:
    """The template filled with its own samples."""

    def below(parent: str) -> list[dict[str, Any]]:
        found = []
        for item in elements:
            path = item["path"]
            if path.rpartition("/")[0] != parent:
                continue
            name = path.rpartition("/")[2]
            if item["type"] == "SubmodelElementCollection":
                found.append(aas_writing.collection(name, item["semanticId"], below(path)))
            elif "sample" in item:
                build = aas_writing.language_element if "Multi" in item["type"] else aas_writing.text_element
                found.append(build(name, item["semanticId"], item["sample"]))
        return found

    elements = json.loads(MAP.read_text())["elements"]
    return aas_writing.environment(
        "Sample", "Nameplate", "https://admin-shell.io/zvei/nameplate/2/0/Nameplate", below("")
    )


def test_the_sample_of_the_template() -> None:
    (found,) = read_nameplates(aas_writing.as_json(sample_environment()))
    device, source = found.equipment["terminals"]
    assert {key: device[key] for key in ("ui_v", "ii_a", "pi_w", "ci_f", "li_h")} == {
        "ui_v": "30 V",
        "ii_a": "100 mA",
        "pi_w": "1250 mW",
        "ci_f": "0 uF",
        "li_h": "0 mH",
    }
    assert (source["uo_v"], source["io_a"], source["po_w"], source["um_v"]) == ("15.7 V", "245 mA", "960 mW", "250 V")
    # 2878 µF at 15.7 V is a thousand times too much: nanofarads were meant.
    assert source["permitted"] == [{"group": "IIC", "lo_h": "2.9 mH"}]
    (doubtful,) = [value for value in found.values if value.warning]
    assert (doubtful.symbol, doubtful.raw, doubtful.unit, doubtful.text) == ("Co", "2878", "µF", "")
    assert "unusually large" in found.equipment["notes"]
    assert (device["ambient_min_degc"], device["ambient_max_degc"]) == ("-40 degC", "120 degC")


@pytest.mark.django_db
def test_the_entry_reads_it() -> None:
    for data in (SOURCE, DEVICE):
        (found,) = read_nameplates(aas_writing.as_aasx(nameplate_environment(data, CERTIFICATES)))
        _, errors = read_entry(EquipmentEntry, found.equipment)
        assert set(errors) == {"terminals.0.certificate"}  # it is not in this register, and is said to be wanting


def changed(change: Any) -> bytes:
    """The nameplate of the device with every element passed to `change`."""
    tree = nameplate_environment(DEVICE, CERTIFICATES)

    def walk(item: Any) -> None:
        if isinstance(item, dict):
            if "idShort" in item:
                change(item)
            for value in list(item.values()):
                walk(value)
        elif isinstance(item, list):
            for value in item:
                walk(value)

    walk(tree)
    return aas_writing.as_json(tree)


def key_of(item: dict[str, Any]) -> dict[str, str]:
    return item["semanticId"]["keys"][0]


def other_version(item: dict[str, Any]) -> None:
    key = key_of(item)
    key["value"] = (
        key["value"].rpartition("#")[0] + "#099" if "#" in key["value"] else key["value"].replace("/2/0/", "/3/1/")
    )


def other_names(item: dict[str, Any]) -> None:
    item["idShort"] = f"e{abs(hash(key_of(item)['value']))}"


def no_identifiers(item: dict[str, Any]) -> None:
    item.pop("semanticId")


def cdd_only(item: dict[str, Any]) -> None:
    cdd = {"MaxInputVoltage": "0112/2///61987#ABA982#007", "MaxInputCurrent": "0112/2///61987#ABA983#001"}
    if item["idShort"] in cdd:
        key_of(item)["value"] = cdd[item["idShort"]]
        item["idShort"] = "value"


@pytest.mark.parametrize("change", [other_version, other_names, no_identifiers, cdd_only])
def test_elements_are_known_by_identifier_dictionary_or_name(change: Any) -> None:
    (found,) = read_nameplates(changed(change))
    assert comparable(found.equipment["terminals"]) == comparable(DEVICE["terminals"])


def with_voltage(text: str) -> Any:
    def change(item: dict[str, Any]) -> None:
        if item["idShort"] == "MaxInputVoltage":
            item["value"] = text

    return change


@pytest.mark.parametrize("raw, text", [("30", "30 V"), ("30,5", "30,5 V"), (" 30 V ", "30 V"), ("0.03 kV", "0.03 kV")])
def test_values_as_they_may_be_written(raw: str, text: str) -> None:
    (found,) = read_nameplates(changed(with_voltage(raw)))
    assert found.equipment["terminals"][0]["ui_v"] == text


@pytest.mark.parametrize("raw", ["thirty", "30 mA", "30...36", "1,500", "-30", "30000", "1e400"])
def test_values_that_cannot_be_are_named_and_left_out(raw: str) -> None:
    (found,) = read_nameplates(changed(with_voltage(raw)))
    assert "ui_v" not in found.equipment["terminals"][0]
    assert any(raw in warning or "unusually large" in warning for warning in found.warnings)


def test_a_file_that_gives_another_unit_than_the_template_is_not_believed() -> None:
    tree = nameplate_environment(DEVICE, {})
    tree["conceptDescriptions"] = [
        {
            "id": "0173-1#02-AAM640#004",
            "embeddedDataSpecifications": [{"dataSpecificationContent": {"unit": "nF"}}],
        }
    ]
    (found,) = read_nameplates(aas_writing.as_json(tree))
    assert "ci_f" not in found.equipment["terminals"][0]
    assert "the file says nF, the template µF" in found.warnings[0]


def packed(members: dict[str, bytes]) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return target.getvalue()


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><environment xmlns="https://admin-shell.io/aas/3/0">&b;</environment>'
OUTSIDE = b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><environment xmlns="https://admin-shell.io/aas/3/0"><a>&a;</a></environment>'
DEEP = b'{"submodels":[' + b'{"value":[' * 50 + b"]}" * 50 + b"]}"
HOSTILE = {
    "nothing": b"",
    "text": b"hello",
    "binary": bytes(range(256)),
    "json list": b"[1, 2]",
    "broken json": b'{"submodels": [',
    "no submodel": b'{"submodels": []}',
    "other submodel": b'{"submodels": [{"idShort": "Other", "submodelElements": [{"idShort": "a", "value": "1"}]}]}',
    "wrong shapes": b'{"submodels": [{"idShort": 5, "semanticId": 7, "submodelElements": [{"value": [1, null, {}]}]}]}',
    "deep": DEEP,
    "very deep": b'{"submodels":' + b"[" * 200_000 + b"]" * 200_000 + b"}",
    "broken xml": b"<environment>",
    "foreign xml": b"<html/>",
    "version 2": b'<aasenv xmlns="http://www.admin-shell.io/aas/2/0"/>',
    "entities": ENTITIES,
    "entity from a file": OUTSIDE,
    "no package": packed({"a.txt": b"a"}),
    "broken package": b"PK\x03\x04" + bytes(100),
    "bomb": packed({"aasx/x.xml": bytes(50_000_000)}),
    "leads out": packed({"../x.xml": b"a"}),
    "many members": packed({f"{number}": b"" for number in range(3000)}),
    "leads to nothing": packed(
        {
            "_rels/.rels": aas_writing._relationship("aasx-origin", "/aasx/aasx-origin"),
            "aasx/_rels/aasx-origin.rels": aas_writing._relationship("aas-spec", "/../../etc/passwd"),
        }
    ),
    "too large": b"{" + b" " * 20_000_001,
}


@pytest.mark.parametrize("content", HOSTILE.values(), ids=HOSTILE)
def test_hostile_files_are_refused_with_a_sentence(content: bytes) -> None:
    with pytest.raises(AasError) as refused:
        read_nameplates(content)
    assert str(refused.value).endswith(".")
    assert len(str(refused.value)) < 200
