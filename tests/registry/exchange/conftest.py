"""Fixtures of the tests of imports."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.registry.exchange.tables import filed


@pytest.fixture
def author(people: Any) -> Any:
    from registry.models import Origin
    from registry.services.records import Author

    return Author(people["keeper"], Origin.IMPORT, "stocktaking")


@pytest.fixture
def run(author: Any, certificate: Any) -> Callable[..., Any]:
    """`run(rows)` or `run(bytes)` saves a file in the name of the register keeper."""
    from registry.services.imports import import_file

    def import_rows(content: Any, kind: str = "", commit: bool = True, by: Any = author) -> Any:
        return import_file(content if isinstance(content, bytes) else filed(content), by, kind=kind, commit=commit)

    return import_rows
