"""Answers that are kept for a day under the key that a program sent, so that a request that is sent again is not done
again."""

from __future__ import annotations

import datetime as dt

from django.db import IntegrityError, transaction
from django.utils import timezone

from registry.models import KeptAnswer

KEPT = dt.timedelta(days=1)


def claimed(caller: str, key: str, mark: str) -> tuple[KeptAnswer, bool]:
    """The row of a key, and whether it is new. The caller's transaction is under way.

    Of two requests at the same time the second waits here until the first has ended.
    """
    now = timezone.now()
    KeptAnswer.objects.filter(caller=caller, key=key, at__lt=now - KEPT).delete()
    try:
        with transaction.atomic():
            return KeptAnswer.objects.create(caller=caller, key=key, mark=mark, at=now), True
    except IntegrityError:
        return KeptAnswer.objects.get(caller=caller, key=key), False


def forget() -> int:
    """Forget answers that are older than a day; how many."""
    return KeptAnswer.objects.filter(at__lt=timezone.now() - KEPT).delete()[0]
