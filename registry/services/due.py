"""What is to be done because time has passed; run once a day or more often, for example by cron."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.core.management import call_command
from django.utils import timezone

from registry.services import notices
from registry.services.expiry import send_digest
from registry.tasks import mail_notices

MAIL_AGAIN = dt.timedelta(days=7)
KEEP_TASKS_DAYS = 30


def run_due(today: dt.date) -> list[str]:
    """Do what is due; each step says what it did. Run again on the same day it does nothing twice."""
    return [send_digest(today), mail_again(), forget_tasks()]


def mail_again() -> str:
    """Have lines mailed that a mail server did not take; after a week they stay in the inbox alone."""
    waiting = notices.unmailed().filter(at__gte=timezone.now() - MAIL_AGAIN)
    # A line of the last minutes may be on its way.
    keys = list(waiting.filter(at__lte=timezone.now() - dt.timedelta(minutes=10)).values_list("pk", flat=True))
    if not keys:
        return "Mail: nothing waits."
    mail_notices.enqueue(keys)
    return f"Mail: {len(keys)} lines tried again."


def forget_tasks() -> str:
    """Forget finished tasks of the worker that are a month old."""
    if "django_tasks_db" not in settings.TASKS["default"]["BACKEND"]:
        return "Tasks: none are kept."
    call_command("prune_db_task_results", min_age_days=KEEP_TASKS_DAYS, verbosity=0)
    return f"Tasks: none older than {KEEP_TASKS_DAYS} days are kept."
