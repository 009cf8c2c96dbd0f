"""What the engine says is stored in English, and read in the language of its reader."""

from __future__ import annotations

import re

import pytest
from django.utils import translation

from registry.stored import said
from tests.loops.engine.book import BOOK

# Lines of the book that hold a sentence: indented and no reference, or a confirmation.
REFERENCE = re.compile(r"(IEC|ISA|NEC|ANSI|EN|NAMUR|HART|FieldComm)\b.*(\d|memory\)|\([A-Z]\))|.*from memory\)$")


def sentences() -> list[str]:
    found = []
    for line in BOOK.read_text(encoding="utf-8").splitlines():
        if line.startswith("confirm: "):
            found.append(line.removeprefix("confirm: "))
        elif line.startswith("    ") and not REFERENCE.fullmatch(line.strip()):
            found.append(line.strip())
    return list(dict.fromkeys(found))


def test_every_sentence_of_the_book_is_said_in_german() -> None:
    with translation.override("de"):
        english = [sentence for sentence in sentences() if said(sentence) == sentence]
    assert len(sentences()) > 200
    assert not english, "add these to loops/sentences.py"


def test_no_half_of_a_sentence_stays_english() -> None:
    words = re.compile(r"\b(the|is|of|and|would|not|with|for|at least|above|within)\b")
    with translation.override("de"):
        left = [told for sentence in sentences() if words.search(told := said(sentence))]
    assert not left


@pytest.mark.parametrize(
    "stored, german",
    [
        ("Uo of S1 is 25.2 V, within the Ui of D1, 30 V.", "Uo von S1 ist 25,2 V, innerhalb von Ui von D1, 30 V."),
        ("The circuit is not earthed.", "Der Stromkreis ist nicht geerdet."),
        (
            "Devices 2.2 nF and cables 33 nF make 35.2 nF, within the 107 nF permitted (for group IIC).",
            "Geräte 2,2 nF und Kabel 33 nF ergeben 35,2 nF, innerhalb der zulässigen 107 nF (für Gruppe IIC).",
        ),
        ("Not known: length of W1 and Ci of D1.", "Nicht bekannt: Länge von W1 und Ci von D1."),
        ("What somebody typed on 3 May: 25.2 V.", "What somebody typed on 3 May: 25.2 V."),
    ],
)
def test_a_stored_sentence_in_german(stored: str, german: str) -> None:
    with translation.override("de"):
        assert said(stored) == german
    with translation.override("en"):
        assert said(stored) == stored


def test_a_name_that_reads_like_a_sentence_moves_no_number() -> None:
    """A tag is any text. Whatever it says, each number stays with its words."""
    with translation.override("de"):
        told = said("Uo of A is 3 V, within is 25.2 V, above the Ui of D1, 24 V.")
    assert told.endswith("ist 25,2 V, über Ui von D1, 24 V.")
