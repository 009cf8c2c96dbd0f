"""What each run of cable counts with in the verdict of its loop."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from loops.casefile import read_document
from loops.casereader import CaseError
from loops.engine.limits import runs_of
from loops.models import Loop, Verification


@dataclass(frozen=True, slots=True)
class RunShare:
    """The capacitance (F) and inductance (H) of one run as the verdict counts them.

    Per metre and over its length; over the length ``None`` where that is unknown. `default_capacitance` and
    `default_inductance` say that nobody gave the value, so that the default of the basis counts
    (IEC 60079-14:2013, 16.2.2.2; NEC: ISA-RP12.06.01).
    """

    capacitance_f_per_m: Decimal
    inductance_h_per_m: Decimal
    capacitance_f: Decimal | None
    inductance_h: Decimal | None
    default_capacitance: bool
    default_inductance: bool


def shares_of(document: Mapping[str, Any]) -> dict[str, RunShare]:
    """By tag, the share of each run of a stored case document; empty where the document is of an older form."""
    try:
        case = read_document(document)
    except CaseError:
        return {}
    found = {}
    for run in runs_of(case):
        length = run.length_m if isinstance(run.length_m, Decimal) else None
        found[run.name] = RunShare(
            run.capacitance_f_per_m,
            run.inductance_h_per_m,
            None if length is None else length * run.capacitance_f_per_m,
            None if length is None else length * run.inductance_h_per_m,
            run.default_capacitance,
            run.default_inductance,
        )
    return found


def shares_by_loop(loop_keys: Iterable[int]) -> dict[int, list[dict[str, RunShare]]]:
    """By loop, and in the order of its circuits, the shares of its runs in the verdict that it has now."""
    stored = Verification.objects.filter(pk__in=current_verdicts(loop_keys)).values_list("loop_id", "inputs")
    return {loop: [shares_of(document) for document in inputs] for loop, inputs in stored}


def current_verdicts(loop_keys: Iterable[int]) -> list[int]:
    """The keys of the verdicts that loops have now."""
    loops = Loop.objects.filter(pk__in=list(loop_keys), verification__isnull=False)
    return list(loops.values_list("verification_id", flat=True))
