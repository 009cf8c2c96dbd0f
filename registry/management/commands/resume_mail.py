"""``manage.py resume_mail``: mail people again after a restore at another address."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from registry.services.notices import resume_mail


class Command(BaseCommand):
    help = (
        "Mail people again, on a site that was put back from a backup of another address. Notices of the last week go "
        "out at once."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(resume_mail())
