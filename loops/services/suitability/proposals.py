"""Which source for these devices? Every source of the register, judged with the devices over a cable.

Safe by every check, and working by the function verdict; the longest cable of each, exact to the metre; and why the
others fail, grouped by reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from loops.adapters import circuit_document
from loops.casefile import CaseError, read_document, sentence
from loops.check_names import CHECK_NAMES
from loops.engine.case import Case
from loops.engine.findings import CircuitVerdict, Verdict
from loops.engine.tables import Tables
from loops.engine.verdict import Decision, decide
from loops.models import CableRun, Circuit, Member
from loops.services.suitability.matrix import judge_all
from loops.services.suitability.positions import (
    Candidate,
    certificates_of,
    in_use,
    part_of,
    register_items,
)
from loops.services.suitability.screen import Code
from loops.services.suitability.spots import Part, Slot, Spot, halved, summed, with_parts, with_run
from loops.services.tables import tables_of
from loops.services.verification import today_at
from loops.services.whatif import Contents
from registry.fields import Reading
from registry.models import CableType, EquipmentKind, HazardousArea, Site, Terminals
from registry.services.records import plain_reading

MOST_DEVICES = 8
LONGEST_M = 20_000
"""A cable that nothing limits is told as at least so long."""


@dataclass(frozen=True)
class Asked:
    """What a source is wanted for: the devices in an area, and the cable; without a length as long as possible."""

    devices: Sequence[Terminals]
    area: HazardousArea
    cable_type: CableType | None = None
    length: Reading = field(default_factory=Reading)
    load: Reading = field(default_factory=Reading)

    @property
    def site(self) -> Site:
        return self.area.site

    @property
    def as_long_as_possible(self) -> bool:
        return self.length.value_si is None


@dataclass(frozen=True)
class Offer:
    """A source with what comes of it. `longest` is None where no length does, `limited_by` says what sets it."""

    candidate: Candidate
    complies: bool
    works: Verdict
    margin: Decimal | None
    headroom: Decimal | None
    longest: int | None
    limited_by: str
    reason: str
    """The word of the check that it fails or that is open; "function" for the function."""
    why: str

    @property
    def order(self) -> tuple[Any, ...]:
        return (-(self.margin or 0), -(self.headroom or 0), -(self.longest or 0), self.candidate.name.casefold())


@dataclass(frozen=True)
class Offers:
    """All sources: those that serve, those of which only the function is open, and the others by reason."""

    serving: list[Offer]
    unsure: list[Offer]
    failing: dict[str, list[Offer]]
    """By the word of the check that decides."""

    @property
    def reasons(self) -> list[tuple[str, list[Offer]]]:
        """The reasons in words, the most frequent first."""
        rows = sorted(self.failing.items(), key=lambda row: (-len(row[1]), row[0]))
        return [(reason_name(word), offers) for word, offers in rows]


def reason_name(word: str) -> str:
    """A reason in words."""
    if word == "function":
        return _("It would not work")
    if word.startswith("open "):
        return _("A value is missing: %s") % reason_name(word.removeprefix("open "))
    return CHECK_NAMES.get(word, word)


def propose_sources(asked: Asked) -> Offers:
    """Judge every set of output terminals of every source in use."""
    contents = Contents({})
    case = case_of(asked, contents)
    tables = tables_of(asked.site)
    rows = list(source_parts(contents))
    if case is None or not rows:
        return Offers([], [], {})
    spot = Spot((case,), (Slot(0, True, 0),))
    codes = judge_all([spot], [(part,) for _, part in rows], tables).codes[0]
    serving: list[Offer] = []
    unsure: list[Offer] = []
    failing: dict[str, list[Offer]] = {}
    for (candidate, part), code in zip(rows, codes, strict=True):
        found = offer_of(spot, candidate, part, tables, asked, rejected=Code(code) is not Code.LOOK)
        if found.complies and found.works is Verdict.PASS:
            serving.append(found)
        elif found.complies and found.works is Verdict.NOT_APPLICABLE:
            unsure.append(found)
        else:
            failing.setdefault(found.reason, []).append(found)
    return Offers(
        once(sorted(serving, key=lambda item: item.order)),
        once(sorted(unsure, key=lambda item: item.order)),
        {word: once(found) for word, found in failing.items()},
    )


def once(offers: Sequence[Offer]) -> list[Offer]:
    """Each item once, with its first set of terminals in this order."""
    return list({item.candidate.key: item for item in reversed(offers)}.values())[::-1]


def source_parts(contents: Contents) -> Iterator[tuple[Candidate, Part]]:
    """Every set of output terminals of the sources in use, with its engine input."""
    for key, item in register_items(in_use([EquipmentKind.SOURCE]), contents).items():
        papers = certificates_of(item, contents)
        for row in item["terminals"]:
            if row["side"] == Terminals.Side.SOURCE:
                candidate = Candidate(key, item, papers, (row["id"],))
                part = part_of(candidate, 0, Terminals.Side.SOURCE, False, False)
                if part is not None:
                    yield candidate, part


def case_of(asked: Asked, contents: Contents) -> Case | None:
    """The circuit with a source of which nothing is known; None where it cannot be read."""
    contents.load("equipment", [row.equipment_id for row in asked.devices])
    contents.load("certificate", [row.certificate_id for row in asked.devices if row.certificate_id])
    if asked.cable_type:
        contents.load("cable_type", [asked.cable_type.pk])
    members = [
        {
            "role": Member.Role.DEVICE.value,
            "tag": f"{_('device')} {number}",
            "terminals": {"id": row.pk},
            "area": {"id": asked.area.pk},
            "made_on": None,
            "equipment_revision": {"id": ("equipment", row.equipment_id)},
            "certificate_revision": {"id": ("certificate", row.certificate_id)} if row.certificate_id else None,
        }
        for number, row in enumerate(asked.devices, 1)
    ]
    length = {"text": "1 m", "si": "1"} if asked.as_long_as_possible else plain_reading(asked.length)
    run = {
        "tag": _("cable"),
        "separation": CableRun.Separation.SINGLE.value,
        "role": CableRun.Role.TRUNK.value,
        "length_m": length,
        "cable_type_revision": {"id": ("cable_type", asked.cable_type.pk)} if asked.cable_type else None,
    }
    circuit = {
        "name": "",
        "interconnection": Circuit.Interconnection.UNDEFINED.value,
        "fisco": False,
        "members": members,
        "cables": [run],
    }
    loop = {"tag": "", "load_ohm": plain_reading(asked.load), "safe_voltage_max_v": None}
    areas = {asked.area.pk: asked.area}
    day = today_at(asked.site)
    document = circuit_document(loop, circuit, asked.site, areas, contents.snapshots, day)  # type: ignore[arg-type]
    try:
        return read_document(document | {"sources": [{"name": _("source")}]})
    except CaseError:
        return None


def offer_of(
    spot: Spot, candidate: Candidate, part: Part, tables: Tables | None, asked: Asked, *, rejected: bool
) -> Offer:
    """What comes of one source, exactly."""
    case = with_parts(spot, [replace(part, name=candidate.name)])[0]
    case = replace(case, sources=(replace(case.sources[0], name=candidate.name),))
    decision = decide(case, tables)
    outcome = summed([decision])
    complies = decision.verdict is CircuitVerdict.COMPLIES
    works = decision.function.verdict
    longest, limited_by = (None, "")
    if not rejected:
        longest, limited_by = longest_run(case, tables)
    reason, why = reason_of(decision)
    return Offer(candidate, complies, works, outcome.margin, outcome.headroom, longest, limited_by, reason, why)


def reason_of(decision: Decision) -> tuple[str, str]:
    """What decides of a circuit: the word of a check or "function", "open" before it where a value is missing."""
    for verdict, lead in ((Verdict.FAIL, ""), (Verdict.BEYOND_SIMPLE_RULES, ""), (Verdict.INCOMPLETE, "open ")):
        for check in decision.checks:
            if check.verdict is verdict:
                cure = f" {sentence(check.cure)}" if check.cure else ""
                return f"{lead}{check.id.value}", sentence(check.why) + cure
    if decision.function.verdict is Verdict.INCOMPLETE:
        return "open function", sentence(decision.function.why)
    return "function", sentence(decision.function.why)


def longest_run(case: Case, tables: Tables | None) -> tuple[int | None, str]:
    """The longest last run in whole metres with which a circuit complies and works, and what sets it.

    None where not even a metre does. Whatever a cable adds grows with its length, so that halving finds it.
    """
    tried: dict[int, Decision] = {}

    def at(metres: int) -> Decision:
        if metres not in tried:
            tried[metres] = decide(with_run(case, metres), tables)
        return tried[metres]

    def good(metres: int) -> bool:
        found = at(metres)
        works = found.function.verdict in (Verdict.PASS, Verdict.NOT_APPLICABLE)
        return found.verdict is CircuitVerdict.COMPLIES and works

    if not case.cables or not good(1):
        return None, ""
    if good(LONGEST_M):
        return LONGEST_M, "none"
    longest = halved(1, LONGEST_M, good)
    beyond = at(longest + 1) if good(longest) else at(longest)
    if beyond.verdict is CircuitVerdict.COMPLIES:
        return longest, "function"
    return longest, reason_of(beyond)[0]
