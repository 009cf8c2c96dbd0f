"""Where it is kept who is logged in: Django's table of sessions, read by a statement that is kept.

Every request reads its session first, by its key; all else is Django's own.
"""

from __future__ import annotations

from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.contrib.sessions.models import Session
from django.db.models import CharField, DateTimeField
from django.utils import timezone

from registry.prepared import PreparedRead

STANDING: PreparedRead[Session] = PreparedRead(
    lambda key, now: Session.objects.filter(session_key=key, expire_date__gt=now), CharField(), DateTimeField()
)


class SessionStore(DatabaseStore):
    """One session; it stands until its time is over."""

    def _get_session_from_db(self) -> Session | None:
        found = STANDING.first(self.session_key, timezone.now())
        if found is None:
            self._session_key = None
        return found
