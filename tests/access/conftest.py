"""What the tests of who may do what share."""

from __future__ import annotations

from collections.abc import Iterator
from unittest import mock

import pytest


@pytest.fixture
def quick_paper() -> Iterator[None]:
    """Sheets of a few bytes: the paper itself is proved elsewhere, and takes a second a sheet."""
    with mock.patch("reports.services.sheet_pdf", return_value=b"%PDF-1.7"):
        yield
