"""Do what is due: tell people what runs out, mail again what was not taken, forget old tasks and sessions."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from registry.services.due import run_due


class Command(BaseCommand):
    help = "Do what is due today and say what was done. For cron, once a day or more often; nothing is done twice."

    def handle(self, *args: Any, **options: Any) -> None:
        for sentence in run_due(timezone.localdate()):
            self.stdout.write(sentence)
