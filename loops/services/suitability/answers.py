"""The answer in one word, and everything that it rests on: the loop as it is beside the loop with the candidate."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.utils.translation import gettext as _

from loops.engine.findings import CircuitVerdict, Verdict
from loops.models import LoopVerdict
from loops.services.suitability.positions import Candidate, Plant, Position
from loops.services.suitability.purpose import differences, notes
from loops.services.suitability.spots import FUNCTION_ORDER, Outcome
from loops.services.verification import judge_by, summary
from registry.conditions import numbered_conditions


class Word(StrEnum):
    """The answer."""

    SUITS = "suits"
    DOES_NOT = "does_not_suit"
    CANNOT_SAY = "cannot_say"


ORDER = (Word.SUITS, Word.CANNOT_SAY, Word.DOES_NOT)


@dataclass(frozen=True)
class Row:
    """One check before and after; a side is None where there is no such check."""

    circuit: str
    check: Mapping[str, Any]
    """The check after, or where it is gone, before."""
    old: Mapping[str, Any] | None
    new: Mapping[str, Any] | None

    @property
    def changed(self) -> bool:
        """Whether anything of it differs."""
        if self.old is None or self.new is None:
            return True
        return any(self.old[name] != self.new[name] for name in ("verdict", "value", "limit", "margin", "why"))


@dataclass(frozen=True)
class Answer:
    """Whether a candidate suits in a position, and why.

    `before` and `after` are heads as loops.services.verification.summary; `why` begins with the limiting reason;
    `differences` are those of purpose, of which each makes that nobody can say; `conditions` are the specific
    conditions of use of the candidate's certificates, with the number of the certificate and their own.
    """

    position: Position
    candidate: Candidate
    word: Word
    why: list[str]
    before: Mapping[str, Any]
    after: Mapping[str, Any]
    rows: list[Row]
    functions: list[dict[str, Any]]
    differences: list[str]
    notes: list[str]
    conditions: list[tuple[str, int, str]]
    confirmations: list[str]
    certificates: list[dict[str, Any]]
    inputs: list[dict[str, Any]]
    results: list[dict[str, Any]]


def function_word(after: Verdict, before: Verdict) -> Word:
    """What the function verdict says of suitability.

    Where no device states what it needs, nothing was judged: that suits only where nothing was judged before either,
    and a person confirms that it works.
    """
    if after is Verdict.FAIL:
        return Word.DOES_NOT
    if after is Verdict.INCOMPLETE or (after is Verdict.NOT_APPLICABLE and before is not Verdict.NOT_APPLICABLE):
        return Word.CANNOT_SAY
    return Word.SUITS


def word_of(verdict: CircuitVerdict, function: Verdict, before: Verdict, *, differs: bool) -> Word:
    """The word from the verdict of the whole loop, its function after and before, and whether the purpose differs.

    Unknown never suits: what is incomplete or beyond simple rules cannot be said.
    """
    if verdict is CircuitVerdict.DOES_NOT_COMPLY:
        return Word.DOES_NOT
    works = function_word(function, before)
    if works is Word.DOES_NOT or verdict is CircuitVerdict.COMPLIES:
        return Word.CANNOT_SAY if differs and works is Word.SUITS else works
    return Word.CANNOT_SAY


def word_of_outcome(outcome: Outcome, before: Verdict, *, differs: bool) -> Word:
    """The word of an exact outcome."""
    return word_of(outcome.verdict, outcome.function, before, differs=differs)


def answer(plant: Plant, position: Position, candidate: Candidate) -> Answer:
    """Judge a loop with a candidate in a position as saving it would, and compare it with the loop as it is now."""
    tables = plant.tables[position.loop.site_id]
    old_inputs, inputs = plant.documents(position), plant.documents(position, candidate)
    old_results, results = judge_by(old_inputs, tables), judge_by(inputs, tables)
    before, after = summary(old_results), summary(results)
    unlike = differences(position.standing, candidate)
    functions = functions_of(old_results, results, inputs)
    works, worked = overall(results), overall(old_results)
    word = word_of(CircuitVerdict(str(after["verdict"].value)), works, worked, differs=bool(unlike))
    return Answer(
        position,
        candidate,
        word,
        reasons(word, before, after, works, worked, functions, unlike),
        before,
        after,
        list(compared(old_results, results, inputs)),
        functions,
        unlike,
        notes(position.standing, candidate),
        conditions_of(candidate),
        new_confirmations(old_results, results),
        certificates_of(position, candidate),
        inputs,
        results,
    )


def overall(results: Sequence[Mapping[str, Any]]) -> Verdict:
    """The function verdict of a loop; a circuit that could not be read leaves it open."""
    found = [Verdict(row["function"]["verdict"]) if row.get("function") else Verdict.INCOMPLETE for row in results]
    return min(found, key=FUNCTION_ORDER.index, default=Verdict.INCOMPLETE)


def reasons(
    word: Word,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    works: Verdict,
    worked: Verdict,
    functions: Sequence[Mapping[str, Any]],
    unlike: Sequence[str],
) -> list[str]:
    """The reasons for a word, the limiting one first."""
    found = []
    verdict = after["verdict"]
    if verdict != LoopVerdict.COMPLIES:
        found.append(after["limiting"])
        if after["limiting"] == before["limiting"] and before["verdict"] == verdict:
            found.append(_("This holds with the present item too: it is not the candidate that brings it."))
    if works is Verdict.FAIL or (works is Verdict.INCOMPLETE and word is not Word.DOES_NOT):
        found.extend(row["new"]["why"] for row in functions if row["new"] and row["new"]["verdict"] == works.value)
    elif works is Verdict.NOT_APPLICABLE and worked is not Verdict.NOT_APPLICABLE:
        found.append(_("Whether it will work was judged with the present item and cannot be judged with this one."))
    found.extend(unlike)
    if word is Word.SUITS:
        found.append(after["limiting"])
        if works is Verdict.NOT_APPLICABLE:
            found.append(_("Whether it will work is not judged, now or before: nobody entered what the devices need."))
    return [text for text in dict.fromkeys(found) if text]


def compared(
    old_results: Sequence[Mapping[str, Any]], results: Sequence[Mapping[str, Any]], inputs: Sequence[Mapping[str, Any]]
) -> Iterator[Row]:
    """Every check of the loop before and after, circuit by circuit."""
    for old, new, document in zip(old_results, results, inputs, strict=True):
        name = str(document["case"]).rpartition(" / ")[2]
        before = keyed(old["checks"])
        after = keyed(new["checks"])
        for key, check in after.items():
            yield Row(name, check, before.get(key), check)
        for key, check in before.items():
            if key not in after:
                yield Row(name, check, check, None)


def keyed(checks: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str, int], Mapping[str, Any]]:
    """Checks by their word and subject; the number tells apart those of which a subject has several."""
    found: dict[tuple[str, str, int], Mapping[str, Any]] = {}
    for check in checks:
        number = sum(key[:2] == (check["id"], check["subject"]) for key in found)
        found[check["id"], check["subject"], number] = check
    return found


def functions_of(
    old_results: Sequence[Mapping[str, Any]], results: Sequence[Mapping[str, Any]], inputs: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """The function verdict of each circuit before and after."""
    return [
        {
            "circuit": str(document["case"]).rpartition(" / ")[2],
            "old": old.get("function"),
            "new": new.get("function"),
        }
        for old, new, document in zip(old_results, results, inputs, strict=True)
    ]


def conditions_of(candidate: Candidate) -> list[tuple[str, int, str]]:
    """The specific conditions of use that the candidate's certificates name: number of the certificate, and each."""
    found = []
    for paper in papers_of(candidate):
        rows = numbered_conditions(paper["specific_conditions"])
        found += [(str(paper["number"]), number, text) for number, text in rows]
    return found


def papers_of(candidate: Candidate) -> list[Mapping[str, Any]]:
    """The certificates of the chosen sets of terminals, each once."""
    papers = [candidate.certificate(row) for row in candidate.sets]
    return list({paper["id"]: paper for paper in papers if paper}.values())


def new_confirmations(old_results: Sequence[Mapping[str, Any]], results: Sequence[Mapping[str, Any]]) -> list[str]:
    """What a person must confirm with the candidate and need not have confirmed without it."""
    known = {text for result in old_results for text in result["confirmations"]}
    return [
        text for text in dict.fromkeys(text for result in results for text in result["confirmations"])
        if text not in known
    ]  # fmt: skip


def certificates_of(position: Position, candidate: Candidate) -> list[dict[str, Any]]:
    """The certificates of the candidate, and whether the site accepts the scheme of each."""
    accepted = {name.casefold() for name in position.loop.site.accepted_schemes}
    return [{"paper": paper, "accepted": paper["scheme"].casefold() in accepted} for paper in papers_of(candidate)]
