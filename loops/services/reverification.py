"""Judging loops again by the rules of this version: what each says now is stored beside what it said.

The values are those that the loop is pinned to: nothing of the register is taken over by this. A loop that was judged
by these rules with the same inputs is left alone, so a run that was interrupted goes on where it was.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from django.db.models import F, OuterRef, QuerySet, Subquery

from loops.adapters import circuit_document
from loops.engine.tables import Tables
from loops.engine.verdict import RULES_VERSION
from loops.models import Loop, Purpose, Verification
from loops.services.approvals import in_force
from loops.services.contributors import pinned
from loops.services.notices import News, tell_owners
from loops.services.tables import tables_of
from loops.services.verification import CONTENTS, is_worse, judge_by, rank, rank_of, summary, today_at
from loops.services.whatif import areas_now, same_inputs
from registry.beside import done_beside
from registry.collecting import uncollected
from registry.digests import canonical, digest_of
from registry.models import Deed, HazardousArea, Site
from registry.services.changes import Told, recorded, tell
from registry.services.inserting import insert

PORTION = 200
REMEMBERED = 20_000
"""So many contents of the register stay at hand during a run: loops rest on the same ones again and again."""
Documents = list[dict[str, Any]]


@dataclass(frozen=True)
class CheckChange:
    """One check of a loop that says another thing than it did; empty where it was or is not there."""

    check: str
    subject: str
    before: str
    after: str
    why: str


@dataclass(frozen=True)
class Again:
    """One loop, as it was judged and as it is judged now."""

    loop: Loop
    before: Verification
    inputs: Documents
    results: Documents
    head: Mapping[str, Any]
    day: dt.date
    texts: tuple[str, str]
    """Inputs and results as canonical JSON."""

    @property
    def digest(self) -> str:
        """What `Verification.digest` is of it: that of inputs and results together."""
        return digest_of(f'{{"inputs":{self.texts[0]},"results":{self.texts[1]}}}')

    @property
    def is_new(self) -> bool:
        """Whether there is anything to store: other rules are in the results by their number."""
        if self.head["engine"] != self.before.engine:
            return True
        return self.results != self.before.results or not same_inputs(self.inputs, self.before.inputs)

    @property
    def changes_verdict(self) -> bool:
        before = (self.before.verdict, self.before.function_verdict)
        return before != (self.head["verdict"], self.head["function_verdict"])

    @property
    def worse(self) -> bool:
        """Worse in verdict, or in function."""
        return is_worse(rank(self.head), rank_of(self.before))

    @property
    def check_changes(self) -> list[CheckChange]:
        """Every check whose word differs."""
        old, new = words_of(self.before.results), words_of(self.results)
        return [
            CheckChange(*key, old.get(key, ("", ""))[0], new.get(key, ("", ""))[0], (new.get(key) or old[key])[1])
            for key in dict.fromkeys([*new, *old])
            if old.get(key, ("", ""))[0] != new.get(key, ("", ""))[0]
        ]


@dataclass
class Run:
    """What a run did."""

    judged: int = 0
    stored: int = 0
    changed: int = 0
    worse: int = 0
    overtaken: int = 0
    """Loops that somebody saved while they were judged: they have a verdict of these rules by that."""
    by_rules: dict[str, int] = field(default_factory=dict)
    """How many loops each earlier version of the rules had judged."""
    told: list[Any] = field(default_factory=list)
    """What was told of each loop whose stored results differ."""
    news: list[News] = field(default_factory=list)
    """What the people of loops are to hear."""

    def add(self, other: Run) -> None:
        """Count what another run did as well."""
        self.judged += other.judged
        self.stored += other.stored
        self.changed += other.changed
        self.worse += other.worse
        self.overtaken += other.overtaken
        for name, count in other.by_rules.items():
            self.by_rules[name] = self.by_rules.get(name, 0) + count
        self.told += other.told
        self.news += other.news


def words_of(results: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], tuple[str, str]]:
    """The word and the reason of each check by its name and subject; the worst word where one is there twice."""
    found: dict[tuple[str, str], tuple[str, str]] = {}
    for result in results:
        for check in result["checks"]:
            key = (check["id"], f"{result['case']}: {check['subject']}")
            if key not in found or found[key][0] == "pass":
                found[key] = (check["verdict"], check["why"])
    return found


def to_judge(
    site_codes: Sequence[str] = (), *, everything: bool = False, part: tuple[int, int] = (1, 1)
) -> QuerySet[Loop]:
    """The loops in use that were judged by other rules than these; or all of them.

    `part` (2, 4) is the second of four parts, so that four processes divide the loops among them.
    """
    found = Loop.objects.filter(archived_at=None, verification__isnull=False)
    if site_codes:
        found = found.filter(site__code__in=site_codes)
    number, of = part
    if of > 1:
        found = found.annotate(rest=F("pk") % of).filter(rest=number - 1)
    return (found if everything else found.exclude(verification__engine=RULES_VERSION)).order_by("pk")


@dataclass
class Basis:
    """What loops rest on, read once for a run."""

    tables: dict[int, Tables | None] = field(default_factory=dict)
    """The ignition-curve tables of each site."""
    days: dict[int, dt.date] = field(default_factory=dict)
    """The day at each site on which the run began there."""
    contents: dict[int, Mapping[str, Any]] = field(default_factory=dict)
    """What revisions of the register say, by their keys; a revision never changes."""

    @classmethod
    def now(cls) -> Basis:
        """That of a run that begins."""
        sites = Site.objects.all()
        return cls({site.pk: tables_of(site) for site in sites}, {site.pk: today_at(site) for site in sites})

    def load(self, pins: set[int]) -> None:
        """Read what is not known yet of the contents of some revisions."""
        if len(self.contents) > REMEMBERED:
            self.contents.clear()
        missing = pins - self.contents.keys()
        self.contents.update(CONTENTS(missing))


def reverify(
    loops: QuerySet[Loop],
    *,
    store: bool,
    step: Callable[[int], None],
    told: Callable[[Again], Any] | None = None,
    processes: int = 1,
    run: Run | None = None,
) -> Run:
    """Judge loops again, a portion at a time, by so many processes beside each other; each portion is stored by itself.

    `step` hears how many more are done, and may raise to end the run between two portions. What is `told` of each loop
    whose stored results differ is in the run, which whoever gives one sees as far as it came.
    """
    run = run or Run()
    keys = list(loops.values_list("pk", flat=True))
    portions = [keys[start : start + PORTION] for start in range(0, len(keys), PORTION)]
    work = partial(portion_run, basis=Basis.now(), store=store, told=told)
    try:
        with closing(done_beside(work, portions, processes)) as done:
            for part in done:
                run.add(part)
                step(part.judged)
    finally:
        tell_owners(run.news)
    return run


def portion_run(keys: Sequence[int], basis: Basis, *, store: bool, told: Callable[[Again], Any] | None) -> Run:
    """Judge and store one portion."""
    with uncollected():
        portion = list(judged(keys, basis, compared=told is not None))
        fresh = [again for again in portion if again.is_new]
        kept = stored(fresh) if store else fresh
    run = Run(judged=len(portion), stored=len(kept), overtaken=len(fresh) - len(kept))
    for again in kept:
        run.by_rules[again.before.engine] = run.by_rules.get(again.before.engine, 0) + 1
        run.changed += again.changes_verdict
        run.worse += again.worse
        if store and again.changes_verdict:
            run.news.append(News(again.loop, in_force(again.loop), sentence(again)))
        if told:
            run.told.append(told(again))
    return run


def sentence(again: Again) -> str:
    """What became of a loop, for its people."""
    label = again.head["verdict"].label.lower()
    return f"Judged again by rules {RULES_VERSION}: {label}. {again.head['limiting']}".strip()


def judged(keys: Sequence[int], basis: Basis, *, compared: bool) -> Iterator[Again]:
    """Judge some loops, all that they rest on read at once.

    What each said before is read whole where it is to be `compared` check by check, and where the rules are the same.
    """
    rows = Loop.objects.filter(pk__in=keys).select_related("site", "owner", "verification__revision").order_by("pk")
    if not compared:
        rows = rows.defer("verification__inputs", "verification__results")
    loops = [(loop, loop.verification) for loop in rows if loop.verification]
    snapshots = {loop.pk: before.revision.snapshot for loop, before in loops}
    basis.load({pin for snapshot in snapshots.values() for pin in pinned(snapshot)})
    areas: dict[int, HazardousArea] = areas_now(snapshots.values(), {})
    if not compared:
        read_whole([before for _, before in loops if before.engine in {RULES_VERSION, ""}])
    for loop, before in loops:
        day = basis.days[loop.site_id]
        inputs = [
            circuit_document(snapshots[loop.pk], circuit, loop.site, areas, basis.contents, day)
            for circuit in snapshots[loop.pk]["circuits"]
        ]
        results = judge_by(inputs, basis.tables[loop.site_id])
        yield Again(loop, before, inputs, results, summary(results), day, (canonical(inputs), canonical(results)))


def read_whole(verifications: Sequence[Verification]) -> None:
    """Read inputs and results of verdicts of which only the head was read."""
    keys = [row.pk for row in verifications]
    whole = {pk: rest for pk, *rest in Verification.objects.filter(pk__in=keys).values_list("pk", "inputs", "results")}
    for row in verifications:
        row.inputs, row.results = whole[row.pk]


def stored(portion: Sequence[Again]) -> list[Again]:
    """Store new verdicts beside the old, all of a portion or none; gives those that were stored.

    The version of a loop goes up, so that nobody signs what they did not see. What somebody saved meanwhile is left.
    """
    if not portion:
        return []
    with recorded():
        standing = dict(
            Loop.objects.select_for_update()
            .filter(pk__in=[again.loop.pk for again in portion])
            .order_by("pk")
            .values_list("pk", "verification_id")
        )
        kept = [again for again in portion if standing.get(again.loop.pk) == again.before.pk]
        rows = [
            Verification(
                loop=again.loop,
                revision_id=again.before.revision_id,
                inputs=again.inputs,
                results=again.results,
                judged_on=again.day,
                digest=again.digest,
                **again.head,
            )
            for again in kept
        ]
        insert(rows, {"inputs": [again.texts[0] for again in kept], "results": [again.texts[1] for again in kept]})
        for again, row in zip(kept, rows, strict=True):
            again.loop.verification = row
        newest = Verification.objects.filter(loop=OuterRef("pk"), purpose=Purpose.PINNED).order_by("-pk")
        Loop.objects.filter(pk__in=[again.loop.pk for again in kept]).update(
            verification_id=Subquery(newest.values("pk")[:1]), version=F("version") + 1
        )
        for site in {again.loop.site for again in kept}:
            mine = [again for again in kept if again.loop.site_id == site.pk]
            tell(
                Told(
                    Deed.REVERIFY,
                    "site",
                    site.pk,
                    f"{site.code}: {len(mine)} loops",
                    site_id=site.pk,
                    detail={
                        "rules": RULES_VERSION,
                        "loops": [again.loop.pk for again in mine],
                        "other_verdict": [again.loop.pk for again in mine if again.changes_verdict],
                    },
                )
            )
    return kept
