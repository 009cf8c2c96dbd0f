"""Between the cells of a table and the nested text that entries read, both ways, and back from messages to cells.

Shape only; which columns there are says :mod:`registry.exchange.layouts`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from registry.exchange.csv_xlsx import DATE_MARK, Row, Table, table
from registry.exchange.layouts import Column, Layout, Place, simple

YES = frozenset({"yes", "y", "true", "1", "x", "ja", "j", "oui"})
NO = frozenset({"no", "n", "false", "0", "nein", "non", "-"})
_MONTHS = "jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"
_MADE_A_DATE = re.compile(
    rf"(?i)\d{{1,2}}[. -]{{1,2}}(?:{_MONTHS})[a-z]*\.?(?:[. -]\d{{2,4}})?|(?:{_MONTHS})[a-z]*[. -]\d{{2,4}}"
)


@dataclass(frozen=True, order=True)
class Fault:
    """One thing that is wrong in a file: row as the spreadsheet counts (the heading is 1), heading, what and the cure.

    `column` is empty where the fault is of the whole row.
    """

    row: int
    column: str
    message: str
    value: str = ""


# --- cells to nested text ---------------------------------------------------------------------------------------------


@dataclass
class Group:
    """The rows of one record: its key, its nested text as far as the file gives it, and where each value stands."""

    key: tuple[str, ...]
    rows: list[Row]
    data: dict[str, Any]
    numbers: list[dict[str, list[int]]] = field(default_factory=list)
    """For each row, for each numbered list, which number each element has."""


@dataclass
class Nested:
    """A file as nested text: one group a record, the faults of its shape, and its headings by what they are."""

    groups: list[Group]
    faults: list[Fault]
    headings: dict[tuple[str, str, str, int], str]
    examples: list[int] = field(default_factory=list)
    """Rows that are the example of a template."""

    def heading(self, level: str, group: str, name: str, number: int, layout: Layout) -> str:
        """The heading of the file for a value, else the one that the template has for it."""
        if (level, group, name, number) in self.headings:
            return self.headings[level, group, name, number]
        for column in layout.columns if not level else layout.row_columns:
            if column.name == name and not group:
                return column.heading
        for numbered in layout.numbered:
            for column in numbered.columns:
                if numbered.name == group and column.name == name:
                    return numbered.heading(number, column)
        return name.replace("_", " ")


def nested(content: Table, layout: Layout) -> Nested:
    """The records of a table, with every fault that its shape has. What the values mean is not looked at."""
    places, faults = _places(content, layout)
    headings = {
        (place.level, place.group.name if place.group else "", place.column.name, place.number): heading
        for heading, place in zip(content.headings, places, strict=True)
        if place
    }
    found = Nested([], faults, headings)
    missing = [name for name in layout.key if ("", "", name, 0) not in headings]
    if missing:
        names = ", ".join(next(c.heading for c in layout.columns if c.name == name) for name in missing)
        faults.append(Fault(1, names, f"Add the column {names}: it tells the records apart."))
        return found
    groups: dict[tuple[str, ...], Group] = {}
    key = next(index for index, place in enumerate(places) if place and _is_first_key(place, layout))
    for row in content.rows:
        if row.cells[key].strip().casefold().startswith(EXAMPLE.strip().casefold()):
            found.examples.append(row.number)
            continue
        _add_row(row, places, layout, found, groups, content.headings)
    found.groups = list(groups.values())
    return found


def _is_first_key(place: Place, layout: Layout) -> bool:
    return not place.level and not place.group and place.column.name == layout.key[0]


def _places(content: Table, layout: Layout) -> tuple[list[Place | None], list[Fault]]:
    places: list[Place | None] = []
    faults: list[Fault] = []
    for heading in content.headings:
        place = layout.place_of(heading) if heading else None
        if place is None:
            used = heading or "a column without a heading"
            near = layout.near(heading)
            hint = f"did you mean {near}?" if near else "remove the column or give it a heading of the template."
            faults.append(Fault(1, heading, f"There is no column “{used:.60}”: {hint}"))
        elif place in places:
            faults.append(Fault(1, heading, f"The column “{heading:.60}” stands here twice: keep one of the two."))
            place = None
        places.append(place)
    return places, faults


def _add_row(
    row: Row,
    places: Sequence[Place | None],
    layout: Layout,
    found: Nested,
    groups: dict[tuple[str, ...], Group],
    headings: Sequence[str],
) -> None:
    record: dict[str, Any] = {}
    element: dict[str, Any] = {}
    lists: dict[str, dict[int, dict[str, Any]]] = {}
    for cell, place, heading in zip(row.cells, places, headings, strict=True):
        if place is None:
            continue
        value, message = _value(cell, place.column)
        if message:
            found.faults.append(Fault(row.number, heading, message, cell.lstrip(DATE_MARK)))
        if place.group:
            lists.setdefault(place.group.name, {}).setdefault(place.number, {})[place.column.name] = value
        elif place.level:
            element[place.column.name] = value
        else:
            record[place.column.name] = value
    key = tuple(" ".join(str(record[name]).split()) for name in layout.key)
    # Rows without a full key belong to nothing else: each is told its own fault.
    identity = key if all(key) else (*key, str(row.number))
    group = groups.get(identity)
    if group is None:
        group = groups[identity] = Group(key, [], record)
        if layout.rows:
            group.data[layout.rows] = []
    else:
        _compare(row, record, group, layout, found)
    numbers: dict[str, list[int]] = {}
    for name, by_number in lists.items():
        kept = {
            number: item
            for number, item in sorted(by_number.items())
            if any(value not in ("", False) for value in item.values())
        }
        numbers[name] = list(kept)
        element[name] = list(kept.values())
    group.rows.append(row)
    group.numbers.append(numbers)
    if layout.rows:
        group.data[layout.rows].append(element)


def _compare(row: Row, record: dict[str, Any], group: Group, layout: Layout, found: Nested) -> None:
    """A further row of a record repeats its columns or leaves them empty; without lists each record has one row."""
    first = group.rows[0].number
    if not layout.rows:
        heading = found.heading("", "", layout.key[-1], 0, layout)
        message = f"This stands already in row {first}: keep one of the two rows."
        found.faults.append(Fault(row.number, heading, message, group.key[-1]))
        return
    for name, value in record.items():
        if name not in layout.key and value not in ("", False) and value != group.data[name]:
            heading = found.heading("", "", name, 0, layout)
            message = f"Row {first} says something else for the same item: write the same or leave this empty."
            found.faults.append(Fault(row.number, heading, message, str(value)))


def _value(cell: str, column: Column) -> tuple[Any, str]:
    """The text of a cell for the entry, and a message where its shape is wrong."""
    if cell.startswith(DATE_MARK):
        text = cell[len(DATE_MARK) :]
        if column.kind == "day" and len(text) == 10:
            return text, ""
        if column.kind != "day":
            return "", f"The spreadsheet made the date {text} of this: format the column as text and type it again."
        return "", "Give a day without a time, for example 2026-11-25."
    text = cell.strip()
    if column.kind == "yes or no":
        word = text.casefold()
        if word in YES or word in NO or not word:
            return word in YES, ""
        return False, "Say yes or no, or leave it empty."
    if column.kind == "day" and text and not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return "", "Write the day as year, month, day, for example 2026-11-25."
    if column.kind == "choice":
        return _choice(text, column.choices), ""
    if column.name == "name" and _MADE_A_DATE.fullmatch(text):
        return text, f"The spreadsheet made the date “{text}” of this: format the column as text and type it again."
    return text, ""


def _choice(text: str, choices: Mapping[str, str]) -> str:
    """The code of a choice that is written as its code or in words, in any capitals; else the text itself."""
    wanted = simple(text)
    for code, words in choices.items():
        if wanted in (simple(code), simple(words)):
            return code
    return text


def faults_of(group: Group, errors: Mapping[str, Sequence[str]], layout: Layout, found: Nested) -> Iterator[Fault]:
    """Messages of an entry by dotted path, as faults by row and heading; paths count the rows of the group."""
    for path, messages in errors.items():
        row, heading, value = _spot(group, path.split("."), layout, found)
        for message in messages:
            yield Fault(row.number, heading, message, value)


def _spot(group: Group, parts: list[str], layout: Layout, found: Nested) -> tuple[Row, str, str]:
    index, number, numbered, level = 0, 0, "", ""
    if layout.rows and parts[0] == layout.rows and len(parts) > 1:
        level, index = layout.rows, min(int(parts[1]), len(group.rows) - 1)
        parts = parts[2:]
        lists = group.numbers[index]
        if parts and parts[0] in {item.name for item in layout.numbered}:
            numbered = parts[0]
            used = lists.get(numbered) or [1]
            number = used[int(parts[1])] if len(parts) > 1 and int(parts[1]) < len(used) else used[0]
            columns = next(item.columns for item in layout.numbered if item.name == numbered)
            parts = parts[2:] or [columns[0].name]
    name = parts[0] if parts else layout.row_key
    if not level and name == layout.rows:
        name, level = layout.row_key, layout.rows
    heading = found.heading(level, numbered, name, number, layout)
    value = group.data[layout.rows][index] if level else group.data
    if numbered:
        rows = value.get(numbered, [])
        place = group.numbers[index].get(numbered, []).index(number) if rows else 0
        value = rows[place] if rows else {}
    return group.rows[index], heading, str(value.get(name, "") if isinstance(value, dict) else "")


# --- nested text to cells ---------------------------------------------------------------------------------------------


def tabled(records: Sequence[Mapping[str, Any]], layout: Layout) -> Table:
    """The table of nested texts, with related records by their names. Numbered columns are as many as are needed."""
    elements = [
        (record, element)
        for record in records
        for element in (record.get(layout.rows) or [{}] if layout.rows else [{}])
    ]
    counts = {
        group.name: max([group.shown, *(len(element.get(group.name) or ()) for _, element in elements)])
        for group in layout.numbered
    }
    rows = []
    for record, element in elements:
        cells = [_cell(record.get(column.name), column) for column in layout.columns]
        cells += [_cell(element.get(column.name), column) for column in layout.row_columns]
        for group in layout.numbered:
            items = element.get(group.name) or []
            for number in range(counts[group.name]):
                item = items[number] if number < len(items) else {}
                cells += [_cell(item.get(column.name), column) for column in group.columns]
        rows.append(cells)
    return table(layout.headings(counts), rows)


def _cell(value: Any, column: Column) -> str:
    if isinstance(value, bool):
        return "yes" if value else ""
    return "" if value is None else str(value)


EXAMPLE = "Example: "
"""What the key of a template's example row begins with, so that nobody takes it for an item that there is."""


def template(layout: Layout) -> Table:
    """The headings with one row that shows how they are filled in; it says of itself that it is an example."""
    cells = [
        f"{EXAMPLE}{column.example}" if column.name == layout.key[0] else column.example for column in layout.columns
    ]
    cells += [column.example for column in layout.row_columns]
    for group in layout.numbered:
        for number in range(group.shown):
            cells += [column.example if not number else "" for column in group.columns]
    return table(layout.headings(), [cells])


def choices_of(layout: Layout) -> dict[str, list[str]]:
    """The codes that may be chosen, by heading."""
    found = {c.heading: list(c.choices) for c in (*layout.columns, *layout.row_columns) if c.choices}
    for group in layout.numbered:
        for number in range(1, group.shown + 1):
            found |= {group.heading(number, column): list(column.choices) for column in group.columns if column.choices}
    return found
