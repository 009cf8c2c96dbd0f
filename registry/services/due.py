"""What is to be done because time has passed; run once a day or more often, for example by cron."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.conf import settings
from django.core.management import call_command

from registry.services import kept_answers, notices, works
from registry.services.expiry import send_digest
from registry.services.sealed_factors import seal_anew
from registry.services.sessions import forget_lost_sessions
from registry.services.webhooks import send_what_waits

ON_ITS_WAY = dt.timedelta(minutes=10)
KEEP_TASKS_DAYS = 30


STEPS: list[Callable[[dt.date], str]] = [send_digest]
"""What may be due; each step says what it did, and does nothing twice on one day. Other apps add theirs when they are
ready."""


def run_due(today: dt.date) -> list[str]:
    """Do what is due; each step says what it did. Run again on the same day it does nothing twice."""
    steps = (mail_again, forget_tasks, forget_sessions, forget_works, forget_answers, send_what_waits, seal_anew)
    return [*(step(today) for step in STEPS), *(step() for step in steps)]


def mail_again() -> str:
    """Mail lines that a mail server did not take; after a week they stay in the inbox alone."""
    # A line of the last minutes may be on its way.
    return f"Mail: {notices.mail_waiting(ON_ITS_WAY, anyway=True)}"


def forget_sessions() -> str:
    """Forget sessions that ran out, and what is listed of them."""
    call_command("clearsessions", verbosity=0)
    return f"Sessions: {forget_lost_sessions()} that ran out are forgotten."


def forget_answers() -> str:
    """Forget what requests with an idempotency key were answered more than a day ago."""
    return f"Answers kept for programs: {kept_answers.forget()} older than a day are forgotten."


def forget_works() -> str:
    """Forget long work that ended a month ago, with the files that came of it."""
    return f"Long work: {works.forget(dt.timedelta(days=KEEP_TASKS_DAYS))} that ended long ago is forgotten."


def has_worker() -> bool:
    """Whether tasks wait in the database for a worker; else they are done at once."""
    return "django_tasks_db" in settings.TASKS["default"]["BACKEND"]


def forget_tasks() -> str:
    """Forget finished tasks of the worker that are a month old."""
    if not has_worker():
        return "Tasks: none are kept."
    call_command("prune_db_task_results", min_age_days=KEEP_TASKS_DAYS, verbosity=0)
    return f"Tasks: none older than {KEEP_TASKS_DAYS} days are kept."
