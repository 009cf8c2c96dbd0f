"""Fill a site with an invented plant, to try it with."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from reports.demo.build import Demo, build_small
from reports.demo.large import ITEM_COUNT, LOOP_COUNT, build_large
from reports.demo.people import PEOPLE

PASSWORD = "unlit-demo-2026"  # noqa: S105  known on purpose: demo log-ins are for trying out

WORDS = {
    "user": "log-ins",
    "scheme": "schemes",
    "site": "sites",
    "area": "areas",
    "certificate": "certificates",
    "cable_type": "cable types",
    "equipment": "items",
    "loop": "loops",
    "submit": "submitted",
    "approve": "issued with a sheet",
    "return": "returned",
    "reopen": "revised after issue",
    "correction": "corrected in the register",
    "file": "files attached",
    "inspection": "inspections",
}


def counted(count: int, words: str) -> str:
    """A number with its noun in the fitting form: `1 site`, `2 sites`."""
    return f"{count} {words.removesuffix('s') if count == 1 else words}"


class Command(BaseCommand):
    help = (
        "Add an invented plant with people, register and loops. What is there already is kept; nothing is added twice."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--size", choices=("small", "large"), default="small")
        parser.add_argument("--seed", type=int, default=1, help="of the large plant: equal seeds give equal data")
        parser.add_argument("--password", default=None, help=f"for all log-ins that are added (default {PASSWORD})")
        parser.add_argument("--force", action="store_true", help="run in production mode too; needs --password")

    def handle(self, *args: Any, **options: Any) -> None:
        production = settings.ENVIRONMENT.mode == "production"
        if production and not options["force"]:
            raise CommandError(
                "This is an instance in production mode: demo data does not belong here (--force adds it)."
            )
        if production and not options["password"]:
            raise CommandError(
                "In production mode give a password of your own with --password: the usual one is known."
            )
        demo = Demo(options["password"] or PASSWORD, dt.datetime.now(dt.UTC).date())
        build_small(demo)
        if options["size"] == "large":
            build_large(demo, options["seed"], ITEM_COUNT, LOOP_COUNT, progress=self.stdout.write)
        self.summary(demo)

    def summary(self, demo: Demo) -> None:
        """What was added, what was there, and who can log in."""
        for title, counts in (("Added", demo.added), ("Already there", demo.kept)):
            found = ", ".join(counted(count, WORDS[name]) for name, count in counts.items() if count)
            self.stdout.write(f"{title}: {found or 'nothing'}.")
        self.stdout.write(f"\n{'log-in':<15}{'role':<22}{'printed name':<24}password")
        for person in PEOPLE:
            known = person.username in demo.added_people or demo.people[person.username].check_password(demo.password)
            role = person.role.label if person.role else "Superuser"
            word = demo.password if known else "(as set before)"
            self.stdout.write(f"{person.username:<15}{role:<22}{person.printed_name:<24}{word}")
