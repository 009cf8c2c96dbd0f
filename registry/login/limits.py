"""Counting attempts at something, together for all workers; the limits themselves are in the settings."""

from __future__ import annotations

from collections.abc import Callable

from allauth.core.internal import ratelimit


class TooManyAttempts(Exception):
    """So many attempts failed that no more are taken for a while."""


def attempt(action: str, key: str) -> Callable[[], None]:
    """Count an attempt before it is made; what is returned takes it back, for an attempt that did not fail.

    Call it outside of a transaction that a failure rolls back, else the failure is forgotten with it. Raises
    TooManyAttempts.
    """
    usage = ratelimit.consume(None, app="allauth.account", action=action, key=key, limit_get=True)
    if usage is None:
        raise TooManyAttempts
    rollback: Callable[[], None] = usage.rollback
    return rollback


def refuse_further(action: str, key: str) -> None:
    """Raise TooManyAttempts where so many attempts failed (see `note_failure`) that no more are taken for a while.

    Nothing is counted. So whoever calls it lets one attempt for this key be under way at a time, from here until its
    failure is noted and committed, else guesses made at once pass together.
    """
    if ratelimit.consume(None, app="allauth.account", action=action, key=key, limit_get=True, dry_run=True) is None:
        raise TooManyAttempts


def note_failure(action: str, key: str) -> None:
    """Count an attempt that failed."""
    ratelimit.consume(None, app="allauth.account", action=action, key=key, limit_get=True)
