"""Sessions of people: which are open, and ending them."""

from __future__ import annotations

from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.db.models import Exists, OuterRef
from django.http import HttpRequest

from registry.models import User


def open_sessions(user: User) -> list[UserSession]:
    """The sessions of a person that have not ended, the newest first."""
    found = UserSession.objects.filter(user=user).order_by("-created_at")
    return [session for session in found if session.exists()]


def keep_session(request: HttpRequest) -> None:
    """List the session of a request under its key, which a new password has changed."""
    UserSession.objects.create_from_request(request)


def end_sessions(user: User, *, keep: str = "", only: int | None = None) -> int:
    """End the sessions of a person at once: all but the one with the key `keep`, or the one row `only`; how many."""
    found = UserSession.objects.filter(user=user).exclude(session_key=keep)
    ended = list(found.filter(pk=only) if only is not None else found)
    for session in ended:
        session.end()
    return len(ended)


def forget_lost_sessions() -> int:
    """Forget what is listed of sessions that are there no longer; how many."""
    standing = Session.objects.filter(session_key=OuterRef("session_key"))
    return UserSession.objects.filter(~Exists(standing)).delete()[0]
