"""Passwords of known breaches are refused, looked up in a file of digests that the installation has."""

from __future__ import annotations

import gzip
import hashlib
import io
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from registry.login.breached import BreachedPasswordValidator, holds

WORDS = [f"slow-copper-{number}" for number in range(200)]


def digest(word: str) -> str:
    return hashlib.sha1(word.encode()).hexdigest().upper()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A collection in the form in which they are given out: digests in order, each with a count."""
    found = tmp_path / "sha1.txt"
    found.write_text("".join(f"{mark}:{number}\r\n" for number, mark in enumerate(sorted(map(digest, WORDS)))))
    return found


@pytest.mark.django_db
def test_a_password_of_a_breach_is_refused(path: Path, settings: Any, people: Any, client_as: Any) -> None:
    settings.AUTH_PASSWORD_VALIDATORS = [
        {"NAME": "registry.login.breached.BreachedPasswordValidator", "OPTIONS": {"path": str(path)}}
    ]
    from tests.conftest import PASSWORD

    client = client_as("reader")
    typed = {"old_password": PASSWORD, "new_password1": WORDS[7], "new_password2": WORDS[7]}
    assert "known from a breach" in client.post("/password/", typed).content.decode()
    with pytest.raises(ValidationError, match="known from a breach"):
        password_validation.validate_password(WORDS[7], people["reader"])
    password_validation.validate_password("slow-copper-lantern-91", people["reader"])


def test_each_of_them_is_found_and_nothing_else(path: Path) -> None:
    validator = BreachedPasswordValidator(str(path))
    for word in WORDS:
        with pytest.raises(ValidationError):
            validator.validate(word)
        validator.validate(f"{word} ")
        validator.validate(word.upper())


def test_a_file_that_is_gone_lets_nothing_pass(tmp_path: Path) -> None:
    with pytest.raises(OSError):
        BreachedPasswordValidator(str(tmp_path / "gone")).validate("slow-copper-lantern")


marks = st.integers(0, 2**12).map(lambda number: hashlib.sha1(str(number).encode()).hexdigest().upper().encode())


@given(st.lists(marks, unique=True, max_size=60), marks, st.sampled_from([b"", b":1", b":123456789"]), st.booleans())
def test_a_look_finds_what_a_set_would(kept: list[bytes], asked: bytes, count: bytes, ends: bool) -> None:
    text = b"\n".join(mark + count for mark in sorted(kept)) + (b"\n" if ends and kept else b"")
    for mark in [asked, *kept]:
        assert holds(io.BytesIO(text), mark) == (mark in kept)


def test_more_than_the_3000_commonest_of_eight_signs_are_known() -> None:
    """ASVS 5.0, 6.2.4, from memory: the 3,000 commonest that the rules of length allow."""
    place = Path(password_validation.__file__).with_name("common-passwords.txt.gz")
    with gzip.open(place, "rt") as file:
        assert sum(len(line.strip()) >= 8 for line in file) > 3_000
