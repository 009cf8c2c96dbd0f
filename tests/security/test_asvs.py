"""The checklist (asvs.md) names tests that are there: one that was renamed or taken away is noticed."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CHECKLIST = Path(__file__).with_name("asvs.md").read_text()
ROW = re.compile(r"^\| V?(\d+\.\d+\.\d+) \| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
TEST = re.compile(r"`(tests/[\w/]+\.py)(?:::(\w+))?`")
ROWS = ROW.findall(CHECKLIST)
APPLICABLE_CHAPTERS = range(1, 17)
WITHOUT_A_TEST = ("Not applicable:", "By hand:", "Open:")


def named_tests(path: str) -> set[str]:
    tree = ast.parse((ROOT / path).read_text())
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}


def test_every_chapter_is_there_and_no_number_twice() -> None:
    numbers = [number for number, _, _ in ROWS]
    assert len(ROWS) > 90
    assert len(set(numbers)) == len(numbers)
    assert {int(number.split(".")[0]) for number in numbers} == set(APPLICABLE_CHAPTERS)
    # A line of the table that is not of this form would be missed without a word.
    lines = [line for line in CHECKLIST.splitlines() if re.match(r"\| V?\d", line)]
    assert len(lines) == len(ROWS)


@pytest.mark.parametrize("number, words, proof", ROWS, ids=[row[0] for row in ROWS])
def test_each_line_names_a_test_that_is_there_or_says_why_not(number: str, words: str, proof: str) -> None:
    assert len(words) > 10
    named = TEST.findall(proof)
    if not named:
        assert proof.startswith(WITHOUT_A_TEST), proof
        assert len(proof) > 30
    for path, name in named:
        assert (ROOT / path).is_file(), path
        if name:
            assert name in named_tests(path), f"{path} has no {name}"


def test_few_lines_are_without_a_test() -> None:
    without = [number for number, _, proof in ROWS if not TEST.findall(proof)]
    assert len(without) / len(ROWS) < 0.25
