"""Answers as plain data, for programs: what the pages show, under fixed names."""

from __future__ import annotations

from typing import Any

from loops.services.suitability.answers import Answer, Row
from loops.services.suitability.papers import documents_to_change
from loops.services.suitability.positions import Candidate, Position
from loops.services.suitability.proposals import Offer, Offers
from loops.services.suitability.ranking import Ranked


def way_of(candidate: Candidate) -> str:
    """The sets of terminals of a candidate in an address."""
    return "-".join(str(key) for key in candidate.terminals)


def number(value: Any) -> str | None:
    """A share as text, so that no digit is lost."""
    return None if value is None else f"{value:f}"


def position_data(position: Position) -> dict[str, Any]:
    """An item of a loop."""
    return {
        "member": position.member,
        "tag": position.tag,
        "roles": list(dict.fromkeys(place.role for place in position.places)),
        "equipment": position.standing.key,
        "name": position.standing.name,
        "terminals": position.standing.terminals_name,
        "function": position.standing.item["function"],
    }


def ranked_data(item: Ranked) -> dict[str, Any]:
    """A candidate in a list."""
    return {
        "word": item.word.value,
        "equipment": item.candidate.key,
        "name": item.candidate.name,
        "terminals": item.candidate.terminals_name,
        "way": way_of(item.candidate),
        "least_margin": number(item.margin),
        "function_headroom": number(item.headroom),
        "conditions_of_use": item.conditions,
        "certificate_in_doubt": item.doubt,
        "differences": list(item.unlike),
        "would_suit": item.cure,
    }


def answer_data(found: Answer) -> dict[str, Any]:
    """One answer in full."""
    return {
        "word": found.word.value,
        "why": found.why,
        "position": position_data(found.position),
        "candidate": {
            "equipment": found.candidate.key or None,
            "name": found.candidate.name,
            "terminals": found.candidate.terminals_name,
            "way": way_of(found.candidate) if found.candidate.key else None,
        },
        "before": head_data(found.before),
        "after": head_data(found.after),
        "checks": [row_data(row) for row in found.rows],
        "functions": found.functions,
        "differences": found.differences,
        "notes": found.notes,
        "conditions_of_use": [
            {"certificate": paper, "number": position, "text": text} for paper, position, text in found.conditions
        ],
        "confirmations": found.confirmations,
        "certificates": [
            {
                "number": row["paper"]["number"],
                "issue": row["paper"]["issue"],
                "scheme": row["paper"]["scheme"],
                "accepted": row["accepted"],
            }
            for row in found.certificates
        ],
        "documents": documents_to_change(found.position, found.candidate),
    }


def head_data(head: Any) -> dict[str, Any]:
    """The head of a verdict."""
    return {
        "verdict": str(head["verdict"].value),
        "function_verdict": head["function_verdict"],
        "limiting": head["limiting"],
        "least_margin": number(head["least_margin"]),
    }


CHECK_KEYS = ("verdict", "value", "limit", "relation", "margin", "why", "reference")


def row_data(row: Row) -> dict[str, Any]:
    """A check before and after."""

    def side(check: Any) -> dict[str, Any] | None:
        return None if check is None else {key: check[key] for key in CHECK_KEYS}

    named = {"circuit": row.circuit, "id": row.check["id"], "subject": row.check["subject"]}
    return named | {"before": side(row.old), "after": side(row.new)}


def offer_data(item: Offer) -> dict[str, Any]:
    """A source with what comes of it."""
    return {
        "equipment": item.candidate.key,
        "name": item.candidate.name,
        "terminals": item.candidate.terminals_name,
        "function": item.candidate.item["function"],
        "least_margin": number(item.margin),
        "function_headroom": number(item.headroom),
        "longest_m": item.longest,
        "limited_by": item.limited_by,
        "why": item.why,
    }


def offers_data(offers: Offers) -> dict[str, Any]:
    """All sources: those that comply and work, those whose function is not judged, the others by reason."""
    return {
        "serving": [offer_data(item) for item in offers.serving],
        "function_not_judged": [offer_data(item) for item in offers.unsure],
        "failing": {word: [offer_data(item) for item in rows] for word, rows in sorted(offers.failing.items())},
    }
