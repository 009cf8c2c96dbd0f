"""What if the site, an area, a cable type or the ignition-curve tables were another: which loops change, and how.

Long work: every loop of the person's sites that rests on what is asked about is judged twice with the register as it
stands, once as it is and once with the change. Nothing is written but the answer.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from loops.engine.tables import Tables, built_in
from loops.models import Loop
from loops.selectors import HEAVY
from loops.services.tables import KINDS, TableError, parse, tables_of
from loops.services.verification import is_worse, rank
from loops.services.whatif import PORTION, Contents, Key, Proposal, WhatIf, judged, loops_of, same_inputs
from registry import access
from registry.entries import AreaEntry, CableTypeEntry, SiteEntry
from registry.models import CableType, HazardousArea, Site, User, Work
from registry.models.base import Record
from registry.reading import EntryForm, read_entry
from registry.selectors import record_text
from registry.services.records import EntryRefused, assign, snapshot
from registry.services.works import Outcome, Progress, WorkRefused

IMPACT = "impact"
"""The kind of long work."""
TABLE = "table"
"""What is asked about besides records: the ignition-curve tables of a site."""


@dataclass(frozen=True)
class Question:
    """Something that may be asked about: its entry, its model, and the values that loops rest on."""

    entry: type[EntryForm]
    model: type[Record]
    names: tuple[str, ...]
    title: Any
    hint: Any


QUESTIONS: dict[str, Question] = {
    "site": Question(
        SiteEntry,
        Site,
        ("basis", "schemes", "safe_voltage_max_v", "safe_ambient_max_degc"),
        gettext_lazy("Rules and values of a site"),
        gettext_lazy("Other rules, schemes accepted, highest voltage and ambient in the safe area."),
    ),
    "area": Question(
        AreaEntry,
        HazardousArea,
        ("zone", "nec_class", "division", "group", "temperature_class", "ambient_min_degc", "ambient_max_degc"),
        gettext_lazy("An area is classified anew"),
        gettext_lazy("Another zone, group, temperature class or ambient."),
    ),
    "cable_type": Question(
        CableTypeEntry,
        CableType,
        (
            "capacitance_f_per_m",
            "core_core_f_per_m",
            "core_screen_f_per_m",
            "screen",
            "inductance_h_per_m",
            "inductance_is",
            "inductance_per_resistance_h_per_ohm",
            "resistance_ohm_per_m",
            "resistance_is",
        ),
        gettext_lazy("Values of a cable type"),
        gettext_lazy("Another capacitance, inductance, L/R or resistance; empty counts as unknown cable."),
    ),
}


def records_for(kind: str, user: User) -> QuerySet[Any]:
    """What a person may ask about: records in use that loops of their sites rest on; sites for tables."""
    sites = access.sites_of(user)
    if kind in ("site", TABLE):
        return Site.objects.filter(pk__in=sites, archived_at=None).order_by("code")
    if kind == "area":
        areas = HazardousArea.objects.filter(site__in=sites, archived_at=None)
        return areas.select_related("site").order_by("site__code", "name")
    runs = Loop.objects.filter(site__in=sites, archived_at=None).values("circuits__cables__cable_type")
    return CableType.objects.filter(pk__in=runs).order_by("name")


def changed_record(kind: str, record: Any, values: Mapping[str, str]) -> Record:
    """A record as it would be with other values. Raises EntryRefused; nothing is written."""
    question = QUESTIONS[kind]
    text = record_text(record) | {name: values[name] for name in question.names if name in values}
    cleaned, errors = read_entry(question.entry, text)
    if errors:
        raise EntryRefused(errors)
    changed: Record = copy.copy(record)
    assign(changed, {name: cleaned[name] for name in question.names})
    return changed


def changed_tables(site: Site, kind: str, name: str, content: str) -> Tables:
    """The pair of tables that a site would be judged by with one more of its own, or with the built-in one again.

    Raises TableError.
    """
    if kind not in KINDS:
        raise TableError(_("Choose which of the two tables it is."))
    now = tables_of(site) or Tables(*(built_in(engine) for engine in KINDS.values()))
    new = parse(kind, name or _("The table to be loaded"), content) if content else built_in(KINDS[kind])
    return Tables(*(new if one == kind else old for one, old in zip(KINDS, now, strict=True)))


def loops_for(kind: str, key: int, user: User) -> QuerySet[Loop]:
    """The loops of the person's sites that rest on something, in use and judged."""
    found = loops_of("site" if kind == TABLE else kind, [key])
    return found.filter(site_id__in=access.sites_of(user), verification__isnull=False).order_by("site__code", "tag")


def loops_elsewhere(kind: str, key: int, user: User) -> int:
    """How many loops at sites that the person may not see rest on it too: a number, as a save tells it."""
    found = loops_of("site" if kind == TABLE else kind, [key]).filter(verification__isnull=False)
    return found.exclude(site_id__in=access.sites_of(user)).count()


def not_judged_in_words(elsewhere: int) -> str:
    return ngettext(
        "%(count)d loop that rests on it is at a site that you may not see, and was not judged.",
        "%(count)d loops that rest on it are at sites that you may not see, and were not judged.",
        elsewhere,
    ) % {"count": elsewhere}


def run_impact(work: Work, progress: Progress) -> Outcome:
    """Judge; what is asked: {"kind", "key", "values"}, for a table "table", "name" and "content"."""
    asked, user = work.asked, work.person
    kind, key = asked["kind"], int(asked["key"])
    record = records_for(kind, user).filter(pk=key).first()
    if record is None:
        raise WorkRefused(_("It is no longer there, or at a site of others: choose another one."))
    proposals: dict[Key, Proposal] = {}
    tables: dict[int, Tables | None] = {}
    try:
        if kind == TABLE:
            tables[key] = changed_tables(record, asked["table"], asked["name"], asked["content"])
        else:
            changed = changed_record(kind, record, asked["values"])
            proposals[kind, key] = Proposal(changed, snapshot(changed))
    except EntryRefused as refused:
        raise WorkRefused(" ".join(refused.messages)) from refused
    except TableError as refused:
        raise WorkRefused(str(refused)) from refused
    loops = loops_for(kind, key, user)
    progress.begin(loops.count())
    rows, count = [], 0
    for now, then in pairs(loops, proposals, tables):
        count += 1
        progress.step()
        if not same_inputs(now.inputs, then.inputs) or found_of(now) != found_of(then):
            rows.append(row_of(now, then))
    rows.sort(key=lambda row: (not row["changes"], not row["worse"], row["state"] != "issued", row["site"], row["tag"]))
    changing, worse = sum(row["changes"] for row in rows), sum(row["worse"] for row in rows)
    words = ngettext("%(count)d loop was judged: ", "%(count)d loops were judged: ", count) % {"count": count}
    words += _("%(changing)d would have another verdict, %(worse)d of them a worse one.") % {
        "changing": changing,
        "worse": worse,
    }
    elsewhere = loops_elsewhere(kind, key, user)
    if elsewhere:
        words += " " + not_judged_in_words(elsewhere)
    lines = [{"text": _("The loops, now and then"), "url": reverse("impact_answer", args=[work.pk or 0])}]
    result = {"rows": rows, "judged": count, "elsewhere": elsewhere, "changes": asked.get("words", []), "lines": lines}
    return Outcome(words, result)


def pairs(
    loops: QuerySet[Loop], proposals: Mapping[Key, Proposal], tables: Mapping[int, Tables | None]
) -> Iterator[tuple[WhatIf, WhatIf]]:
    """Each loop judged with the register as it stands, and with the change; both from one reading of the loop."""
    plain, changed = Contents({}), Contents(proposals)
    keys = list(loops.values_list("pk", flat=True))
    for start in range(0, len(keys), PORTION):
        chunk = keys[start : start + PORTION]
        found = Loop.objects.select_related("site", "owner", "verification__revision").defer(*HEAVY).in_bulk(chunk)
        rows = [found[key] for key in chunk if key in found]
        yield from zip(judged(rows, plain), judged(rows, changed, tables), strict=True)


def found_of(one: WhatIf) -> list[dict[str, Any]]:
    """The results of a loop without the names of the tables, which decide nothing."""
    return [{key: value for key, value in result.items() if key != "tables"} for result in one.results]


def row_of(now: WhatIf, then: WhatIf) -> dict[str, Any]:
    """One loop now and then as plain data."""
    old, new = rank(now.head), rank(then.head)
    return {
        "loop": now.loop.pk,
        "site": now.loop.site.code,
        "tag": now.loop.tag,
        "service": now.loop.service,
        "state": now.loop.state,
        "before": str(now.head["verdict"].value),
        "after": str(then.head["verdict"].value),
        "function_before": now.head["function_verdict"],
        "function_after": then.head["function_verdict"],
        "margin_before": text_of(now.head["least_margin"]),
        "margin_after": text_of(then.head["least_margin"]),
        "limiting": then.head["limiting"],
        "changes": old != new,
        "worse": is_worse(new, old),
    }


def text_of(share: Any) -> str:
    return "" if share is None else f"{share:f}"
