"""Who calls the API in the tests."""

from __future__ import annotations

from typing import Any

import pytest

from tests.registry.api.asking import token_client


@pytest.fixture
def api(people: Any) -> Any:
    """A program with a token of the designer that may write."""
    return token_client(people["designer"])
