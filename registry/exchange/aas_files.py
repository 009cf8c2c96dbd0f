"""Files of asset administration shells (AAS), read into plain trees: JSON, XML and AASX packages.

Shape only, after IDTA 01001 and 01005, version 3 (from memory): a submodel is a tree of elements, each with a short
name, semantic identifiers and a value or children. XML is read in the namespaces 3/0 and 3/1. The files come from
outside and are limited in size, depth and number of elements before and while they are read.
"""

from __future__ import annotations

import json
import posixpath
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import unquote

import defusedxml.ElementTree  # type: ignore[import-untyped]
from defusedxml.common import DefusedXmlException  # type: ignore[import-untyped]

from registry.exchange.archives import ArchiveError, member, opened

MAX_BYTES = 20_000_000
MAX_DEPTH = 40
MAX_ELEMENTS = 60_000
NAMESPACES = ("https://admin-shell.io/aas/3/0", "https://admin-shell.io/aas/3/1")
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_ORIGIN, _SPEC = "aasx-origin", "aas-spec"
AASX = "AASX file"


class AasError(ValueError):
    """The file is not read; `str(error)` is one sentence with the cure."""


@dataclass(frozen=True)
class Element:
    """One submodel element. `value` is its text; of several languages the English one, else the first."""

    id_short: str
    semantic_ids: tuple[str, ...]
    value: str = ""
    children: tuple[Element, ...] = ()

    def walk(self) -> Iterator[Element]:
        """This element and all below it."""
        yield self
        for child in self.children:
            yield from child.walk()


@dataclass(frozen=True)
class Environment:
    """The submodels of a file, and the units that its concept descriptions give by semantic identifier."""

    submodels: tuple[Element, ...]
    units: dict[str, str] = field(default_factory=dict)


def read_environment(content: bytes) -> Environment:
    """The submodels of an AAS JSON, AAS XML or AASX file, told apart by content. Raises AasError."""
    if len(content) > MAX_BYTES:
        raise AasError(f"This file is larger than {MAX_BYTES // 1_000_000} MB: export the nameplate alone.")
    try:
        if content[:2] == b"PK":
            return _from_package(content)
        return _from_text(content)
    except ArchiveError as error:
        raise AasError(str(error)) from error
    except RecursionError as error:
        raise AasError("This file is nested too deep to be a nameplate: export it again.") from error


def _from_text(content: bytes) -> Environment:
    start = content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n")
    if start[:1] == b"{":
        return _from_json(content)
    if start[:1] == b"<":
        return _from_xml(content)
    raise AasError("This is not a file of an asset administration shell: give an AASX, JSON or XML file.")


# --- AASX -------------------------------------------------------------------------------------------------------------


def _from_package(content: bytes) -> Environment:
    archive = opened(content, AASX)
    names = set(archive.namelist())
    origins = _targets(archive, names, "", _ORIGIN)
    specs = [target for origin in origins for target in _targets(archive, names, origin, _SPEC)]
    if not specs:
        raise AasError("This package names no content of an asset administration shell: export it again.")
    parts = [_from_text(member(archive, name, AASX)) for name in dict.fromkeys(specs)]
    units = {key: unit for part in parts for key, unit in part.units.items()}
    return Environment(tuple(submodel for part in parts for submodel in part.submodels), units)


def _targets(archive: Any, names: set[str], part: str, relation: str) -> list[str]:
    """The members to which the relationships of one part lead."""
    folder, name = posixpath.split(part)
    listing = posixpath.join(folder, "_rels", f"{name}.rels")
    if listing not in names:
        return []
    found = []
    for item in _parsed(member(archive, listing, AASX)).iter(f"{{{_RELATIONS}}}Relationship"):
        target = unquote(item.get("Target", ""))
        if item.get("Type", "").rsplit("/", 1)[-1] != relation or item.get("TargetMode") == "External":
            continue
        path = posixpath.normpath(target if target.startswith("/") else posixpath.join("/", folder, target)).lstrip("/")
        if path in names or relation == _ORIGIN:
            found.append(path)
    return found


# --- JSON -------------------------------------------------------------------------------------------------------------


def _from_json(content: bytes) -> Environment:
    try:
        document = json.loads(content)
    except ValueError as error:
        raise AasError("This is not correct JSON: export the nameplate again.") from error
    counter = _Counter()
    listed = document.get("submodels")
    if listed is None and document.get("modelType") == "Submodel":
        listed = [document]
    submodels = tuple(_json_element(item, counter, 0) for item in _items(listed))
    if not submodels:
        raise AasError("This file holds no submodel: export the nameplate of the asset.")
    units: dict[str, str] = {}
    for concept in _items(document.get("conceptDescriptions")):
        for specification in _items(concept.get("embeddedDataSpecifications")):
            content_of = specification.get("dataSpecificationContent")
            if isinstance(content_of, dict) and isinstance(content_of.get("unit"), str):
                units[str(concept.get("id", ""))] = content_of["unit"]
    return Environment(submodels, units)


class _Counter:
    """Counts elements, so that a small file cannot make a large tree."""

    def __init__(self) -> None:
        self.count = 0

    def one_more(self, depth: int) -> None:
        self.count += 1
        if self.count > MAX_ELEMENTS or depth > MAX_DEPTH:
            raise AasError("This file holds more elements than a nameplate does: export the nameplate alone.")


def _items(value: Any) -> list[dict[str, Any]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def _json_element(item: dict[str, Any], counter: _Counter, depth: int) -> Element:
    counter.one_more(depth)
    references = [item.get("semanticId"), *_items(item.get("supplementalSemanticIds"))]
    keys = [key for reference in references if isinstance(reference, dict) for key in _items(reference.get("keys"))]
    value = item.get("value")
    children = _items(item.get("submodelElements")) or _items(item.get("statements"))
    text = ""
    if isinstance(value, list):
        languages = [(str(part.get("language", "")), part["text"]) for part in _items(value) if "language" in part]
        if languages:
            text = _english([(language, str(text)) for language, text in languages])
        else:
            children = _items(value)
    elif isinstance(value, str | int | float) and not isinstance(value, bool):
        text = str(value)
    return Element(
        str(item.get("idShort") or ""),
        tuple(str(key.get("value", "")) for key in keys),
        text.strip(),
        tuple(_json_element(child, counter, depth + 1) for child in children),
    )


def _english(texts: list[tuple[str, str]]) -> str:
    return next((text for language, text in texts if language.lower().startswith("en")), texts[0][1])


# --- XML --------------------------------------------------------------------------------------------------------------


def _parsed(content: bytes) -> Any:
    try:
        return defusedxml.ElementTree.fromstring(content, forbid_dtd=True)
    except (defusedxml.ElementTree.ParseError, ValueError, LookupError) as error:
        if isinstance(error, DefusedXmlException):
            raise AasError("This XML declares entities, which a nameplate does not need: it is not read.") from error
        raise AasError("This is not correct XML: export the nameplate again.") from error


def _from_xml(content: bytes) -> Environment:
    root = _parsed(content)
    namespace = re.match(r"\{(.*)\}environment$", root.tag)
    if namespace is None or namespace[1] not in NAMESPACES:
        raise AasError("This XML is no environment of version 3 of the asset administration shell: export it as such.")
    space = f"{{{namespace[1]}}}"
    counter = _Counter()
    submodels = tuple(
        _xml_element(item, space, counter, 0) for item in root.iterfind(f"{space}submodels/{space}submodel")
    )
    if not submodels:
        raise AasError("This file holds no submodel: export the nameplate of the asset.")
    units: dict[str, str] = {}
    for concept in root.iterfind(f"{space}conceptDescriptions/{space}conceptDescription"):
        unit = next(concept.iter(f"{space}unit"), None)
        if unit is not None and unit.text:
            units[concept.findtext(f"{space}id") or ""] = unit.text.strip()
    return Environment(submodels, units)


def _xml_element(item: Any, space: str, counter: _Counter, depth: int) -> Element:
    counter.one_more(depth)
    keys = [
        key.findtext(f"{space}value") or ""
        for path in ("semanticId", f"supplementalSemanticIds/{space}reference")
        for key in item.iterfind(f"{space}{path}/{space}keys/{space}key")
    ]
    value = item.find(f"{space}value")
    text, children = "", []
    for name in ("submodelElements", "statements"):
        holder = item.find(f"{space}{name}")
        if holder is not None:
            children += list(holder)
    if value is not None:
        languages = [
            (part.findtext(f"{space}language") or "", part.findtext(f"{space}text") or "")
            for part in value.iterfind(f"{space}langStringTextType")
        ]
        if languages:
            text = _english(languages)
        elif len(value):
            children += list(value)
        else:
            text = value.text or ""
    return Element(
        item.findtext(f"{space}idShort") or "",
        tuple(keys),
        text.strip(),
        tuple(_xml_element(child, space, counter, depth + 1) for child in children if isinstance(child.tag, str)),
    )
