"""Make the indexes for searching text in long lists, where the database refused them at the migration or lost them."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.text_search import index_all, searched_models


class Command(BaseCommand):
    help = "Make the indexes for searching text in long lists (PostgreSQL with the extension pg_trgm, or SQLite)."

    def handle(self, *args: Any, **options: Any) -> None:
        if refusal := index_all(searched_models()):
            raise CommandError(refusal)
        self.stdout.write("The indexes are there.")
