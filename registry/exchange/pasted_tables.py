"""Tables in pasted text: a heading of groups, symbols, classes or terminals, and the rows of values below it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from registry.exchange.pasted_inline import Reading, kind_of, meaning, with_side
from registry.exchange.pasted_lines import class_rows, named_terminals
from registry.exchange.pasted_words import FILLERS, PERMITTED, Token, tokens
from registry.units import UNITS

VALUES = frozenset({"value", "number", "word", "dash"})


@dataclass(frozen=True)
class Item:
    """One column of a table: what its heading says. `cell` is its place among the cells of the line, -1 unknown."""

    column: str = ""
    groups: tuple[str, ...] = ()
    terminals: str = ""
    temperature_class: str = ""
    unit: str = ""
    cell: int = -1
    fault: str = ""


@dataclass(frozen=True)
class Header:
    """The heading of a table; `cells` is how many cells its line has, 0 where it has no clear cells."""

    items: tuple[Item, ...]
    cells: int = 0

    def says(self, name: str) -> bool:
        """Whether every column has a `column`, `groups`, `terminals` or `temperature_class`."""
        return all(getattr(item, name) for item in self.items)


@dataclass
class Placed:
    """A value of a table with the terminals of its row or column."""

    reading: Reading
    terminals: str = ""


@dataclass
class Row:
    """What a row of a table gave."""

    values: list[Placed]
    faults: list[str]


def cells_of(line: str) -> list[tuple[int, str]]:
    """The cells of a line with their places: between tabs or bars, else between two or more spaces."""
    separator = r"\t" if "\t" in line else r"\|" if "|" in line else r" {2,}"
    body_start, body = 0, line
    if separator != r"\t":
        body_start = len(line) - len(line.lstrip(" |" if separator == r"\|" else " "))
        if separator == r"\|":
            body_start = line.index("|") + 1 if line.lstrip().startswith("|") else 0
        body = line[body_start:].rstrip(" ")
        if separator == r"\|" and body.endswith("|"):
            body = body[:-1]
    found, place = [], 0
    for match in re.finditer(separator, body):
        found.append((body_start + place, body[place : match.start()]))
        place = match.end()
    found.append((body_start + place, body[place:]))
    return found


def header_of(line: str, found: Sequence[Token]) -> Header | None:
    """The heading of a table that this line is, or None."""
    cells = cells_of(line)
    named = [named_terminals(text) for _, text in cells]
    if len(cells) > 1 and sum(map(bool, named)) >= 2 and not any(token.what in {"value", "symbol"} for token in found):
        return Header(tuple(Item(terminals=name, cell=i) for i, name in enumerate(named) if name), len(cells))
    words = [token for token in found if token.what == "other" and token.text.lower() not in FILLERS]
    if any(token.what in {"value", "degrees", "number", "word", "sign"} for token in found) or len(words) > 5:
        return None
    if len(cells) > 1:
        items = [_item(tokens(text), index) for index, (_, text) in enumerate(cells)]
        kept = tuple(item for item in items if item)
        if _is_heading(kept):
            return Header(kept, len(cells))
    kept = tuple(_merged(found))
    return Header(kept) if _is_heading(kept) else None


def _is_heading(items: tuple[Item, ...]) -> bool:
    if len(items) < 2:
        return False
    return any(all(getattr(item, name) for item in items) for name in ("column", "groups", "temperature_class"))


def _item(found: Sequence[Token], cell: int) -> Item | None:
    item = Item(cell=cell)
    for token in found:
        if token.what == "symbol" and len(token.names) == 1:
            item = replace(item, column=token.names[0])
        elif token.what == "group":
            item = replace(item, groups=token.names, fault=token.fault)
        elif token.what == "class":
            item = replace(item, temperature_class=token.names[0])
        elif token.what == "unit":
            item = replace(item, unit=token.unit)
    return item if item.column or item.groups or item.temperature_class or item.fault else None


def _merged(found: Sequence[Token]) -> list[Item]:
    """Items of a line without clear cells: one for each symbol or, where there is none, for each group or class."""
    items: list[Item] = []
    symbols = [token for token in found if token.what == "symbol"]
    for index, token in enumerate(found):
        if token.what == "symbol" and len(token.names) == 1:
            follows = index and found[index - 1].what == "symbol" and found[index - 1].names == token.names
            if not follows:
                items.append(Item(column=token.names[0]))
        elif token.what in {"group", "class"} and not symbols:
            items += [item for item in (_item([token], -1),) if item]
        elif token.what == "unit" and items:
            items[-1] = replace(items[-1], unit=token.unit)
    return items


def combined(upper: Header, lower: Header) -> Header | None:
    """Two lines of headings as one: groups over symbols or symbols over groups, each spanning as many columns."""
    for name, other in (("groups", "column"), ("column", "groups"), ("terminals", "column"), ("terminals", "groups")):
        if upper.says(name) and lower.says(other) and not any(getattr(item, name) for item in lower.items):
            span, rest = divmod(len(lower.items), len(upper.items))
            if rest or (upper.says(other)):
                return None
            above = [upper.items[index // span] for index in range(len(lower.items))]
            items = tuple(
                replace(item, **{name: getattr(top, name)}, fault=item.fault or top.fault, unit=item.unit or top.unit)
                for item, top in zip(lower.items, above, strict=True)
            )
            return Header(items, lower.cells)
    return None


def units_row(header: Header, found: Sequence[Token]) -> Header | None:
    """The heading with the units of a row that holds nothing else."""
    units = [token.unit for token in found if token.what == "unit"]
    rest = [token for token in found if token.what not in {"unit", "mark"}]
    if rest or len(units) != len(header.items):
        return None
    return replace(header, items=tuple(replace(i, unit=i.unit or u) for i, u in zip(header.items, units, strict=True)))


def row_of(header: Header, line: str, found: Sequence[Token], side: str) -> Row | None:
    """The values of one row, or None where the line is no row of this table."""
    label, values = _divided(header, line, found)
    own = _label(label)
    if own is None or not values or any(token.what == "sign" and token.text in {"≥", ">=", ">"} for token in label):
        return None
    if (own.column and header.says("column")) or (own.groups and header.says("groups")):
        return None
    if not (own.column or header.says("column")):
        return None
    faults: list[str] = []
    placed = _aligned(header, values)
    if placed is None:
        count = sum(map(bool, values))
        if own.column and own.column not in PERMITTED and count == 1 and header.says("groups"):
            placed = [(Item(), next(filter(None, values)))]
        else:
            return Row([], [f"{len(header.items)} columns, but {count} values: type them by hand."])
    result: list[Placed] = []
    for item, cell in placed:
        if not cell:
            continue
        value, fault = _cell(item, own, cell, side)
        if fault:
            faults.append(fault)
        elif value:
            result.append(value)
    return Row(result, faults)


def _divided(header: Header, line: str, found: Sequence[Token]) -> tuple[Sequence[Token], list[list[Token]]]:
    """(label, the tokens of each value): by cells where both lines have them, else value by value."""
    cells = cells_of(line)
    if header.cells > 1 and len(cells) > 1:
        inside = [[token for token in found if place <= token.start < place + len(text) + 1] for place, text in cells]
        first = 0 if len(cells) == len(header.items) and header.items[0].cell == 0 else 1
        if header.items[0].cell > 0 and len(cells) <= header.cells and ("\t" in line or "|" in line):
            padded = inside + [[] for _ in range(header.cells - len(inside))]
            return [t for cell in padded[: header.items[0].cell] for t in cell], [padded[i.cell] for i in header.items]
        if len(cells) - first == len(header.items):
            return [t for cell in inside[:first] for t in cell], inside[first:]
    start = next((index for index, token in enumerate(found) if token.what in VALUES), len(found))
    if found and all(token.what == "number" for token in found[:1]) and header.says("column"):
        start = next((index for index, token in enumerate(found) if token.what in {"value", "word"}), start)
    rest = [token for token in found[start:] if token.what not in {"mark", "sign"}]
    if any(token.what not in VALUES for token in rest):
        return [], []
    return found[:start], [[token] for token in rest]


def _label(label: Sequence[Token]) -> Item | None:
    """What the label of a row says; None where it holds more than a label does."""
    symbols = [token for token in label if token.what == "symbol"]
    if any(token.what in {"value", "degrees"} for token in label) or any(len(token.names) > 1 for token in symbols):
        return None
    text = " ".join(token.text for token in label if token.what not in {"mark", "sign", "unit"})
    item = _item(label, -1) or Item()
    return (
        item
        if symbols or item.groups
        else replace(item, terminals=named_terminals(re.sub(r" ?([-+,]) ?", r"\1", text)))
    )


def _aligned(header: Header, values: list[list[Token]]) -> list[tuple[Item, list[Token]]] | None:
    if len(values) == len(header.items):
        return list(zip(header.items, values, strict=True))
    return None


def _cell(item: Item, own: Item, cell: list[Token], side: str) -> tuple[Placed | None, str]:
    """The value of one cell, or why it is not taken; neither for an empty cell."""
    values = [token for token in cell if token.what in VALUES]
    others = [token for token in cell if token.what == "other" and token.text.lower() not in FILLERS]
    if not values and not others:
        return None, ""
    written = " ".join(token.text.strip() for token in cell)
    if len(values) != 1 or others:
        return None, f"“{written}” is not one value: type it by hand."
    named = item.column or own.column
    column, side_note, fault = with_side(named, side)
    if fault:
        return None, fault
    if item.temperature_class:
        return None, f"“{written}” holds for {item.temperature_class} only: type it by hand."
    token = values[0]
    if token.what == "value" and not token.fault and not _is_of(token, column):
        return None, f"“{written}” is not in a unit of this column."
    text, note, fault = meaning(token, column, item.unit or own.unit)
    fault = fault or ((item.fault or own.fault) if column in PERMITTED else "")
    if fault:
        return None, fault
    groups = (item.groups or own.groups) if column in PERMITTED else ()
    notes = " ".join(filter(None, (note, side_note)))
    return Placed(Reading(column, text, token.start, token.end, groups, notes), item.terminals or own.terminals), ""


def _is_of(token: Token, column: str) -> bool:
    return token.unit in UNITS[kind_of(column)]


def class_columns(header: Header, line: str, found: Sequence[Token]) -> list[tuple[str, Token]]:
    """A row of ambient temperatures below a heading of temperature classes: (class, temperature)."""
    degrees = [token for token in found if token.what == "degrees"]
    if not header.says("temperature_class") or len(degrees) != len(header.items) or class_rows(line, found)[0]:
        return []
    return [(item.temperature_class, token) for item, token in zip(header.items, degrees, strict=True)]
