"""Prove that the store holds what was recorded: change log, revisions, verifications, approvals, sheets and files."""

from __future__ import annotations

import json
from argparse import ArgumentTypeError
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from registry.models import Change
from registry.services.proofs import Findings, prove

SHOWN = 20


def head(text: str) -> tuple[int, str]:
    """Number and mark of a line, as `NUMBER:MARK`."""
    number, _, mark = text.partition(":")
    if not number.isdecimal() or len(mark) != 64:
        raise ArgumentTypeError("give NUMBER:MARK, as an earlier run has printed it")
    return int(number), mark


class Command(BaseCommand):
    help = (
        "Prove that the store holds what was recorded. Ends with 1 and names what is broken; else says what is whole."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="write the findings as JSON")
        parser.add_argument(
            "--expect", type=head, metavar="NUMBER:MARK", help="a line of the log that must still be there as it was"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        findings = prove(options["expect"])
        last = Change.objects.order_by("-number").values_list("number", "mark").first()
        if options["json"]:
            self.stdout.write(as_json(findings, last))
        else:
            counts = ", ".join(f"{name} {count}" for name, count in findings.checked.items())
            self.stdout.write(f"Looked at: {counts}.")
            for _, sentence in findings.broken[:SHOWN]:
                self.stdout.write(f"- {sentence}")
            if len(findings.broken) > SHOWN:
                self.stdout.write(f"- … and {len(findings.broken) - SHOWN} more (--json lists all)")
            if last and not findings.broken:
                self.stdout.write(f"All is as it was recorded. The log ends with {last[0]}:{last[1]}")
        if findings.broken:
            name, sentence = findings.broken[0]
            raise CommandError(f"The store is broken ({name}): {sentence}", returncode=1)


def as_json(findings: Findings, last: tuple[int, str] | None) -> str:
    """The findings for a program to read."""
    broken = [{"proof": name, "fault": sentence} for name, sentence in findings.broken]
    end = {"number": last[0], "mark": last[1]} if last else None
    return json.dumps({"whole": not broken, "checked": findings.checked, "broken": broken, "end": end}, indent=2)
