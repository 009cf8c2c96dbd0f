"""Text copied from a certificate, read into the parameters of the register.

Every value stands beside the line it was read from; what is not understood is listed, and nothing is guessed: a value
without a unit stays unread, a value that is one end of a range or a demand on the other equipment too, and of two
different values for one parameter both are shown and neither is preferred. What was interpreted ("negligible" read as
0 H) says so in a note. A person compares and confirms before anything is saved.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from registry.exchange import pasted_lines as lines
from registry.exchange.pasted_conditions import conditions as read_conditions
from registry.exchange.pasted_conditions import cross_checked
from registry.exchange.pasted_doubts import doubts
from registry.exchange.pasted_inline import Line, Reading, Symbol, fits
from registry.exchange.pasted_labels import labels
from registry.exchange.pasted_lines import MASK, Part, masked
from registry.exchange.pasted_result import (
    INPUTS,
    Found,
    FoundClass,
    FoundPermitted,
    FoundTerminals,
    Pasted,
    Unread,
    equipment_text,
    marked,
    once,
    same,
)
from registry.exchange.pasted_tables import Header, class_columns, combined, header_of, row_of, units_row
from registry.exchange.pasted_words import FILLERS, PERMITTED, Token, plain, tokens

__all__ = ["Found", "Pasted", "PastedTextError", "equipment_text", "read_pasted_text"]

MAX_CHARACTERS = 200_000
MAX_LINES = 6_000
MAX_LINE = 1_000


class PastedTextError(ValueError):
    """The text is too long to be that of one certificate; `str(error)` is a sentence with the cure."""


def read_pasted_text(text: str) -> Pasted:
    """Find the parameters in text that was copied from a certificate.

    >>> found = read_pasted_text("Terminals 1-2\\nUi = 30 V, Li = negligible\\nPi: 0,9 W")
    >>> [(value.column, value.text, value.line_number, value.note) for value in found.terminals[0].values]
    [('ui_v', '30 V', 2, ''), ('li_h', '0 H', 2, '“negligible” read as 0 H.'), ('pi_w', '0,9 W', 3, '')]

    Raises PastedTextError for a text that is too long.
    """
    if len(text) > MAX_CHARACTERS or text.count("\n") > MAX_LINES:
        raise PastedTextError("This text is too long for one certificate: paste the pages with the parameters only.")
    reader = _Reader()
    texts = re.split(r"\r\n|\r|\n|\f|\v|\u2028|\u2029", text)
    for number, line in enumerate(texts, 1):
        reader.read(number, line)
    return _with_names(reader.result(), texts)


def _with_names(pasted: Pasted, texts: Sequence[str]) -> Pasted:
    """What was found, with who made it, its type and the specific conditions of use."""
    named, conditions = labels(texts), read_conditions(texts)
    numbers = [item.text for item in pasted.certificates if item.column == "number"]
    used = named.used | conditions.used
    left = [entry for entry in pasted.unread if entry.reason or entry.line_number not in used]
    return replace(
        pasted,
        names=marked(list(named.found)),
        conditions=marked(list(cross_checked(conditions, numbers))),
        unread=tuple(
            sorted([*left, *named.doubts, *conditions.doubts], key=lambda entry: (entry.line_number, not entry.reason))
        ),
    )


@dataclass
class _Permitted:
    group: str
    key: object
    values: list[Found] = field(default_factory=list)
    note: str = ""


@dataclass
class _Scope:
    name: str
    values: list[Found] = field(default_factory=list)
    permitted: list[_Permitted] = field(default_factory=list)
    classes: list[FoundClass] = field(default_factory=list)


class _Reader:
    def __init__(self) -> None:
        self.scopes: dict[str, _Scope] = {}
        self.scope = self._scope("")
        self.side = ""
        self.groups: tuple[str, ...] = ()
        self.groups_line, self.strange_group = 0, ""
        self.header: Header | None = None
        self.header_key = 0
        self.blanks = 0
        self.carried: list[Symbol] = []
        self.carried_from: list[Unread] = []
        self.certificates: list[Found] = []
        self.markings: list[Found] = []
        self.unread: list[Unread] = []
        self.number, self.line = 0, ""
        self.kept_line, self.kept_columns = 0, set[str]()

    # ------------------------------------------------------------------------------------------------------- one line

    def read(self, number: int, line: str) -> None:
        self.number, self.line = number, line
        if not line.strip():
            self.blanks += 1
            if self.blanks > 1:
                self.header, self.carried = None, []
            return
        self.blanks = 0
        if len(line) > MAX_LINE:
            self._leave("This line is too long to be read: break it where the values stand.")
            return
        rest = plain(line)
        if self._pairs_without_parameters(rest):
            return
        heading = lines.heading(rest)
        if heading and not (header_of(rest, tokens(rest)) or self._is_row(rest)):
            self._enter(heading.name, rest[: heading.end])
            rest = MASK * heading.end + rest[heading.end :]
            if not rest.strip(MASK + " :|"):
                return
        self._read_rest(rest, heading is not None)

    def _pairs_without_parameters(self, rest: str) -> bool:
        """A ruled line of a table, which says nothing."""
        return not re.search(r"[^\W_]", rest) and not re.search(r"[-—]", rest.strip("|+-=_ \t"))

    def _read_rest(self, rest: str, known: bool) -> None:
        parts = list(lines.certificates(rest))
        self.certificates += [self._found(part) for part in parts]
        rest = masked(rest, parts)
        ambients = lines.ambients(rest)
        markings = lines.markings(masked(rest, ambients))
        self.markings += [self._found(part) for part in markings]
        rest = masked(rest, markings)
        characteristic = lines.characteristic(rest)
        if characteristic:
            self.scope.values.append(self._found(characteristic))
            rest = masked(rest, [characteristic])
        known = known or bool(parts or markings or characteristic)
        found = [token for token in tokens(rest) if not token.text.startswith(MASK)]
        rows, doubt = ([], "") if markings and ambients else lines.class_rows(rest, found)
        if not rows and self.header:
            below = class_columns(self.header, rest, found)
            rows = [(Part("temperature_class", name, t.start, t.end), self._degrees(t)) for name, t in below]
        if rows:
            self.scope.classes += [FoundClass(self._found(name), self._found(ambient)) for name, ambient in rows]
            return
        if doubt:
            self._leave(doubt)
            return
        self.scope.values += [self._found(part) for part in ambients]
        found = [token for token in tokens(masked(rest, ambients)) if not token.text.startswith(MASK)]
        self._read_values(masked(rest, ambients), found, known or bool(ambients))

    def _read_values(self, rest: str, found: Sequence[Token], known: bool) -> None:
        if self._read_table(rest, found):
            return
        if self._is_group_heading(found):
            group = next(token for token in found if token.what == "group")
            self.groups, self.strange_group, self.groups_line = group.names, group.fault, self.number
            return
        line = Line(self.side, strange_group=self.strange_group)
        starts_with_value = bool(found) and found[0].what in {"value", "word", "number"}
        if self.carried and starts_with_value:
            line.waiting, line.signed = self.carried, True
        line.read(found)
        classes = ", ".join(token.names[0] for token in found if token.what == "class")
        for reading in line.found if classes else ():
            reading.note = f"{reading.note} The line names {classes}: the value may hold for that only.".strip()
        if not line.found and line.signed and line.waiting and not (line.demanded or self._only_symbols(found)):
            names = ", ".join(symbol.text for symbol in line.waiting)
            line.faults = line.faults or [f"What stands for {names} is not read as a value: type it by hand."]
        if line.found or line.faults:
            self.header = None
            if self.carried and starts_with_value:
                self._settle_carried(line)
            else:
                self.carried, self.carried_from = [], []
            self._keep(line.found)
            for fault in dict.fromkeys(line.faults):
                self._leave(fault)
            return
        side = lines.side_named(rest)
        if side and not line.waiting:
            self.side = side
        if self._only_symbols(found):
            self.carried = [*self.carried, *line.waiting]
            self.carried_from.append(Unread(self.number, self.line))
        else:
            self.carried, self.carried_from = [], []
            self.header = None
        named = [token for token in found if token.what == "symbol" and not token.names[0].startswith("generic")]
        values = [token for token in found if token.what == "value"]
        if named and values:
            self._leave(f"“{named[0].text}” and “{values[0].text}” stand here, not clearly together: type it by hand.")
        elif self.kept_line == self.number - 1 and any(fits(v, column) for v in values for column in self.kept_columns):
            self._leave(f"“{values[0].text}” stands here without a name, below a value of its kind: compare the two.")
        elif not known and not side:
            self._leave("")

    def _settle_carried(self, line: Line) -> None:
        """Symbols on lines of their own that have got their values are no longer unread."""
        self.carried = [symbol for symbol in self.carried if symbol.column not in {r.column for r in line.found}]
        if line.found and not self.carried:
            self.unread = [entry for entry in self.unread if entry not in self.carried_from]
            self.carried_from = []

    def _only_symbols(self, found: Sequence[Token]) -> bool:
        words = [t for t in found if t.what not in {"symbol", "unit", "mark", "sign"} and t.text.lower() not in FILLERS]
        return any(token.what == "symbol" for token in found) and not words

    def _is_group_heading(self, found: Sequence[Token]) -> bool:
        groups = [token for token in found if token.what == "group"]
        others = [token for token in found if token.what not in {"group", "mark", "sign", "other"}]
        words = [token for token in found if token.what == "other"]
        return len(groups) == 1 and not others and len(words) <= 3

    # --------------------------------------------------------------------------------------------------------- tables

    def _is_row(self, rest: str) -> bool:
        return self.header is not None and row_of(self.header, rest, tokens(rest), self.side) is not None

    def _read_table(self, rest: str, found: Sequence[Token]) -> bool:
        header = header_of(rest, found)
        if header:
            joined = combined(self.header, header) if self.header and self.header_key == self.number - 1 else None
            self.header, self.header_key = joined or header, self.number
            self.carried = []
            return True
        if not self.header:
            return False
        with_units = units_row(self.header, found)
        if with_units:
            self.header = with_units
            return True
        row = row_of(self.header, rest, found, self.side)
        if row is None:
            return False
        by_terminals: dict[str, list[Reading]] = {}
        for placed in row.values:
            by_terminals.setdefault(placed.terminals, []).append(placed.reading)
        for name, readings in by_terminals.items():
            self._keep(readings, self._scope(name) if name else self.scope, table=True)
        for fault in dict.fromkeys(row.faults):
            self._leave(fault)
        return True

    # -------------------------------------------------------------------------------------------------------- keeping

    def _scope(self, name: str) -> _Scope:
        return self.scopes.setdefault(name.casefold(), _Scope(name))

    def _enter(self, name: str, heading: str) -> None:
        self.scope = self._scope(name)
        self.side = lines.side_named(heading)
        self.groups, self.strange_group, self.header, self.carried = (), "", None, []

    def _keep(self, readings: list[Reading], scope: _Scope | None = None, table: bool = False) -> None:
        scope = scope or self.scope
        self.kept_line, self.kept_columns = self.number, {reading.column for reading in readings}
        columns: dict[str, set[str]] = {}
        for reading in readings:
            if reading.column in PERMITTED:
                for group in self._groups_of(reading):
                    columns.setdefault(group, set()).add(reading.column)
        line = plain(self.line)
        for reading in readings:
            note = " ".join(filter(None, (reading.note, *doubts(line, reading.column, reading.text))))
            found = self._found(Part(reading.column, reading.text, reading.start, reading.end, note))
            if reading.column not in PERMITTED:
                scope.values.append(found)
                continue
            for group in self._groups_of(reading):
                key: object = self.number if len(columns[group]) > 1 else (self.header_key, "table") if table else None
                self._keep_permitted(scope, group, key, found, bool(table and key != self.number), not reading.groups)

    def _groups_of(self, reading: Reading) -> tuple[str, ...]:
        return reading.groups or self.groups or ("",)

    def _keep_permitted(
        self, scope: _Scope, group: str, key: object, found: Found, paired: bool, from_heading: bool
    ) -> None:
        rows = [row for row in scope.permitted if row.group == group and row.key == key]
        if paired and rows and any(value.column == found.column for value in rows[-1].values):
            rows = []
        if not rows:
            rows = [_Permitted(group, key)]
            scope.permitted += rows
            if not group:
                rows[0].note = "The text names no group for these values: choose it."
            elif from_heading:
                rows[0].note = f"The group is that of line {self.groups_line}."
        rows[-1].values.append(found)

    def _found(self, part: Part) -> Found:
        return Found(part.column, part.text, self.number, self.line, (part.start, part.end), part.note)

    def _degrees(self, token: Token) -> Part:
        unit = "degF" if "F" in token.text or "℉" in token.text else "degC"
        number = re.sub(rf"(?:{lines.DEGREES}).*", "", token.text)
        return Part("ambient_max_degc", lines.degrees_text(number, unit), token.start, token.end)

    def _leave(self, reason: str) -> None:
        self.unread.append(Unread(self.number, self.line, reason))

    # --------------------------------------------------------------------------------------------------------- result

    def result(self) -> Pasted:
        terminals = [_finished(scope) for scope in self.scopes.values()]
        return Pasted(
            tuple(item for item in terminals if item.values or item.permitted or item.temperature_classes),
            once(self.certificates),
            once(self.markings),
            unread=tuple(self.unread),
        )


def contents(row: FoundPermitted) -> set[object]:
    return {same(value) for value in row.values}


def repeats(row: FoundPermitted, place: int, every: Sequence[FoundPermitted]) -> Iterator[bool]:
    """Whether each other row says all that this one says, and more, or the same before it."""
    for other_place, other in enumerate(every):
        if other.group == row.group and other_place != place:
            yield contents(row) < contents(other) or (contents(row) == contents(other) and other_place < place)


def _finished(scope: _Scope) -> FoundTerminals:
    columns = {value.column for value in scope.values}
    source = bool(columns & {"uo_v", "io_a"}) and not columns & INPUTS
    values = [
        replace(
            value,
            column="po_w" if source else "pi_w",
            note=f"{value.note} Pmax read as {'Po, beside output values' if source else 'Pi'}.".strip(),
        )
        if value.column == "pmax"
        else value
        for value in scope.values
    ]
    every = [FoundPermitted(row.group, marked(row.values), row.note) for row in scope.permitted]
    permitted = [row for place, row in enumerate(every) if not any(repeats(row, place, every))]
    rows: dict[object, FoundClass] = {}
    for item in scope.classes:
        rows.setdefault((item.temperature_class.text, same(item.ambient_max)), item)
    names = [item.temperature_class.text for item in rows.values()]
    classes = tuple(
        replace(item, ambient_max=replace(item.ambient_max, contradictory=names.count(item.temperature_class.text) > 1))
        for item in rows.values()
    )
    return FoundTerminals(scope.name, marked(values), tuple(permitted), classes)
