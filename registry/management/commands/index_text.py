"""Make the indexes for searching text in long lists, where the database refused them at the migration."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.models import Certificate, Equipment
from registry.text_search import index_all


class Command(BaseCommand):
    help = "Make the indexes for searching text in long lists (PostgreSQL with the extension pg_trgm)."

    def handle(self, *args: Any, **options: Any) -> None:
        if refusal := index_all({"equipment": Equipment, "certificate": Certificate}):
            raise CommandError(refusal)
        self.stdout.write("The indexes are there.")
