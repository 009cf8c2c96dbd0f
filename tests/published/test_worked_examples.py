"""Worked examples from published sources, as case documents with what the source (or its arithmetic) says.

Each JSON file names its source, each case the page and a mark: S = the figure is printed there, D = worked out from the
figures printed there, G = general knowledge or from memory. What a source does not say of its parts (certificate
numbers, levels, cable construction) is filled in so that the case is complete; those fillings are invented.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from loops.casefile import judge_document

FILES = sorted(Path(__file__).parent.glob("*.json"))
CASES = [
    pytest.param(case, id=f"{file.stem}-{case['id']}")
    for file in FILES
    for case in json.loads(file.read_text(encoding="utf-8"))["cases"]
]
SPECIAL = {"checks", "values", "limits", "simple", "function_parts", "part_about"}


def found(result: dict[str, Any], name: str) -> list[dict[str, Any]]:
    """The checks of a name, which may carry the subject after a colon."""
    id_, _, subject = name.partition(":")
    return [check for check in result["checks"] if check["id"] == id_ and subject in ("", check["subject"])]


@pytest.mark.parametrize("case", CASES)
def test_published_case(case: dict[str, Any]) -> None:
    result = judge_document(case["document"])
    expect = case["expect"]
    for name, verdict in expect.get("checks", {}).items():
        assert {check["verdict"] for check in found(result, name)} == {verdict}, (name, found(result, name))
    for key, field in (("values", "value"), ("limits", "limit")):
        for name, text in expect.get(key, {}).items():
            assert [check[field] for check in found(result, name)] == [text], name
    if "simple" in expect:
        assert expect["simple"] in {check["verdict"] for check in found(result, "simple_apparatus")}
    parts = {part["name"]: part for part in result["function"]["parts"]}
    for name, wanted in expect.get("function_parts", {}).items():
        assert {key: parts[name][key] for key in wanted} == wanted, name
    for name, (value, tolerance) in expect.get("part_about", {}).items():
        assert float(parts[name]["value"].split()[0]) == pytest.approx(value, rel=tolerance), name
    for key, wanted in expect.items():
        if key in SPECIAL:
            continue
        got = result[key]
        if isinstance(wanted, dict):
            got = {inner: got[inner] for inner in wanted}
        assert got == wanted, key


def test_every_file_names_its_source_and_every_case_its_page() -> None:
    assert len(FILES) >= 15
    for file in FILES:
        content = json.loads(file.read_text(encoding="utf-8"))
        assert content["source"]
        assert all(case["page"] and case["mark"] in {"S", "D", "G"} and case["expect"] for case in content["cases"])
