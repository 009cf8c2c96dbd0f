"""One line of values: which symbol each value belongs to, and which group."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from registry.exchange.pasted_words import COLUMNS, FILLERS, NEGLIGIBLE, PERMITTED, Token
from registry.quantities import Kind, QuantityError, read

SIDED = {
    "generic.V": (Kind.VOLTAGE, "uo_v", "ui_v"),
    "generic.A": (Kind.CURRENT, "io_a", "ii_a"),
    "generic.W": (Kind.POWER, "po_w", "pi_w"),
    "generic.F": (Kind.CAPACITANCE, "co_f", "ci_f"),
    "generic.H": (Kind.INDUCTANCE, "lo_h", "li_h"),
}
"""Names that do not say of which side they are: kind, column of a source, column of a device."""


@dataclass
class Reading:
    """One value found on a line: the column, the text that an entry reads, its place, its groups, and a note."""

    column: str
    text: str
    start: int
    end: int
    groups: tuple[str, ...] = ()
    note: str = ""


@dataclass
class Symbol:
    """A symbol that waits for its value; `unit` where a heading gives one."""

    column: str
    text: str
    unit: str = ""
    in_words: bool = False


def kind_of(column: str) -> Kind:
    """The quantity of a column, of a generic name or of Pmax."""
    return SIDED[column][0] if column in SIDED else Kind.POWER if column == "pmax" else COLUMNS[column]


def quantity(number: str, unit: str, kind: Kind) -> tuple[str, str]:
    """(text, "") of a value that the entry reads, or ("", why not)."""
    text = f"{number} {unit}"
    try:
        read(text, kind)
    except QuantityError as error:
        return "", str(error)
    return text, ""


def heading_unit(unit: str) -> str:
    """The note of a value whose unit stands in the heading of its column or row."""
    return f"The unit {unit} is that of the heading."


def meaning(token: Token, column: str, unit: str) -> tuple[str, str, str]:
    """(text, note, fault) of one token as the value of one column; `unit` comes from a heading, or is empty."""
    if token.fault:
        return "", "", token.fault
    if token.what == "value":
        text, fault = quantity(token.names[0], token.unit, kind_of(column))
        return text, "", fault
    if token.what == "number":
        if unit:
            text, fault = quantity(token.text, unit, kind_of(column))
            return text, heading_unit(unit), fault
        if set(token.text) <= set("0.,") and column in NEGLIGIBLE:
            return NEGLIGIBLE[column], f"“{token.text}” without a unit read as {NEGLIGIBLE[column]}.", ""
        return "", "", f"“{token.text}” has no unit that is read here: type the value with its unit."
    if token.what == "word" and token.names[0] == "negligible":
        if column in NEGLIGIBLE:
            return NEGLIGIBLE[column], f"“{token.text.strip()}” read as {NEGLIGIBLE[column]}.", ""
        return "", "", f"“{token.text.strip()}” is no value of this parameter: type it by hand."
    note = "" if token.text.lower() == "not stated" else f"“{token.text.strip()}” read as not stated."
    return "not stated", note, ""


def with_side(column: str, side: str) -> tuple[str, str, str]:
    """(column, note, fault) of a name that may not say of which side it is; `side` is "source", "device" or ""."""
    if column not in SIDED:
        return column, "", ""
    if not side:
        return "", "", "This name does not say whether it is of the input or the output: type the value by hand."
    _, of_source, of_device = SIDED[column]
    chosen = of_source if side == "source" else of_device
    return chosen, f"Read as a value of the {'output' if side == 'source' else 'input'}, as the heading says.", ""


def fits(token: Token, column: str) -> bool:
    """Whether the unit of a value is one of the column."""
    return bool(quantity("1", token.unit, kind_of(column))[0])


@dataclass
class Line:
    """Reads the tokens of one line from left to right.

    A value belongs to the symbols that stand before it without other words between, and of those to the one of its
    kind; where two fit, to none. A group before the first value holds for the values after it, a group after a value
    for the values before it.
    """

    side: str = ""
    waiting: list[Symbol] = field(default_factory=list)
    found: list[Reading] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    groups: tuple[str, ...] = ()
    fresh: bool = False
    broken: bool = False
    signed: bool = False
    demanded: bool = False
    groups_first: bool | None = None
    strange_group: str = ""
    unused: list[Token] = field(default_factory=list)
    unanswered: list[Symbol] = field(default_factory=list)

    def read(self, tokens: Sequence[Token]) -> None:
        steps: dict[str, Callable[[Token, Token | None], None]] = {
            "symbol": self._symbol,
            "unit": self._unit,
            "sign": self._sign,
            "value": self._value,
            "number": self._value,
            "word": self._value,
            "dash": self._dash,
            "mark": lambda token, before: None,
        }
        kept = list(without_asides(tokens))
        for index, token in enumerate(kept):
            before = kept[index - 1] if index else None
            if token.what == "group":
                self._group(token, leads=index + 1 < len(kept) and kept[index + 1].text == ":")
            else:
                steps.get(token.what, self._other)(token, before)
        self._leave_open_ends()

    def _leave_open_ends(self) -> None:
        """A further value of the same kind, or a symbol that got none, is told: what was read may be half of it."""
        for token in self.unused:
            rivals = [reading for reading in self.found if fits(token, reading.column)]
            if rivals:
                self.found = [reading for reading in self.found if reading not in rivals]
                self.faults.append(
                    f"“{token.text.strip()}” stands on this line too: type the value that holds by hand."
                )
            elif self.found:
                self.faults.append(f"“{token.text.strip()}” on this line is not read: look whether it matters.")
        if self.found and self.signed and not self.fresh:
            self.unanswered += self.waiting
        columns = {reading.column for reading in self.found}
        names = ", ".join(symbol.text for symbol in self.unanswered if symbol.column not in columns)
        if names and self.found:
            self.faults.append(f"What stands for {names} is not read as a value: type it by hand.")

    def _symbol(self, token: Token, before: Token | None) -> None:
        linked = (
            before is None or before.what in {"symbol", "unit", "mark"} or before.text.lower() in {"and", "und", "et"}
        )
        if self.signed and not self.fresh:
            self.unanswered += self.waiting
        if self.fresh or self.broken or self.signed or not linked:
            self.waiting = []
        in_words = len(token.text) > 8
        for column in token.names:
            if self.waiting and self.waiting[-1].in_words and kind_of(self.waiting[-1].column) == kind_of(column):
                self.waiting.pop()
            if all(symbol.column != column for symbol in self.waiting):
                self.waiting.append(Symbol(column, token.text, in_words=in_words or column.startswith("generic")))
        self.fresh = self.broken = self.signed = self.demanded = False

    def _unit(self, token: Token, before: Token | None) -> None:
        if self.waiting and not self.fresh:
            self.waiting[-1].unit = token.unit

    def _sign(self, token: Token, before: Token | None) -> None:
        if self.fresh:
            return
        if token.text in {"≥", ">=", ">"}:
            self.demanded = True
        elif len(self.waiting) == 1:
            self.broken = False
        self.signed = True

    def _group(self, token: Token, leads: bool) -> None:
        """A group leads the values behind it, or closes those before it that have none yet."""
        open_values = [reading for reading in self.found if reading.column in PERMITTED and not reading.groups]
        if self.fresh and open_values and not leads and self.groups_first is not True:
            self.groups_first = False
            if token.fault:
                self.faults.append(token.fault)
                self.found = [reading for reading in self.found if reading not in open_values]
            for reading in open_values:
                reading.groups = token.names
            return
        self.groups_first = True
        self.groups, self.strange_group = token.names, token.fault

    def _dash(self, token: Token, before: Token | None) -> None:
        if before is not None and before.what == "sign" and self.waiting and not self.fresh:
            self._value(token, before)

    def _value(self, token: Token, before: Token | None) -> None:
        if not self.waiting or self.broken or (self.fresh and token.what == "number"):
            self.unused += [token] if token.what == "value" else []
            return
        if self.demanded:
            self.faults.append(f"“{token.text.strip()}” is a demand on the other equipment, not a value of this one.")
            self.fresh = True
            return
        if token.what == "value":
            chosen = [symbol for symbol in self.waiting if fits(token, symbol.column)]
        else:
            of_all = token.what in {"word", "dash"} or all(symbol.column in NEGLIGIBLE for symbol in self.waiting)
            chosen = self.waiting if of_all else self.waiting[-1:]
        if len(chosen) > 1 and token.what == "value":
            names = " and ".join(symbol.text for symbol in chosen)
            self.faults.append(f"“{token.text}” may belong to {names}: type it by hand.")
        elif not chosen and self.fresh:
            self.unused += [token] if token.what == "value" else []
        elif not chosen:
            names = ", ".join(symbol.text for symbol in self.waiting)
            self.faults.append(f"“{token.text.strip()}” is not in a unit of {names}.")
        else:
            for symbol in chosen:
                self._keep(token, symbol)
        self.fresh = True

    def _keep(self, token: Token, symbol: Symbol) -> None:
        column, side_note, fault = with_side(symbol.column, self.side)
        text, note, value_fault = meaning(token, column or symbol.column, symbol.unit)
        fault = value_fault or fault or (self.strange_group if column in PERMITTED else "")
        if fault:
            self.faults.append(fault)
            return
        groups = self.groups if column in PERMITTED else ()
        self.found.append(
            Reading(column, text, token.start, token.end, groups, " ".join(filter(None, (note, side_note))))
        )

    def _other(self, token: Token, before: Token | None) -> None:
        if token.text.lower() in FILLERS or token.text.lower() in {
            "for",
            "für",
            "pour",
            "or",
            "oder",
            "ou",
            "and",
            "und",
            "et",
        }:
            return
        if self.fresh:
            self.waiting = []
        elif self.waiting:
            self.broken = True


def without_asides(tokens: Sequence[Token]) -> Iterator[Token]:
    """The tokens without parentheses that hold nothing to read, such as "(terminals 1 and 2)"."""
    depth, aside = 0, list[Token]()
    for token in tokens:
        if token.text == "(":
            depth += 1
        if depth:
            aside.append(token)
            if token.text == ")":
                depth -= 1
                if not depth:
                    if any(t.what in {"value", "unit", "group", "word", "symbol", "degrees"} for t in aside):
                        yield from aside
                    aside = []
            continue
        yield token
    yield from aside
