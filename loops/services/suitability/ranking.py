"""Candidates for a position, the best first, and what would make the others suit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from loops.engine.case import Case, Group
from loops.engine.findings import CircuitVerdict, Verdict
from loops.engine.groups import least_severe, zone_group
from loops.engine.tables import Tables
from loops.models import Member
from loops.services.suitability.answers import ORDER, Word, papers_of, word_of, word_of_outcome
from loops.services.suitability.matrix import NO_MARGIN, NOT_JUDGED, STEP, Matrix, judge_all
from loops.services.suitability.positions import (
    Candidate,
    Plant,
    Position,
    fits,
    in_use,
    parts_of,
    register_items,
)
from loops.services.suitability.purpose import differences
from loops.services.suitability.screen import Code
from loops.services.suitability.spots import FUNCTION_ORDER, Outcome, Part, Spot, halved, outcome_of, with_run
from loops.services.suitability.spots import ORDER as VERDICTS
from loops.services.verification import today_at
from registry.certificate_numbers import suffix_of
from registry.models import CertificateStatus, EquipmentKind

KINDS = {
    Member.Role.SOURCE: (EquipmentKind.SOURCE,),
    Member.Role.DEVICE: (EquipmentKind.FIELD_DEVICE, EquipmentKind.SIMPLE_APPARATUS),
    Member.Role.INLINE: (EquipmentKind.INLINE, EquipmentKind.SIMPLE_APPARATUS),
}
MOST_NEAR = 12
"""So many candidates are looked at for the one thing that would make them suit."""


@dataclass(frozen=True)
class Ranked:
    """A candidate with its word: exact, or for one that the screen rejected what it failed."""

    candidate: Candidate
    word: Word
    unlike: tuple[str, ...]
    verdict: CircuitVerdict
    function: Verdict | None
    margin: Decimal | None
    headroom: Decimal | None
    rejected: Code
    family: int
    """2 for the maker and type family of the present item, 1 for its maker, else 0."""
    conditions: int
    parts: tuple[Part, ...] = ()
    doubt: str = ""
    """What is to be confirmed of its certificates before it is bought."""
    cure: str = ""
    """The one thing that would make it suit."""

    @property
    def order(self) -> tuple[Any, ...]:
        """The better candidate first: word, no doubt about its certificate, margin, headroom, family, fewest
        certificates with conditions of use, name."""
        return (
            ORDER.index(self.word),
            len(self.unlike) > 0,
            bool(self.doubt),
            self.margin is None,
            -(self.margin or 0),
            -(self.headroom or 0),
            -self.family,
            self.conditions,
            self.candidate.name.casefold(),
            self.candidate.terminals_name,
        )


def kinds_for(position: Position) -> tuple[str, ...]:
    """The kinds of items that may stand in a position. What is a source on one circuit and a device on another is a
    field device."""
    roles = {place.role for place in position.places}
    if roles == {Member.Role.SOURCE} and position.standing.item["kind"] != EquipmentKind.SOURCE:
        return (EquipmentKind.FIELD_DEVICE,)
    role = next((role for role in (Member.Role.DEVICE, Member.Role.INLINE) if role in roles), Member.Role.SOURCE)
    return tuple(kind.value for kind in KINDS[Member.Role(role)])


def candidates_for(plant: Plant, position: Position) -> list[Candidate]:
    """Every way to put an item of the register in a position, but for how it is connected now."""
    items = register_items(in_use(kinds_for(position)), plant.contents)
    standing = (position.standing.key, position.standing.terminals)
    return [
        plant.candidate(key, way)
        for key, item in items.items()
        for way in fits(position, item)
        if (key, way) != standing
    ]


def ranked(plant: Plant, position: Position, candidates: Sequence[Candidate]) -> list[Ranked]:
    """All candidates for a position with their words, the best first. Exact for those of the same purpose that the
    screen lets through; the others are told by what the screen found, or by their purpose."""
    spot = plant.spot(position)
    shape = plant.shape(position)
    readable = [(candidate, parts_of(candidate, shape)) for candidate in candidates]
    rows = [(candidate, parts) for candidate, parts in readable if parts is not None]
    found = [unread(position, candidate) for candidate, parts in readable if parts is None or spot is None]
    if spot is None:
        return sorted(found, key=lambda item: item.order)
    unlike = [tuple(differences(position.standing, candidate)) for candidate, _ in rows]
    tables = plant.tables[position.loop.site_id]
    matrix = judge_all([spot], [parts for _, parts in rows], tables)
    before = standing_outcome(spot, tables).function
    for number, (candidate, parts) in enumerate(rows):
        found.append(from_matrix(matrix, (0, number), position, candidate, unlike[number], before, parts))
    return sorted(found, key=lambda item: item.order)


def standing_outcome(spot: Spot, tables: Tables | None) -> Outcome:
    """The loop as it is now."""
    standing = [
        (spot.cases[slot.circuit].sources if slot.is_source else spot.cases[slot.circuit].devices)[slot.row]
        for slot in spot.slots
    ]
    return outcome_of(spot, standing, tables)


def from_matrix(
    matrix: Matrix,
    at: tuple[int, int],
    position: Position,
    candidate: Candidate,
    unlike: tuple[str, ...],
    before: Verdict,
    parts: tuple[Part, ...],
) -> Ranked:
    """One pair of a matrix in words."""
    word, verdict, function = word_at(matrix, at, before, differs=bool(unlike))
    return Ranked(
        candidate,
        word,
        unlike,
        verdict,
        function,
        share(int(matrix.margins[at])),
        share(int(matrix.rooms[at])),
        Code(matrix.codes[at]),
        family_of(position.standing, candidate),
        sum(suffix_of(paper["number"]) == "X" for paper in papers_of(candidate)),
        parts,
        doubt_of(candidate, position),
    )


def word_at(
    matrix: Matrix, at: tuple[int, int], before: Verdict, *, differs: bool
) -> tuple[Word, CircuitVerdict, Verdict | None]:
    """The word of one pair of a matrix, its verdict and its function: None where the screen rejected it."""
    if matrix.codes[at] != Code.LOOK:
        return Word.DOES_NOT, CircuitVerdict.DOES_NOT_COMPLY, None
    assert matrix.verdicts[at] != NOT_JUDGED
    verdict, function = VERDICTS[matrix.verdicts[at]], FUNCTION_ORDER[matrix.functions[at]]
    return word_of(verdict, function, before, differs=differs), verdict, function


def unread(position: Position, candidate: Candidate) -> Ranked:
    """A candidate that cannot be judged in a position at all."""
    unlike = tuple(differences(position.standing, candidate))
    family = family_of(position.standing, candidate)
    return Ranked(candidate, Word.CANNOT_SAY, unlike, CircuitVerdict.INCOMPLETE, None, None, None, Code.LOOK, family, 0)


def share(steps: int) -> Decimal | None:
    """A share from the steps of a matrix."""
    return None if steps == NO_MARGIN else steps * STEP


def doubt_of(candidate: Candidate, position: Position) -> str:
    """What is to be confirmed of a candidate's certificates before it is bought: one that ended or was superseded."""
    today = today_at(position.loop.site).isoformat()
    for paper in papers_of(candidate):
        if paper["valid_to"] and paper["valid_to"] < today:
            return _("certificate ended on %s for new supply") % paper["valid_to"]
        if paper["status"] != CertificateStatus.CURRENT:
            return _("certificate %s") % CertificateStatus(paper["status"]).label.lower()
    return ""


def family_of(standing: Candidate, candidate: Candidate) -> int:
    """Kinship with the present item: by maker, and by the letters that its type begins with.

    Types of one family begin alike by common practice (QP-300, QP-310-D).
    """
    if standing.item["maker"].casefold() != candidate.item["maker"].casefold():
        return 0
    return 2 if family(standing.item["type_name"]) == family(candidate.item["type_name"]) else 1


def family(type_name: str) -> str:
    """The letters that a type begins with.

    >>> family("QP-310-D"), family("300 X")
    ('qp', '300')
    """
    letters = type_name.casefold()
    head = ""
    for letter in letters:
        if not letter.isalpha():
            break
        head += letter
    return head or letters.split()[0]


# -------------------------------------------------------------------------------------------------- what would make it


def with_cures(
    plant: Plant, position: Position, found: Sequence[Ranked], others: Callable[[], Sequence[Part]] | None = None
) -> list[Ranked]:
    """The first candidates that do not suit, each with the one thing that would make it suit where there is one.

    Only candidates of the same purpose are looked at: a shorter last run, a less severe group, and for devices another
    source out of `others`.
    """
    spot = plant.spot(position)
    near = [item for item in found if item.word is not Word.SUITS and not item.unlike and item.parts][:MOST_NEAR]
    if spot is None:
        return []
    tables = plant.tables[position.loop.site_id]
    before = standing_outcome(spot, tables).function
    sources = others() if others and near else ()
    return [replace(item, cure=cure_of(spot, item, before, tables, sources)) for item in near]


def cure_of(
    spot: Spot, item: Ranked, before: Verdict, tables: Tables | None, sources: Sequence[Part]
) -> str:  # fmt: skip
    """The one thing that would make a candidate suit, in words; empty where none of those looked at would."""

    def suits(changed: Spot) -> bool:
        return word_of_outcome(outcome_of(changed, item.parts, tables), before, differs=False) is Word.SUITS

    for number, case in enumerate(spot.cases):
        if (metres := longest_that(spot, number, suits)) is not None:
            assert case.cables
            return _("It suits with cable %(cable)s of at most %(metres)d m.") % {
                "cable": case.cables[-1].name,
                "metres": metres,
            }
    for group in (Group.IIB, Group.IIA):
        if less_severe(spot, group) and suits(in_group(spot, group)):
            return _("It suits where the area is of group %s.") % group.value
    for source in sources:
        if (changed := with_source(spot, source)) and suits(changed):
            return _("It suits with another source: %s.") % source.name
    return ""


def longest_that(spot: Spot, number: int, suits: Callable[[Spot], bool]) -> int | None:
    """The longest last run of a circuit, in whole metres below what it has, with which a spot suits; None where no
    length does.

    A longer cable only ever takes more: capacitance, inductance, resistance and fieldbus lengths all grow with it.
    """
    case = spot.cases[number]
    if not case.cables or not isinstance(case.cables[-1].length_m, Decimal):
        return None

    def good(metres: int) -> bool:
        return suits(with_case(spot, number, with_run(case, metres)))

    whole = int(case.cables[-1].length_m)
    if whole < 1 or not good(1) or suits(spot):
        return None
    return halved(1, whole, good)


def less_severe(spot: Spot, group: Group) -> bool:
    """Whether a group of gas is less severe than that of every circuit of a spot."""
    own = [case.area.group for case in spot.cases]
    return all(
        item is not None and zone_group(item) is not group and least_severe([zone_group(item), group]) is group
        for item in own
    )


def in_group(spot: Spot, group: Group) -> Spot:
    """A spot in an area of another group."""
    return replace(spot, cases=tuple(replace(case, area=replace(case.area, group=group)) for case in spot.cases))


def with_source(spot: Spot, source: Any) -> Spot | None:
    """A spot fed by another source; None where the item itself feeds, or several sources do."""
    if any(slot.is_source for slot in spot.slots) or len(spot.cases) != 1 or len(spot.cases[0].sources) != 1:
        return None
    return with_case(spot, 0, replace(spot.cases[0], sources=(source,)))


def with_case(spot: Spot, number: int, case: Case) -> Spot:
    """A spot with one of its circuits changed."""
    return replace(spot, cases=(*spot.cases[:number], case, *spot.cases[number + 1 :]))


def best_of_each(found: Iterable[Ranked]) -> list[tuple[Ranked, int]]:
    """The best way to connect each item, and how many further ways there are; in the order given."""
    firsts: dict[int, Ranked] = {}
    counts: dict[int, int] = {}
    for item in found:
        firsts.setdefault(item.candidate.key, item)
        counts[item.candidate.key] = counts.get(item.candidate.key, -1) + 1
    return [(item, counts[key]) for key, item in firsts.items()]
