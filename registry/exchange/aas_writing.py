"""Writing asset administration shells: one environment as JSON, as XML and as an AASX package.

After IDTA 01001 and 01005, version 3.1 (from memory); a general AAS library judges the files in the tests.
"""

from __future__ import annotations

import io
import json
import uuid
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

NAMESPACE = "https://admin-shell.io/aas/3/1"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_RELATIONS = "http://admin-shell.io/aasx/relationships"
_WHEN = (2020, 1, 1, 0, 0, 0)
"""Time of every member, so that the same nameplate makes the same bytes."""

Tree = dict[str, Any]


def semantic_reference(identifier: str) -> Tree:
    """A reference to a concept outside of the file."""
    return {"type": "ExternalReference", "keys": [{"type": "GlobalReference", "value": identifier}]}


def text_element(id_short: str, semantic_id: str, value: str) -> Tree:
    """A property that holds text."""
    head = {"modelType": "Property", "idShort": id_short, "semanticId": semantic_reference(semantic_id)}
    return head | {"valueType": "xs:string", "value": value}


def language_element(id_short: str, semantic_id: str, value: str) -> Tree:
    """A property in languages, with the one text as English."""
    head = {"modelType": "MultiLanguageProperty", "idShort": id_short, "semanticId": semantic_reference(semantic_id)}
    return head | {"value": [{"language": "en", "text": value}]}


def collection(id_short: str, semantic_id: str, children: Sequence[Tree]) -> Tree:
    """A collection of elements."""
    head = {
        "modelType": "SubmodelElementCollection",
        "idShort": id_short,
        "semanticId": semantic_reference(semantic_id),
    }
    return head | {"value": list(children)}


def environment(name: str, id_short: str, semantic_id: str, elements: Sequence[Tree]) -> Tree:
    """One shell for a type of asset called `name`, with one submodel. The identifiers follow from the name."""
    asset, shell, submodel = (
        uuid.uuid5(uuid.NAMESPACE_OID, f"{part} {name}").urn for part in ("asset", "shell", id_short)
    )
    return {
        "assetAdministrationShells": [
            {
                "modelType": "AssetAdministrationShell",
                "id": shell,
                "assetInformation": {"assetKind": "Type", "globalAssetId": asset},
                "submodels": [{"type": "ModelReference", "keys": [{"type": "Submodel", "value": submodel}]}],
            }
        ],
        "submodels": [
            {
                "modelType": "Submodel",
                "idShort": id_short,
                "id": submodel,
                "kind": "Instance",
                "semanticId": semantic_reference(semantic_id),
                "submodelElements": list(elements),
            }
        ],
    }


def as_json(tree: Tree) -> bytes:
    """The environment as AAS JSON."""
    return json.dumps(tree, ensure_ascii=False, indent=1).encode()


# --- XML --------------------------------------------------------------------------------------------------------------

_ORDER = (
    *("idShort", "id", "kind", "semanticId", "assetInformation", "submodels", "submodelElements", "assetKind"),
    *("globalAssetId", "valueType", "value"),
)
_WRAPPERS = {"submodels": "reference", "keys": "key", "value": "langStringTextType"}


def as_xml(tree: Tree) -> bytes:
    """The environment as AAS XML in the namespace 3/1."""
    root = ET.Element("environment", {"xmlns": NAMESPACE})
    for name in ("assetAdministrationShells", "submodels"):
        holder = ET.SubElement(root, name)
        for item in tree[name]:
            _fill(ET.SubElement(holder, _tag(item)), item)
    return ET.tostring(root, encoding="utf-8", xml_declaration=True)


def _tag(item: Mapping[str, Any]) -> str:
    model_type = str(item["modelType"])
    return model_type[0].lower() + model_type[1:]


def _fill(target: ET.Element, item: Mapping[str, Any]) -> None:
    names = [name for name in _ORDER if name in item] + [name for name in item if name not in _ORDER]
    for name in names:
        value = item[name]
        if name == "modelType":
            continue
        child = ET.SubElement(target, name)
        if isinstance(value, Mapping):
            _fill(child, value)
        elif isinstance(value, list):
            for part in value:
                _fill(ET.SubElement(child, _tag(part) if "modelType" in part else _WRAPPERS[name]), part)
        else:
            child.text = str(value)


# --- AASX -------------------------------------------------------------------------------------------------------------


def as_aasx(tree: Tree) -> bytes:
    """The environment as an AASX package with its content as XML."""
    types = (
        f'<Types xmlns="{_PACKAGE}/content-types">'
        f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="text/xml"/>'
        '<Override PartName="/aasx/aasx-origin" ContentType="text/plain"/></Types>'
    )
    members = {
        "[Content_Types].xml": types.encode(),
        "_rels/.rels": _relationship("aasx-origin", "/aasx/aasx-origin"),
        "aasx/aasx-origin": b"Intentionally empty.",
        "aasx/_rels/aasx-origin.rels": _relationship("aas-spec", "/aasx/nameplate.xml"),
        "aasx/nameplate.xml": as_xml(tree),
    }
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name, _WHEN), content, zipfile.ZIP_DEFLATED)
    return target.getvalue()


def _relationship(relation: str, target: str) -> bytes:
    return (
        f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Type="{_RELATIONS}/{relation}" Target="{target}" Id="r1"/></Relationships>'
    ).encode()
