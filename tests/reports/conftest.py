"""What the tests of what leaves the house share."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pypdf
import pytest


@pytest.fixture
def words_of() -> Callable[[bytes], str]:
    """The text of a PDF as another program reads it, with every run of white space as one blank."""

    def read(data: bytes) -> str:
        pages = pypdf.PdfReader(io.BytesIO(data)).pages
        return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))

    return read


@pytest.fixture
def pages_of() -> Callable[[bytes], list[str]]:
    """The text of each page of a PDF."""

    def read(data: bytes) -> list[str]:
        return [re.sub(r"\s+", " ", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(data)).pages]

    return read


@pytest.fixture
def submit(people: Any) -> Callable[[Any], Any]:
    """`submit(loop)`: the designer asks for approval; gives the loop as it then stands."""
    from loops.services import approvals

    return lambda loop: approvals.submit(loop.pk, people["designer"], text="Please check the cable.")


@pytest.fixture
def sign(people: Any, password: str) -> Callable[..., Any]:
    """`sign(loop)`: the approver signs; gives the sheet."""
    from reports.services import issue

    def as_approver(loop: Any, by: str = "approver", **values: Any) -> Any:
        return issue(loop.pk, people[by], **({"password": password, "opened_version": loop.version} | values))

    return as_approver


@pytest.fixture
def submitted(loop: Any, submit: Callable[[Any], Any]) -> Any:
    """A loop in review."""
    return submit(loop)


@pytest.fixture
def sheet(submitted: Any, sign: Callable[..., Any]) -> Any:
    """The issued sheet of that loop."""
    return sign(submitted)


@pytest.fixture
def damaged(submitted: Any, people: Any, password: str) -> Any:
    """A stored sheet whose bytes are not the ones of its digest."""
    from loops.services import approvals
    from reports.models import Sheet

    proof = approvals.prove(submitted.pk, people["approver"], password=password)
    approval = approvals.approve(submitted.pk, people["approver"], proof)
    return Sheet.objects.create(approval=approval, number="NORTH-PT-1101-A", bytes=b"%PDF-1.7", sha256="0" * 64)
