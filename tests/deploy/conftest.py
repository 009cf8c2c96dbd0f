"""Requests that reach the application itself, as a server hands them to it."""

from __future__ import annotations

import pytest
from django.db.backends.base.base import BaseDatabaseWrapper


@pytest.fixture
def one_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    """A request begins and ends by closing a connection that is in a transaction: that of the test is kept."""
    monkeypatch.setattr(BaseDatabaseWrapper, "close_if_unusable_or_obsolete", lambda self: None)
