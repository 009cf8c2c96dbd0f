"""What the tests of who may do what share."""

from __future__ import annotations

import io
from collections.abc import Iterator
from unittest import mock

import pytest


def one_page() -> bytes:
    """A document of one empty page, whose pages can be counted."""
    import pikepdf

    output = io.BytesIO()
    with pikepdf.new() as document:
        document.add_blank_page()
        document.save(output)
    return output.getvalue()


@pytest.fixture
def quick_paper() -> Iterator[None]:
    """Sheets of a few bytes: the paper itself is proved elsewhere, and takes a second a sheet."""
    with mock.patch("reports.services.sheet_pdf", return_value=one_page()):
        yield
