"""The book of findings: one circuit for each thing that the engine can say, and what it says of it as text.

``book.txt`` beside this file holds the text, to be read and compared; :mod:`test_book` keeps both together. After a
change of the rules write it anew with ``python -m tests.loops.engine.book`` and read the difference before you commit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from loops.casefile import result_document
from loops.engine.case import (
    Basis,
    Case,
)
from loops.engine.verdict import judge

from .book_circuits import ONE_SOURCE
from .book_systems import SYSTEMS
from .make import (
    CASE,
)

BOOK = Path(__file__).with_name("book.txt")
CIRCUITS = ONE_SOURCE | SYSTEMS


def _lines(case: Case) -> Iterator[str]:
    """What the result says, a line each."""
    found = result_document(case, judge(case), detail=True)
    yield f"verdict: {found['verdict']}"
    for check in found["checks"]:
        limit = f" {check['relation']} {check['limit']}" if check["limit"] else ""
        margin = f", margin {check['margin']}" if check["margin"] else ""
        unit = f" in {check['unit']}" if check["unit"] and not check["value"] else ""
        yield f"{check['verdict'].upper()} {check['id']} [{check['subject']}] {check['value']}{unit}{limit}{margin}"
        yield f"    {check['why']}"
        yield f"    {check['reference']}"
    yield f"halved: {found['halved']}"
    yield f"totals: {found['totals']}"
    yield f"longest last run: {found['max_length']}"
    yield f"system: {found['system']}"
    function = found["function"]
    yield f"FUNCTION {function['verdict']}: {function['voltage_at_device']} of {function['voltage_needed']}"
    yield f"    {function['why']}"
    for part in function["parts"]:
        yield f"{part['verdict'].upper()} {part['name']} {part['value']} {part['relation']} {part['limit']}"
        yield f"    {part['why']}"
        yield f"    {part['reference']}"
    yield from (f"confirm: {remark}" for remark in found["confirmations"])


def _groups(case: Case) -> list[str]:
    """The lines with what is indented below them kept together."""
    groups: list[str] = []
    for line in _lines(case):
        if line.startswith("    "):
            groups[-1] += "\n" + line
        else:
            groups.append(line)
    return groups


def written() -> str:
    """The whole book: of each circuit what is said otherwise than of the earlier one that is most like it."""
    pages: list[str] = []
    earlier: dict[str, frozenset[str]] = {}
    for title, case in {"complies": CASE, **CIRCUITS, "in North America": replace(CASE, basis=Basis.NEC)}.items():
        said = _groups(case)
        like = max(earlier, key=lambda name: len(earlier[name].intersection(said)), default=None)
        known = earlier[like] if like is not None else frozenset()
        lines = [f"== {title}" + (f" (as: {like})" if like else ""), *(group for group in said if group not in known)]
        pages.append("\n".join(lines))
        earlier[title] = frozenset(said)
    return "\n\n".join(pages) + "\n"


if __name__ == "__main__":
    BOOK.write_text(written(), encoding="utf-8")
