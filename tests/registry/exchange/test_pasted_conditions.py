"""Specific conditions of use in pasted text: all of them whole, or in doubt, or told as not read. The sentences are
invented; the layouts are common practice, no source."""

import pytest

from registry.conditions import numbered_conditions
from registry.exchange.pasted_text import Pasted, read_pasted_text

KEEP, SHIELD = "Keep the window dry.", "Shield it from impact."
TWO = f"{KEEP}\n{SHIELD}"

SURE = [
    ("17 Specific conditions of use\n1. Keep the window\n   dry.\n2. Shield it from impact.", TWO),
    ("[17] SPECIFIC CONDITIONS OF USE\n\n(1) Keep the window dry.\n\n(2) Shield it from\nimpact.", TWO),
    ("(17) Special conditions for safe use (X)\na) Keep the window dry.\nb) Shield it from impact.", TWO),
    ("Special Conditions for Safe Use:\n- Keep the window dry.\n- Shield it from impact.", TWO),
    ("Special Conditions for Safe Use:\n• Keep the window dry.\n• Shield it from impact.", TWO),
    ("17 Specific conditions of use\n17.1 Keep the window dry.\n17.2 Shield it from impact.", TWO),
    ("SPECIFIC CONDITIONS OF USE: YES as shown below:\n1. Keep the window dry.\n2. Shield it from impact.", TWO),
    ("Specific conditions of use\nThe following conditions apply:\n1. Keep the window dry.\n2. Shield it from impact.",
     TWO),
    ("17 Besondere Bedingungen für die sichere Anwendung\n1. Das Fenster trocken halten.",
     "Das Fenster trocken halten."),
    ("Besondere Bedingungen:\n1) Trocken halten.", "Trocken halten."),
    ("17 Conditions spéciales pour une utilisation sûre\n1) Garder au sec.", "Garder au sec."),
    ("Conditions particulières d'utilisation : Garder au sec.", "Garder au sec."),
    ("Specific conditions of use: Keep the window dry.", KEEP),
    # where they end
    (f"17 Specific conditions of use\n1. {KEEP}\n18 Essential health and safety requirements\nMet.", KEEP),
    (f"[17] Specific conditions of use\n1. {KEEP}\n[18] Something of another name\nMet.", KEEP),
    (f"Specific conditions of use\n1. {KEEP}\nDrawings and documents\nA-1 of 2020", KEEP),
    (f"Specific conditions of use\n1. {KEEP}\nManufacturer: Vessarik GmbH", KEEP),
    # rows under one of them belong to it
    ("Specific conditions of use\n1. In zone 0:\na) keep it dry;\nb) shield it.\n2. Shield it from impact.",
     f"In zone 0: a) keep it dry; b) shield it.\n{SHIELD}"),
    # a number at the start of a line that is none of a condition
    ("17 Specific conditions of use\n1. Bond it by\n4 mm2 of copper or\n1.5 mm2 twice.",
     "Bond it by 4 mm2 of copper or 1.5 mm2 twice."),
    # twice the same
    (f"Specific conditions of use: {KEEP}\nAnnex\nSpecific conditions of use\n1. {KEEP}", KEEP),
]  # fmt: skip

END, PARTS = "where the last condition ends", "where one condition ends"
DOUBTFUL = [
    (f"Specific conditions of use\n{KEEP}\n\n{SHIELD}", TWO, PARTS),
    (f"Specific conditions of use\n{KEEP} Shield it\nfrom impact.", f"{KEEP} {SHIELD}", PARTS),
    (f"Specific conditions of use\n1. {KEEP}\n3. {SHIELD}", TWO, "not in sequence"),
    (f"Specific conditions of use\n2. {KEEP}", KEEP, "not in sequence"),
    (f"Specific conditions of use\n1. {KEEP}\n2. Shield it\nPage 3 of 5\nfrom impact.", TWO, "A page ends"),
    (f"Specific conditions of use\n1. {KEEP}\n2. Shield it\nEXB 3 / page 3 of 5\nfrom impact.", TWO, "A page ends"),
    (f"Specific conditions of use\n1. {KEEP}\n\nThis belongs to it or not.", KEEP, END),
    (f"Specific conditions of use\n1. {KEEP}\nUi = 30 V", f"{KEEP} Ui = 30 V", END),
    (f"Specific conditions of use\n1. {KEEP}\nANOTHER PART", KEEP, END),
    ("Specific conditions of use\n1. Keep the window\nDrawings\nA-1", "Keep the window", END),
    (f"1 Specific conditions of use\n1. {KEEP}\n2. {SHIELD}", TWO, END),
    (f"Specific conditions of use\nIn zone 0 these hold.\n1. {KEEP}",
     f"In zone 0 these hold.\n{KEEP}", "before the first number"),
    ("Specific conditions of use\n1. Keep the win-\ndow dry.", "Keep the win-dow dry.", "parted"),
    ("Specific conditions of use\n1. Keep the window dry.    Das Fenster trocken halten.",
     "Keep the window dry. Das Fenster trocken halten.", "beside each other"),
    (f"EXA 21 ATEX 0101\nSpecific conditions of use: {KEEP}", KEEP, "has no X"),
    (f"Specific conditions of use: None\nAnnex\nSpecific conditions of use: {KEEP}", KEEP, "there are none"),
]  # fmt: skip

NOTHING = [
    ("Specific conditions of use: None", ""),
    ("17 Specific conditions of use\nNone.", ""),
    ("SPECIFIC CONDITIONS OF USE: NO", ""),
    ("Besondere Bedingungen: keine\n18 Grundlegende Anforderungen", ""),
    ("If the sign X is placed after the number, it is subject to\nspecial conditions for safe use specified there.",
     ""),
    ("If the sign X is placed after the number, it is subject to the\nSpecial conditions for safe use", ""),
    ("Specific conditions of use are given in the schedule.", ""),
    ("Specific conditions of use: see clause 17 of the annex", "another place"),
    ("Specific conditions of use\nRefer to the annex.", "another place"),
    ("17 Specific conditions of use\n18 Essential health and safety requirements", "No condition is read"),
    ("Specific conditions of use:", "No condition is read"),
    ("Specific conditions of use\n" + "".join(f"{n}. Keep it dry.\n" for n in range(1, 60)), "the conditions end"),
]  # fmt: skip


def only(pasted: Pasted) -> tuple[str, str]:
    assert len(pasted.conditions) == 1
    assert not pasted.conditions[0].contradictory
    return pasted.conditions[0].text, pasted.conditions[0].note


@pytest.mark.parametrize("text, expected", SURE, ids=[row[0][:40] for row in SURE])
def test_conditions_are_read_whole_one_a_line(text: str, expected: str) -> None:
    pasted = read_pasted_text(text)
    assert only(pasted) == (expected, "")
    # What the form takes over is what is confirmed one by one later.
    assert [line for _, line in numbered_conditions(expected)] == expected.splitlines()
    assert not any(entry.reason for entry in pasted.unread)


@pytest.mark.parametrize("text, expected, word", DOUBTFUL, ids=[row[0][:60] for row in DOUBTFUL])
def test_what_may_be_half_of_them_is_in_doubt(text: str, expected: str, word: str) -> None:
    found, note = only(read_pasted_text(text))
    assert found == expected
    assert word in note


@pytest.mark.parametrize("text, word", NOTHING, ids=[row[0][:60] for row in NOTHING])
def test_where_there_are_none_none_are_read(text: str, word: str) -> None:
    pasted = read_pasted_text(text)
    reasons = " ".join(entry.reason for entry in pasted.unread if entry.reason)
    assert not pasted.conditions
    assert word in reasons and bool(word) == bool(reasons)


def test_different_conditions_in_two_places_are_both_shown_and_neither_is_preferred() -> None:
    pasted = read_pasted_text(f"Specific conditions of use: {KEEP}\nAnnex\nSpecific conditions of use: {SHIELD}")
    assert [(item.text, item.contradictory) for item in pasted.conditions] == [(KEEP, True), (SHIELD, True)]


def test_lines_of_conditions_are_not_told_as_unread() -> None:
    pasted = read_pasted_text(f"Before.\n17 Specific conditions of use\n1. {KEEP}\n2. {SHIELD}\nDrawings\nA-1")
    assert [entry.line_number for entry in pasted.unread] == [1, 5, 6]
    assert pasted.conditions[0].line_number == 3
