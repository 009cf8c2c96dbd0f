"""An obsolete type: all loops that use it times all candidates, which single type serves most, and drafts in bulk.

The matrix is long work and kept as plain data: what was found on that day. A draft is judged anew when it is made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import islice
from typing import Any

from django.db.models import Count
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from loops.engine.findings import CircuitVerdict, Verdict
from loops.models import Loop, Member
from loops.selectors import visible_loops
from loops.services.suitability.answers import ORDER, Word, answer, word_of_outcome
from loops.services.suitability.drafts import Made, draft_all, tell_of_drafts
from loops.services.suitability.matrix import NO_MARGIN, judge_all
from loops.services.suitability.positions import (
    Candidate,
    Plant,
    Position,
    fits,
    in_use,
    parts_of,
    register_items,
)
from loops.services.suitability.proposals import reason_of
from loops.services.suitability.purpose import differences, purpose_of, same_use, unknown_use
from loops.services.suitability.ranking import doubt_of, family_of, kinds_for, share, standing_outcome, word_at
from loops.services.suitability.spots import Part, Spot, outcome_of
from loops.services.whatif import loops_of
from registry import access
from registry.models import Equipment, User, Work
from registry.services.records import Author
from registry.services.works import Outcome, Progress, WorkRefused

SUBSTITUTION, DRAFTS = "substitution", "substitution_drafts"
"""The kinds of long work."""
LETTERS = {Word.SUITS: "s", Word.CANNOT_SAY: "c", Word.DOES_NOT: "d"}
WORDS = {letter: word for word, letter in LETTERS.items()}
MOST_WAYS = 4
"""So many ways to connect one item are tried."""
MOST_CANDIDATES = 200
MOST_REASONS = 200
"""So many loops that the best candidate does not serve are told with the reason."""
PROCESSES = 2
WORTH_PROCESSES = 20_000
"""From so many pairs on, a second process is begun."""


@dataclass
class Column:
    """One candidate over all loops: its word in each, its margin where it suits, and how it is connected there."""

    candidate: Candidate
    family: int
    doubt: str
    words: list[Word] = field(default_factory=list)
    margins: list[int] = field(default_factory=list)
    ways: list[tuple[int, ...]] = field(default_factory=list)

    @property
    def serves(self) -> int:
        return self.words.count(Word.SUITS)

    @property
    def order(self) -> tuple[Any, ...]:
        """The candidate that serves most first; of equal ones by those it may serve, margin, kinship, name."""
        margins = [margin for margin, word in zip(self.margins, self.words, strict=True) if word is Word.SUITS]
        least = min((margin for margin in margins if margin != NO_MARGIN), default=NO_MARGIN)
        return (-self.serves, -self.words.count(Word.CANNOT_SAY), bool(self.doubt), -least, -self.family)


def used_types(user: User, text: str = "", most: int = 50) -> list[dict[str, Any]]:
    """The types that loops of the person's sites use, most used first."""
    loops = visible_loops(user).filter(archived_at=None)
    rows = Member.objects.filter(circuit__loop__in=loops).order_by()
    for word in text.split()[:6]:
        rows = rows.filter(terminals__equipment__type_name__icontains=word) | rows.filter(
            terminals__equipment__maker__icontains=word
        )
    counted = rows.values_list("terminals__equipment").annotate(number=Count("circuit__loop", distinct=True))
    counts = dict(counted.order_by("-number")[:most])
    items = Equipment.objects.in_bulk(list(counts))
    return [{"item": items[key], "count": number} for key, number in counts.items()]


def loops_with(user: User, key: int) -> Any:
    """The loops of the person's sites that use an item, in use."""
    return loops_of("equipment", [key]).filter(site_id__in=access.sites_of(user)).order_by("site__code", "tag")


# --------------------------------------------------------------------------------------------------------- the matrix


def run_substitution(work: Work, progress: Progress) -> Outcome:
    """Judge all loops that use a type with every candidate; what is asked: {"equipment": key}."""
    key = int(work.asked["equipment"])
    access.require(work.person, "loop.view")
    plant = Plant.of(loops_with(work.person, key))
    positions = [position for loop in plant.loops for position in plant.positions(loop) if position.standing.key == key]
    if not positions:
        raise WorkRefused(_("No loop of your sites uses this type: choose another one."))
    if not purpose_of(positions[0].standing.item["function"]).uses:
        raise WorkRefused(_("Cannot say: %s") % unknown_use([positions[0].standing.name]))
    columns, now = judge_columns(plant, positions, key, progress)
    columns.sort(key=lambda column: column.order)
    result = as_data(plant, positions, columns[:MOST_CANDIDATES], now)
    kinds = {kind for position in positions for kind in kinds_for(position)}
    result["unsaid"] = in_use(sorted(kinds)).filter(function="").exclude(pk=key).count()
    result["lines"] = [{"text": _("The loops and the candidates"), "url": reverse("substitution", args=[work.pk or 0])}]
    best = columns[0] if columns else None
    words = ngettext("%(count)d loop, no candidate.", "%(count)d loops, no candidate.", len(positions))
    if best:
        words = _("%(name)s serves %(serves)d of %(count)d places.")
    return Outcome(
        words
        % {"count": len(positions), "name": best.candidate.name if best else "", "serves": best.serves if best else 0},
        result,
    )


def judge_columns(
    plant: Plant, positions: Sequence[Position], key: int, progress: Progress | None
) -> tuple[list[Column], dict[int, Word]]:
    """Every candidate of the same use over all positions, and the word of the present item in each."""
    standing = positions[0].standing
    kinds = {kind for position in positions for kind in kinds_for(position)}
    items = [whole(other, item, plant) for other, item in register_items(in_use(sorted(kinds)), plant.contents).items()]
    columns = {
        one.key: Column(one, family_of(standing, one), "")
        for one in items
        if one.key != key and same_use(standing, one)
    }
    found: dict[tuple[int, int], tuple[Word, int, tuple[int, ...]]] = {}
    now: dict[int, Word] = {}
    spots = [plant.spot(position) for position in positions]
    groups: dict[Any, list[int]] = {}
    for number, position in enumerate(positions):
        if spots[number] is not None:
            names = tuple(row["name"] for row in position.standing.sets)
            groups.setdefault((plant.shape(position), names, position.loop.site_id), []).append(number)
    if progress:
        progress.begin(len(positions))
    for (shape, _names, site), numbers in groups.items():
        first = positions[numbers[0]]
        pool: list[tuple[Candidate, tuple[Part, ...], bool]] = []
        for column in columns.values():
            for way in islice(fits(first, column.candidate.item), MOST_WAYS):
                candidate = replace(column.candidate, terminals=way)
                parts = parts_of(candidate, shape)
                if parts is not None:
                    column.doubt = column.doubt or doubt_of(candidate, first)
                    pool.append((candidate, parts, bool(differences(first.standing, candidate))))
        judge_group([spots[number] for number in numbers], numbers, pool, plant.tables[site], found, now, progress)  # type: ignore[misc]
    for other, column in columns.items():
        for number in range(len(positions)):
            word, margin, way = found.get((number, other), (Word.DOES_NOT, NO_MARGIN, ()))
            if spots[number] is None:
                word = Word.CANNOT_SAY
            column.words.append(word)
            column.margins.append(margin)
            column.ways.append(way)
    return list(columns.values()), now


def whole(key: int, item: Mapping[str, Any], plant: Plant) -> Candidate:
    """An item with all of its sets of terminals, for what concerns it as a whole."""
    return plant.candidate(key, [row["id"] for row in item["terminals"]])


def judge_group(
    spots: list[Spot],
    numbers: Sequence[int],
    pool: Sequence[tuple[Candidate, tuple[Part, ...], bool]],
    tables: Any,
    found: dict[tuple[int, int], tuple[Word, int, tuple[int, ...]]],
    now: dict[int, Word],
    progress: Progress | None,
) -> None:
    """Judge positions that take the same kinds of parts; the best way to connect each item is kept in `found`,
    the word of the present item in `now`."""
    if not pool:
        return
    outcomes = [standing_outcome(spot, tables) for spot in spots]
    before = [outcome.function for outcome in outcomes]
    for number, outcome in zip(numbers, outcomes, strict=True):
        now[number] = word_of_outcome(outcome, outcome.function, differs=False)
    done = 0

    def told(judged: int, of: int) -> None:
        nonlocal done
        if progress:
            progress.step(judged - done)
        done = judged

    pairs = len(spots) * len(pool)
    processes = PROCESSES if pairs >= WORTH_PROCESSES else 1
    matrix = judge_all(spots, [parts for _, parts, _ in pool], tables, processes=processes, told=told)
    for place, number in enumerate(numbers):
        for column, (candidate, _parts, differs) in enumerate(pool):
            at = (place, column)
            word, _verdict, _function = word_at(matrix, at, before[place], differs=differs)
            new = (word, int(matrix.margins[at]), candidate.terminals)
            old = found.get((number, candidate.key))
            if old is None or better(new, old):
                found[number, candidate.key] = new


def better(new: tuple[Word, int, Any], old: tuple[Word, int, Any]) -> bool:
    """Whether one way to connect an item is better than another: by its word, then by its margin."""
    return (ORDER.index(new[0]), -new[1]) < (ORDER.index(old[0]), -old[1])


def as_data(
    plant: Plant, positions: Sequence[Position], columns: Sequence[Column], now: Mapping[int, Word]
) -> dict[str, Any]:
    """The matrix as plain data: rows of letters, one for each candidate, the reasons for what the best leaves over."""
    rows = []
    best = columns[0] if columns else None
    told = 0
    for number, position in enumerate(positions):
        loop = position.loop
        row = {
            "loop": loop.pk,
            "version": loop.version,
            "site": loop.site.code,
            "tag": loop.tag,
            "item": position.tag,
            "member": position.member,
            "state": loop.state,
            "now": LETTERS[now.get(number, Word.CANNOT_SAY)],
            "words": "".join(LETTERS[column.words[number]] for column in columns),
            "margins": [column.margins[number] if column.words[number] is Word.SUITS else None for column in columns],
            "ways": ["-".join(map(str, column.ways[number])) for column in columns],
        }
        if best and best.words[number] is not Word.SUITS and told < MOST_REASONS:
            row["why"] = why_not(plant, position, best, number)
            told += 1
        rows.append(row)
    standing = positions[0].standing
    return {
        "equipment": standing.key,
        "name": standing.name,
        "function": standing.item["function"],
        "on": timezone.now().isoformat(timespec="minutes"),
        "candidates": [
            {
                "key": column.candidate.key,
                "name": column.candidate.name,
                "description": column.candidate.item["description"],
                "serves": column.serves,
                "unsure": column.words.count(Word.CANNOT_SAY),
                "family": column.family,
                "doubt": column.doubt,
            }
            for column in columns
        ],
        "rows": rows,
    }


def why_not(plant: Plant, position: Position, column: Column, number: int) -> str:
    """Why a candidate does not suit in a position, in a sentence."""
    way = column.ways[number]
    if not way:
        return _("It has no terminals for this place.")
    candidate = replace(column.candidate, terminals=way)
    parts, spot = parts_of(candidate, plant.shape(position)), plant.spot(position)
    if parts is None or spot is None:
        return _("The loop cannot be judged: a value is missing.")
    outcome = outcome_of(spot, parts, plant.tables[position.loop.site_id])
    fine = outcome.verdict is CircuitVerdict.COMPLIES and outcome.function in (Verdict.PASS, Verdict.NOT_APPLICABLE)
    if fine:
        return " ".join(differences(position.standing, candidate)) or _("What it needs to work is not known.")
    if spot.rest is not CircuitVerdict.COMPLIES and spot.rest is outcome.verdict:
        return _("Another circuit of the loop stands in the way, with the present item too.")
    for decision in outcome.decisions:
        if decision.verdict is not CircuitVerdict.COMPLIES or decision.function.verdict is outcome.function:
            return reason_of(decision)[1]
    return ""


def margin_of(steps: int | None) -> Decimal | None:
    """A stored margin."""
    return None if steps is None else share(steps)


# --------------------------------------------------------------------------------------------------------- the drafts


def run_drafts(work: Work, progress: Progress) -> Outcome:
    """Make drafts of loops with one candidate; what is asked: the key of the matrix ("work"), of the candidate, the
    loops, which of their places where not all of them, and the reason. Each loop is judged anew; one in which it does
    not suit any more is left alone."""
    asked = work.asked
    matrix = Work.objects.filter(pk=asked["work"], person=work.person, kind=SUBSTITUTION).first()
    if matrix is None:
        raise WorkRefused(_("The matrix is no longer there: make it again."))
    keys = [row["key"] for row in matrix.result["candidates"]]
    if asked["candidate"] not in keys:
        raise WorkRefused(_("This candidate is not in the matrix: make it again."))
    column = keys.index(asked["candidate"])
    wanted, places = set(asked["loops"]), {tuple(place) for place in asked.get("places", ())}
    rows = [
        row
        for row in matrix.result["rows"]
        if row["loop"] in wanted
        and row["words"][column] == "s"
        and (not places or {(row["loop"], 0), (row["loop"], row["member"])} & places)
    ]
    author = Author(work.person, reason=asked["reason"])
    progress.begin(len(rows))
    made: list[Made] = []
    versions: dict[int, int] = {}
    for row in rows:
        # In a loop with several such places, the draft of the first is where the next is put in.
        now = row | {"version": versions.get(row["loop"], row["version"])}
        made += draft_row(now, asked["candidate"], row["ways"][column], author)
        versions |= {item.loop.pk: item.loop.version for item in made[-1:] if not item.refusal}
        progress.step()
    made = list({(item.loop.pk, item.refusal): item for item in made}.values())
    tell_of_drafts(made, author)
    done = sum(not item.refusal for item in made)
    words = ngettext("%(count)d draft was made", "%(count)d drafts were made", done) % {"count": done}
    left = len(made) - done
    tail = ngettext("; %(count)d loop was left alone.", "; %(count)d loops were left alone.", left) % {"count": left}
    lines = [
        {
            "text": f"{item.loop}: {item.refusal or _('draft made, still to be approved')}",
            "url": reverse("loop", args=[item.loop.pk]),
        }
        for item in made
    ]
    return Outcome(words + (tail if left else "."), {"lines": lines})


def draft_row(row: Mapping[str, Any], key: int, way: str, author: Author) -> list[Made]:
    """The draft of one loop of a matrix, judged anew first."""
    plant = Plant.of(visible_loops(author.user).filter(pk=row["loop"]))
    if not plant.loops:
        return []
    loop: Loop = plant.loops[0]
    if loop.version != row["version"]:
        return [Made(loop, _("It was changed since the matrix was made."))]
    position = next((item for item in plant.positions(loop) if item.member == row["member"]), None)
    item = register_items(Equipment.objects.filter(pk=key, archived_at=None), plant.contents).get(key)
    if position is None or item is None:
        return [Made(loop, _("The item is no longer there."))]
    keys = tuple(int(part) for part in way.split("-"))
    if keys not in set(fits(position, item)):
        return [Made(loop, _("The terminals of the candidate have changed."))]
    candidate = plant.candidate(key, keys)
    found = answer(plant, position, candidate)
    if found.word is not Word.SUITS:
        return [Made(loop, found.why[0] if found.why else _("It does not suit any more."))]
    return draft_all([(position, candidate)], author)
