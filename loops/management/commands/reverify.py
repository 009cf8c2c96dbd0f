"""`manage.py reverify`: judge loops again by the rules of this version, and tell what differs."""

from __future__ import annotations

import json
import re
import time
from argparse import ArgumentTypeError
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from loops.services import reverification
from loops.services.reverification import Again, Run, reverify, to_judge
from registry.exchange.csv_xlsx import table, write_table
from registry.models import Site

TOLD_EVERY_S = 2.0
HEADINGS = (
    "site",
    "tag",
    "state",
    "rules before",
    "rules now",
    "verdict before",
    "verdict now",
    "function before",
    "function now",
    "worse",
    "check",
    "subject",
    "word before",
    "word now",
    "why",
)


def part(text: str) -> tuple[int, int]:
    """K and N of `K/N`."""
    found = re.fullmatch(r"([1-9][0-9]?)/([1-9][0-9]?)", text)
    if not found or int(found[1]) > int(found[2]):
        raise ArgumentTypeError("give K/N with K from 1 to N, for example 1/4")
    return int(found[1]), int(found[2])


def positive(text: str) -> int:
    """A number of processes."""
    if not re.fullmatch(r"[1-9][0-9]?", text):
        raise ArgumentTypeError("give a number from 1 to 99")
    return int(text)


class Command(BaseCommand):
    help = (
        "Judge the loops that were judged by other rules than those of this version, and store what they say now "
        "beside what they said. Interrupted, it goes on where it was when it is run again. Register and issues stay "
        "as they are."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", action="append", default=[], metavar="CODE", help="only this site")
        parser.add_argument("--all", action="store_true", help="loops that were judged by these rules as well")
        parser.add_argument("--dry-run", action="store_true", help="tell what would differ and store nothing")
        parser.add_argument("--report", type=Path, help="write each check that differs to this .csv, .xlsx or .json")
        parser.add_argument(
            "--part", type=part, default=(1, 1), metavar="K/N", help="the Kth of N parts: N processes divide the loops"
        )
        parser.add_argument(
            "--processes", type=positive, default=1, metavar="N", help="judge by so many processes beside each other"
        )
        parser.add_argument("--limit", type=int, default=0, metavar="N", help="end after so many loops, to go on later")

    def handle(self, *args: Any, **options: Any) -> None:
        report: Path | None = options["report"]
        if report and report.suffix not in {".csv", ".xlsx", ".json"}:
            raise CommandError("Give --report the name of a file that ends in .csv, .xlsx or .json.")
        known = set(Site.objects.values_list("code", flat=True))
        if unknown := set(options["site"]) - known:
            raise CommandError(f"There is no site {sorted(unknown)[0]}: there are {', '.join(sorted(known))}.")
        loops = to_judge(options["site"], everything=options["all"], part=options["part"])
        if options["limit"]:
            loops = loops[: options["limit"]]
        self.total, self.done, self.told_at = loops.count(), 0, time.monotonic()
        run = Run()
        try:
            reverify(
                loops,
                store=not options["dry_run"],
                step=self.step,
                told=rows_of if report else None,
                processes=options["processes"],
                run=run,
            )
        except BrokenProcessPool:
            raise CommandError(
                "One of the processes was ended from outside, for example because memory ran out. What was judged "
                "until then is stored: run this again, with fewer processes, and it goes on."
            ) from None
        finally:
            if report:
                write_report(report, [row for rows in run.told for row in rows])
        self.stdout.write(summed_up(run, options["dry_run"]))

    def step(self, count: int) -> None:
        self.done += count
        if time.monotonic() - self.told_at >= TOLD_EVERY_S or self.done == self.total:
            self.told_at = time.monotonic()
            self.stderr.write(f"{self.done} of {self.total} loops")


def summed_up(run: Run, dry: bool) -> str:
    """What a run did, in words."""
    before = ", ".join(f"{count} by rules {name or 'none'}" for name, count in sorted(run.by_rules.items()))
    lines = [
        f"{run.judged} loops judged by rules {reverification.RULES_VERSION}; {run.stored} differ from what is stored"
        + (f" ({before})." if before else "."),
        f"{run.changed} have another verdict, {run.worse} of them a worse one.",
    ]
    if run.overtaken:
        lines.append(f"{run.overtaken} were saved by somebody meanwhile.")
    lines.append("Nothing was stored." if dry else "What they say now is stored beside what they said.")
    return "\n".join(lines)


def rows_of(again: Again) -> list[list[str]]:
    """A loop in the report: a row for each check that differs, or one where only the verdict or the rules do."""
    head = [
        again.loop.site.code,
        again.loop.tag,
        again.loop.state,
        again.before.engine,
        str(again.head["engine"]),
        again.before.verdict,
        str(again.head["verdict"].value),
        again.before.function_verdict,
        str(again.head["function_verdict"]),
        "yes" if again.worse else "",
    ]
    changes = again.check_changes
    if not changes:
        return [[*head, "", "", "", "", ""]]
    return [[*head, one.check, one.subject, one.before, one.after, one.why] for one in changes]


def write_report(path: Path, rows: list[list[str]]) -> None:
    if path.suffix == ".json":
        items = [dict(zip(HEADINGS, row, strict=True)) for row in rows]
        path.write_text(json.dumps(items, ensure_ascii=False, indent=1))
        return
    path.write_bytes(write_table(table(HEADINGS, rows), path.suffix.lstrip("."), "reverified"))
