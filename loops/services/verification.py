"""Judging a loop revision and storing what was found."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from loops import casefile
from loops.adapters import circuit_document
from loops.casefile import CaseError, judge_document
from loops.engine.findings import CheckId
from loops.engine.tables import Tables
from loops.models import Loop, LoopVerdict, Verification
from loops.services.essentials import changed_places
from loops.services.tables import tables_of
from registry.digests import digest
from registry.models import HazardousArea, Revision, Site
from registry.prepared import PreparedAmong

CHECKS = tuple(check.value for check in CheckId)
"""The words of all checks."""

PRECEDENCE = (LoopVerdict.FAILS, LoopVerdict.BEYOND, LoopVerdict.INCOMPLETE, LoopVerdict.COMPLIES)
FUNCTIONS = ("fail", "incomplete", "", "pass")
"""The words of the function, the worst first; empty where nothing was judged."""
MARGIN_CHECKS = frozenset({"voltage", "current", "power", "capacitance", "inductance"})
DECIDING = {
    LoopVerdict.FAILS: ("fail",),
    LoopVerdict.BEYOND: ("beyond_simple_rules",),
    LoopVerdict.INCOMPLETE: ("incomplete",),
}


def pinned_snapshots(loop_snapshot: Mapping[str, Any]) -> dict[int, dict[str, Any]]:
    """Snapshots of every revision that a loop snapshot is pinned to, by revision key."""
    keys = {
        row[name]["id"]
        for circuit in loop_snapshot["circuits"]
        for rows, names in (
            (circuit["members"], ("equipment_revision", "certificate_revision")),
            (circuit["cables"], ("cable_type_revision",)),
        )
        for row in rows
        for name in names
        if row[name]
    }
    return dict(CONTENTS(keys))


CONTENTS: PreparedAmong[tuple[int, dict[str, Any]]] = PreparedAmong(
    lambda keys: Revision.objects.filter(pk__in=keys).order_by().values_list("pk", "snapshot")
)
AREAS: PreparedAmong[HazardousArea] = PreparedAmong(lambda keys: HazardousArea.objects.filter(pk__in=keys).order_by())


def areas_of(
    loop_snapshot: Mapping[str, Any], known: Mapping[int, HazardousArea] | None = None
) -> Mapping[int, HazardousArea]:
    """The areas that the members of a loop snapshot stand in, as they are now, by key; `known` ones are not read."""
    keys = {row["area"]["id"] for circuit in loop_snapshot["circuits"] for row in circuit["members"] if row["area"]}
    return known if known is not None and keys <= known.keys() else {area.pk: area for area in AREAS(keys)}


def documents(
    loop_snapshot: Mapping[str, Any],
    site: Site,
    judge_on: dt.date,
    pinned: Mapping[int, Mapping[str, Any]] | None = None,
    areas: Mapping[int, HazardousArea] | None = None,
) -> list[dict[str, Any]]:
    """The case documents of all circuits of a loop snapshot, in circuit order; `pinned` is what `pinned_snapshots` says
    of it and `areas` what its areas are, where that is known already."""
    if pinned is None:
        pinned = pinned_snapshots(loop_snapshot)
    standing = areas_of(loop_snapshot, areas)
    return [
        circuit_document(loop_snapshot, circuit, site, standing, pinned, judge_on)
        for circuit in loop_snapshot["circuits"]
    ]


def today_at(site: Site) -> dt.date:
    """The calendar day at the site now."""
    return timezone.localdate(timezone=zoneinfo.ZoneInfo(site.time_zone))


def judge(inputs: list[dict[str, Any]], site: Site) -> list[dict[str, Any]]:
    """One result for each case document, by the tables of the site."""
    return judge_by(inputs, tables_of(site))


def judge_by(inputs: list[dict[str, Any]], tables: Tables | None) -> list[dict[str, Any]]:
    """One result for each case document. What cannot be read as a case is incomplete, and says why."""
    results = []
    for document in inputs:
        try:
            results.append(judge_document(document, detail=True, tables=tables))
        except CaseError as error:
            results.append(unreadable(document, error))
    return results


def unreadable(document: Mapping[str, Any], error: CaseError) -> dict[str, Any]:
    """A circuit that lacks what every judgement needs (its area, say) stays a draft with an incomplete verdict."""
    return {
        "case": document["case"],
        "verdict": LoopVerdict.INCOMPLETE.value,
        "checks": [
            {
                "id": path.split(".")[0],
                "verdict": "incomplete",
                "subject": path,
                "value": "",
                "limit": "",
                "relation": "",
                "margin": "",
                "reference": "",
                "why": " ".join(messages),
            }
            for path, messages in error.errors.items()
        ],
        "confirmations": [],
        "engine": "",
    }


def worst(verdicts: list[str]) -> LoopVerdict:
    """The verdict of a loop from those of its circuits; a loop without circuits is incomplete."""
    found = set(verdicts)
    return next((verdict for verdict in PRECEDENCE if verdict.value in found), LoopVerdict.INCOMPLETE)


def limiting_check(results: list[dict[str, Any]], verdict: LoopVerdict) -> Mapping[str, Any] | None:
    """The check that decides: the first failing, doubtful or missing item, else that with the tightest margin."""
    wanted = DECIDING.get(verdict)
    checks = [check for result in results for check in result["checks"]]
    if wanted:
        return next((check for check in checks if check["verdict"] in wanted), None)
    judged = [(margin, check) for check in checks if (margin := margin_of(check)) is not None]
    return min(judged, key=lambda pair: pair[0])[1] if judged else None


def margin_of(check: Mapping[str, Any]) -> Decimal | None:
    """The margin of a check of a quantity; None where it has none."""
    if check["id"] not in MARGIN_CHECKS or check["verdict"] not in {"pass", "fail"}:
        return None
    try:
        return Decimal(check["margin"])
    except (InvalidOperation, TypeError):
        return None


def changed_since(
    verification: Verification,
    pinned: Mapping[int, Mapping[str, Any]] | None = None,
    areas: Mapping[int, HazardousArea] | None = None,
) -> str:
    """What makes a stored verdict out of date: other inputs (an area, a site), other rules, or a date that passed.

    Judges the same revision anew and compares; an empty text when nothing differs but the day. `pinned` is what
    `pinned_snapshots` says of the revision, `areas` what its areas are, where that is known already.
    """
    loop = verification.loop
    inputs = documents(verification.revision.snapshot, loop.site, today_at(loop.site), pinned, areas)
    if [without_day(document) for document in inputs] != [without_day(document) for document in verification.inputs]:
        named = changed_places(verification.revision.snapshot, verification.created_at)
        if not named:
            return _("The area or the site was changed since the loop was judged.")
        return _("Changed since the loop was judged: %(named)s.") % {"named": "; ".join(named)}
    tables = tables_of(loop.site)
    if inputs == verification.inputs and judged_so(verification.results, tables):
        return ""
    results = judge_by(inputs, tables)
    if [result["engine"] for result in results] != [result["engine"] for result in verification.results]:
        return _("The rules were changed since the loop was judged.")
    if [result.get("tables") for result in results] != [result.get("tables") for result in verification.results]:
        return _("The ignition-curve tables of the site were changed since the loop was judged.")
    if [outcome(result) for result in results] != [outcome(result) for result in verification.results]:
        return (
            _("A date has passed since the loop was judged. %(results)s")
            % {"results": passed(verification.results, results)}
        ).rstrip()
    return ""


def judged_so(results: list[dict[str, Any]], tables: Tables | None) -> bool:
    """Whether results are those of the rules of this version and of some tables: the same inputs, the day among them,
    give the same again."""
    named = None if tables is None else [table.name for table in tables]
    return all(result["engine"] == casefile.RULES_VERSION and result.get("tables") == named for result in results)


def passed(before: list[dict[str, Any]], after: list[dict[str, Any]]) -> str:
    """The first sentence of a check that says another thing than it did."""
    known = {(check["id"], check["subject"], check["verdict"]) for result in before for check in result["checks"]}
    checks = [check for result in after for check in result["checks"]]
    return next(
        (check["why"] for check in checks if (check["id"], check["subject"], check["verdict"]) not in known), ""
    )


def without_day(document: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in document.items() if key != "judge_on"}


def outcome(result: Mapping[str, Any]) -> tuple[Any, ...]:
    """What decides in a result: its verdict, that of every check, and what is to be confirmed."""
    checks = sorted((check["id"], check["subject"], check["verdict"]) for check in result["checks"])
    return result["verdict"], checks, result["confirmations"]


def summary(results: list[dict[str, Any]]) -> dict[str, Any]:
    """The head of a verdict from the results of all circuits: the fields of Verification that say it in short."""
    verdict = worst([result["verdict"] for result in results])
    margins = [margin for result in results for check in result["checks"] if (margin := margin_of(check)) is not None]
    functions = [result["function"]["verdict"] for result in results if result.get("function")]
    limiting = limiting_check(results, verdict)
    return {
        "engine": next((result["engine"] for result in results if result["engine"]), ""),
        "verdict": verdict,
        "function_verdict": next((word for word in ("fail", "incomplete", "pass") if word in functions), ""),
        "limiting": limiting["why"] if limiting else "",
        "limiting_check": limiting["id"][:40] if limiting else "",
        "least_margin": max(min(margins), Decimal("-99999999")).quantize(Decimal("0.0001")) if margins else None,
    }


def rank(head: Mapping[str, Any]) -> tuple[int, int]:
    """How good a head (see summary) is in verdict and in function: a higher number is better."""
    return PRECEDENCE.index(head["verdict"]), FUNCTIONS.index(head["function_verdict"])


def is_worse(after: tuple[int, int], before: tuple[int, int]) -> bool:
    """Whether what ranks so is worse than what ranked so before: in verdict or in function."""
    return after[0] < before[0] or after[1] < before[1]


def rank_of(verification: Verification) -> tuple[int, int]:
    """How good a stored verdict is; see rank."""
    return rank({"verdict": verification.verdict, "function_verdict": verification.function_verdict})


def verify(loop: Loop, revision: Revision) -> Verification:
    """Judge a revision and store the verdict beside it; the loop then points at it."""
    judge_on = today_at(loop.site)
    inputs = documents(revision.snapshot, loop.site, judge_on)
    results = judge(inputs, loop.site)
    verification = Verification.objects.create(
        loop=loop,
        revision=revision,
        inputs=inputs,
        results=results,
        judged_on=judge_on,
        digest=digest({"inputs": inputs, "results": results}),
        **summary(results),
    )
    loop.verification = verification
    return verification
