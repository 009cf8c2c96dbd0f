"""`manage.py check_install`: whether an installation is as it should be, line by line, with what to do."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from deploy.operations.checking import LOOK, OK, STOP, check_all


class Command(BaseCommand):
    help = (
        "Check settings, TLS, secret key, database, schema, cache table, clock, file store, disk, static files, PDF, "
        "mail, people and worker. Each line is ok, look (works, wants a decision) or stop (mend it). Ends with 1 where "
        "a line is stop; with --strict where one is look too."
    )
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--strict", action="store_true", help="end with 1 also where a line is look")
        parser.add_argument("--json", action="store_true", help="write the lines as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        lines = []
        for line in check_all():
            lines.append(line)
            if not options["json"]:
                style = {OK: self.style.SUCCESS, LOOK: self.style.WARNING, STOP: self.style.ERROR}[line.state]
                self.stdout.write(f"{style(f'{line.state:<5}')}{line.name}: {line.found}")
                if line.cure and line.state != OK:
                    self.stdout.write(f"     → {line.cure}")
        if options["json"]:
            self.stdout.write(json.dumps([asdict(line) for line in lines], ensure_ascii=False, indent=1))
        bad = sum(line.state == STOP or (options["strict"] and line.state == LOOK) for line in lines)
        if bad:
            raise CommandError(f"{bad} of {len(lines)} lines want mending.", returncode=1)
