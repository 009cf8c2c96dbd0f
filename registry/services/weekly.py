"""What is told once in each week of the calendar."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.db import transaction

from registry.models import DueRun


def once_a_week(name: str, title: str, today: dt.date, tell: Callable[[dt.date | None], str]) -> str:
    """Have something told unless it was in this week of the calendar already; gives what was done as a sentence.

    `tell` takes the day on which it was told last (None where it never was) and gives that sentence. What it writes
    and the note that it was told stand or fall together.
    """
    with transaction.atomic():
        last = DueRun.objects.select_for_update().filter(name=name).order_by("-on").first()
        if last and last.on.isocalendar()[:2] >= today.isocalendar()[:2]:
            return f"{title}: told on {last.on} for this week already."
        did = tell(last.on if last else None)
        DueRun.objects.create(name=name, on=today, did=did)
        return did
