"""Is it for the same purpose? What an item does in a loop, as the register says it, compared with what another does.

The engine says whether a loop is safe and whether its devices get what they need; it does not know a pressure from a
temperature. Where the words of the register do not say that two items do the same, nobody can say that one suits in
place of the other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from loops.services.suitability.positions import Candidate
from registry.models import EquipmentKind, Terminals

_PARTING = re.compile(r",|;|/|\bor\b|\band\b", re.IGNORECASE)
_COUNTS = re.compile(r"^(?:one|two|three|four|a|an|the|[0-9]+)\s+(?=[a-z])", re.IGNORECASE)
_RANGE = re.compile(r"(\d) ?- ?(\d)")
_DASHES = re.compile(r"[‐‑‒–—−]")
SIGNALS = re.compile(
    r"^(?:[0-9.]+ ?(?:-|to) ?[0-9.]+ ?(?:ma|v|mv)|hart(?: ?[0-9]+)?|namur|foundation fieldbus|profibus.*|fieldbus|"
    r"fisco|ethernet.*|2-wise|pt ?100|pt ?1000|ni ?100|rtd|modbus.*)$"
)
"""Phrases that tell how a value travels, not what it is."""


@dataclass(frozen=True)
class Purpose:
    """What the register says that an item does: phrases for what it is for, and those for its signals."""

    uses: frozenset[str]
    signals: frozenset[str]


@lru_cache(maxsize=4096)
def purpose_of(function: str) -> Purpose:
    """The phrases of a function as typed.

    >>> sorted(purpose_of("Two-wire transmitters, switch or valve").uses)
    ['switch', 'two-wire transmitter', 'valve']
    >>> sorted(purpose_of("Pressure transmitter, 4–20 mA, HART").signals)
    ['4-20 ma', 'hart']
    """
    phrases = [" ".join(_DASHES.sub("-", part).split()).casefold() for part in _PARTING.split(function)]
    phrases = [_COUNTS.sub("", _RANGE.sub(r"\1-\2", phrase)) for phrase in phrases if phrase]
    signals = frozenset(phrase for phrase in phrases if SIGNALS.match(phrase))
    return Purpose(frozenset(_singular(phrase) for phrase in phrases if phrase not in signals), signals)


def _singular(phrase: str) -> str:
    plural = len(phrase) > 4 and phrase.endswith("s") and not phrase.endswith(("ss", "us", "is"))
    return phrase[:-1] if plural else phrase


def same_use(old: Candidate, new: Candidate) -> bool:
    """Whether the register says that a new item serves as the old one did, whatever its signals are."""
    was, now = purpose_of(old.item["function"]), purpose_of(new.item["function"])
    return old.item["kind"] == new.item["kind"] and bool(was.uses) and was.uses <= now.uses


def differences(old: Candidate, new: Candidate) -> list[str]:
    """Why nobody can say that a new item does what the old one did, in sentences; empty where the register says so.

    Of an item for several uses it is not known which of them a loop makes: the new one must serve all of them.
    """
    found = []
    kinds = dict(EquipmentKind.choices)
    if old.item["kind"] != new.item["kind"]:
        found.append(
            _("%(new)s is another kind of item (%(kind)s) than %(old)s (%(was)s).")
            % {
                "new": new.name,
                "kind": kinds[new.item["kind"]].lower(),
                "old": old.name,
                "was": kinds[old.item["kind"]].lower(),
            }
        )
    was, now = purpose_of(old.item["function"]), purpose_of(new.item["function"])
    missing = [item.name for item, purpose in ((old, was), (new, now)) if not purpose.uses]
    if missing:
        found.append(unknown_use(missing))
    elif not was.uses <= now.uses:
        found.append(
            _("The function differs: “%(new)s” in place of “%(old)s”.")
            % {"new": new.item["function"], "old": old.item["function"]}
        )
    if lost := was.signals - now.signals:
        found.append(
            _("Nothing says that %(new)s has the signal of %(old)s: %(signals)s.")
            % {"new": new.name, "old": old.name, "signals": ", ".join(sorted(lost))}
        )
    for before, after in zip(old.sets, new.sets, strict=True):
        found.extend(_needs(before, after))
    return found


def unknown_use(names: Sequence[str]) -> str:
    """That the register does not say what items are for, so that nobody can say in whose place they may stand."""
    return ngettext(
        "The register does not say what %(names)s does: add its function there.",
        "The register does not say what %(names)s do: add their functions there.",
        len(names),
    ) % {"names": _(" and ").join(names)}


def _needs(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """How two sets of terminals work, where that differs."""
    names = dict(Terminals.NeedsKind.choices)
    found = []
    works, worked = after.get("needs_kind"), before.get("needs_kind")
    if works and worked and works != worked:
        found.append(
            _("It works in another way: %(new)s in place of %(old)s.") % {"new": names[works], "old": names[worked]}
        )
    if before.get("hart") and not after.get("hart"):
        found.append(_("HART is lost: the terminals %s are not entered as HART.") % after["name"])
    return found


def notes(old: Candidate, new: Candidate) -> list[str]:
    """What differs and is judged by the engine, or does no harm: told so that nobody is surprised on site."""
    found = []
    outputs, isolation = dict(Terminals.Output.choices), dict(Terminals.Isolation.choices)
    for before, after in zip(old.sets, new.sets, strict=True):
        if before["name"] != after["name"]:
            found.append(
                _("Other terminals: %(new)s in place of %(old)s.") % {"new": after["name"], "old": before["name"]}
            )
        if before["output"] and after["output"] and before["output"] != after["output"]:
            found.append(
                _("Another output characteristic: %(new)s in place of %(old)s.")
                % {"new": outputs[after["output"]].lower(), "old": outputs[before["output"]].lower()}
            )
        if before["isolation"] and after["isolation"] and before["isolation"] != after["isolation"]:
            found.append(
                _("Earthing changes: %(new)s in place of %(old)s.")
                % {"new": isolation[after["isolation"]].lower(), "old": isolation[before["isolation"]].lower()}
            )
    more = purpose_of(new.item["function"]).signals - purpose_of(old.item["function"]).signals
    if more:
        found.append(_("It has besides: %s.") % ", ".join(sorted(more)))
    return found
