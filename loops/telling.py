"""A stored result as pages show it: in the language of who reads it, its quantities with the signs of their units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.lengths import lengths_in
from registry.signs import with_signs
from registry.stored import figure, said

Row = Mapping[str, Any]
SENTENCES = ("why", "cure", "reference")
FIGURES = ("value", "limit", "voltage_at_device", "voltage_needed", "length", "C", "L", "C_permitted", "L_permitted")
WORDS = ("limited_by",)


def told(result: Row) -> Row:
    """The result with its sentences and numbers as the language has them. The stored one stays as it is.

    Keys, verdicts, subjects and exact values are not touched: pages look them up, and subjects are names.
    """
    changed: dict[str, Any] = dict(result)
    changed["checks"] = [row_told(row) for row in result.get("checks") or []]
    for name in ("totals", "max_length"):
        if result.get(name):
            changed[name] = row_told(result[name])
    if result.get("function"):
        function = row_told(result["function"])
        changed["function"] = {**function, "parts": [row_told(part) for part in function.get("parts") or []]}
    changed["confirmations"] = [with_signs(said(text)) for text in result.get("confirmations") or []]
    return changed


def row_told(row: Row) -> dict[str, Any]:
    """One row of a result: its sentences, then its numbers."""
    changed = dict(row)
    for name in SENTENCES + WORDS:
        if isinstance(row.get(name), str):
            changed[name] = with_signs(said(row[name]))
    for name in FIGURES:
        if isinstance(row.get(name), str):
            changed[name] = with_signs(said(figure(row[name])))
    return changed


def spoken(sentence: str, unit: str) -> str:
    """A stored sentence of the engine as pages show it, lengths in the unit of a site."""
    return with_signs(lengths_in(said(sentence), unit))
