"""Everything that the engine says, word for word: the text in ``book.txt`` was read by a person and is kept."""

from __future__ import annotations

import re

from loops.engine.references import RULES

from . import book


def test_the_engine_says_what_the_book_holds() -> None:
    said, kept = book.written().split("\n\n"), book.BOOK.read_text(encoding="utf-8").rstrip("\n").split("\n\n")
    said[-1] = said[-1].rstrip("\n")
    for now, before in zip(said, kept, strict=False):
        assert now == before
    assert len(said) == len(kept)
    assert [re.sub(r" \(as: .*", "", text.split("\n")[0]) for text in said[1:-1]] == [f"== {t}" for t in book.CIRCUITS]


def test_the_book_has_every_rule() -> None:
    """A rule that no circuit of the book touches would change unseen."""
    used = {check.rule for case in book.CIRCUITS.values() for check in book.judge(case).checks}
    used |= {part.rule for case in book.CIRCUITS.values() for part in book.judge(case).function.parts}
    assert used == set(RULES)
