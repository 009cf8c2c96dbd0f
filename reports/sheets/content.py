"""What stands on a loop sheet, as plain data. All values are the texts that were typed or stored with the verdict."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from loops.services.curves import Curves
from reports.diagrams import Plan, describe
from reports.diagrams.words import described_curves
from reports.sheets.words import shape


@dataclass(frozen=True)
class Moment:
    """A time as the sheet prints it: at the site, and in UTC."""

    local: str
    utc: str


@dataclass(frozen=True)
class Signature:
    """Who did what, printed name and time; an empty name was not given yet."""

    role: str
    name: str = ""
    at: Moment | None = None
    meaning: str = ""


@dataclass(frozen=True)
class Cell:
    """A value of an item with the verdict of the check that judged it; an empty verdict where none did."""

    text: str
    verdict: str = ""

    @property
    def shape(self) -> str:
        return shape(self.verdict)


@dataclass(frozen=True)
class Place:
    """What the area asks for, or what an item offers: one row of plant data against instrument data."""

    name: str
    where: str
    level: Cell
    group: Cell
    temperature_class: Cell
    ambient: Cell

    @property
    def cells(self) -> tuple[Cell, ...]:
        return self.level, self.group, self.temperature_class, self.ambient


@dataclass(frozen=True)
class Permitted:
    """Co, Lo and Lo/Ro for one group."""

    group: str
    co: str
    lo: str
    lo_ro: str
    together: bool


@dataclass(frozen=True)
class Source:
    """Output parameters of a source's terminals."""

    tag: str
    terminals: str
    output: str
    values: tuple[tuple[str, str], ...]
    permitted: tuple[Permitted, ...]

    @property
    def rows(self) -> tuple[Permitted, ...]:
        """The permitted values, or one row that says that there are none."""
        return self.permitted or (Permitted("–", "unknown", "unknown", "unknown", False),)


@dataclass(frozen=True)
class Device:
    """Input parameters of a field device's or inline item's terminals."""

    tag: str
    terminals: str
    role: str
    values: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Paper:
    """The register item and certificate that a member of the circuit rests on, as pinned."""

    tag: str
    equipment: str
    marking: str
    register_revision: str
    number: str = ""
    issue: str = ""
    scheme: str = ""
    status: str = ""
    valid_to: str = ""
    made_on: str = ""
    conditions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Cable:
    """One run with its values per length and what it counts with over its length.

    `per_length` holds C, L, L/R and R, each with a note (per core, default). `capacitance` and `inductance` are empty
    while the length is unknown.
    """

    tag: str
    start: str
    end: str
    type_name: str
    length: str
    per_length: tuple[tuple[str, str], ...]
    capacitance: str
    inductance: str
    separation: str
    construction: str


@dataclass(frozen=True)
class Check:
    """One check as judged."""

    id: str
    name: str
    verdict: str
    word: str
    subject: str
    of_circuit: bool
    value: str
    relation: str
    limit: str
    margin: str
    reference: str
    why: str
    cure: str = ""

    @property
    def shape(self) -> str:
        return shape(self.verdict)


@dataclass(frozen=True)
class Justification:
    """Why an item is simple apparatus."""

    tag: str
    kind: str
    figures: str
    text: str


@dataclass(frozen=True)
class Confirmed:
    """A matter that a person confirms, and who did so and how; `by` is empty while nobody has."""

    what: str
    by: str = ""
    how: str = ""
    about: str = ""


@dataclass(frozen=True)
class Circuit:
    """One intrinsically safe circuit of the loop."""

    name: str
    verdict: str
    word: str
    system: str
    plan: Plan
    places: tuple[Place, ...]
    sources: tuple[Source, ...]
    devices: tuple[Device, ...]
    papers: tuple[Paper, ...]
    cables: tuple[Cable, ...]
    segment: str
    is_fisco: bool
    terminators: tuple[str, ...]
    totals: tuple[tuple[str, str, str], ...]
    halved: bool
    checks: tuple[Check, ...]
    longest: str
    function: tuple[tuple[str, str], ...]
    function_parts: tuple[Check, ...]
    function_verdict: str
    function_word: str
    justifications: tuple[Justification, ...]
    confirmations: tuple[Confirmed, ...]
    wiring: tuple[str, ...] = ()
    earthing: tuple[str, ...] = ()
    curves: Curves | None = None

    @property
    def shape(self) -> str:
        return shape(self.verdict)

    @property
    def judged(self) -> list[Check]:
        """The checks that apply."""
        return [check for check in self.checks if check.verdict != "not_applicable"]

    @property
    def passed_over(self) -> list[Check]:
        """The checks that do not apply, which say why in a line instead of a row."""
        return [check for check in self.checks if check.verdict == "not_applicable"]

    @property
    def function_shape(self) -> str:
        return shape(self.function_verdict)

    @property
    def described(self) -> str:
        """The diagram in words."""
        return describe(self.plan)

    @property
    def curves_described(self) -> str:
        """The chart of the ignition curves in words; empty where there is none."""
        return described_curves(self.curves) if self.curves else ""


@dataclass(frozen=True)
class Issue:
    """One line of the history of issues."""

    letter: str
    at: Moment
    prepared: str
    approved: str
    reason: str
    digest: str


@dataclass(frozen=True)
class Changed:
    """One difference from the issue before: where, before, after."""

    what: str
    before: str
    after: str


@dataclass(frozen=True)
class SheetContent:
    """Everything on a sheet. `issued` is False for a print that nobody has approved.

    `changes` are the differences from the issue `previous`, `more_changes` how many more there are than a sheet has
    room for; `record` is the whole record as JSON, which travels with the sheet.
    """

    number: str
    issued: bool
    state: str
    site: str
    tag: str
    service: str
    drawing: str
    letter: str
    basis_key: str
    basis: str
    judged_on: str
    rules: str
    made_at: dt.datetime
    moment: Moment
    verdict: str
    word: str
    limiting: str
    least_margin: str
    function_word: str
    function_verdict: str
    signatures: tuple[Signature, ...]
    circuits: tuple[Circuit, ...]
    notes: str
    history: tuple[Issue, ...]
    revision_number: int
    revision_digest: str
    verification_digest: str
    caution: str
    link: str
    conditions: tuple[Confirmed, ...] = ()
    remark: str = ""
    previous: str = ""
    changes: tuple[Changed, ...] = ()
    more_changes: int = 0
    record: bytes = b""

    @property
    def approved(self) -> Signature | None:
        """The signature that issued it; none while there is none."""
        last = self.signatures[-1]
        return last if last.name else None

    @property
    def charts(self) -> list[tuple[int, Circuit]]:
        """The circuits that have a chart of their ignition curves, with their place."""
        return [(index, circuit) for index, circuit in enumerate(self.circuits) if circuit.curves]

    @property
    def shape(self) -> str:
        return shape(self.verdict)
