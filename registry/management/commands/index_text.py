"""Make the indexes for searching text in long lists, where the database refused them at the migration."""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.core.management.base import BaseCommand, CommandError

from registry.text_search import SEARCHED, index_all


class Command(BaseCommand):
    help = "Make the indexes for searching text in long lists (PostgreSQL with the extension pg_trgm)."

    def handle(self, *args: Any, **options: Any) -> None:
        found = {name: model for model in apps.get_models() if (name := str(model._meta.model_name)) in SEARCHED}
        if refusal := index_all(found):
            raise CommandError(refusal)
        self.stdout.write("The indexes are there.")
