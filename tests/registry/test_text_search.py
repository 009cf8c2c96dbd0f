"""The index of text on SQLite says where to look: what is found with it is found without it, and it follows every row.

PostgreSQL keeps its index itself.
"""

from __future__ import annotations

from typing import Any
from unittest import mock

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import F

from registry.models import Certificate
from registry.querysets import containing
from registry.text_search import SEARCHED, index_name, index_words, is_kept, refill, searched_models
from tests.hostile.texts import SHOWN

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite has tables of words"),
]


def words() -> dict[int, str]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT rowid, words FROM {index_name(Certificate)}")
        return dict(cursor.fetchall())


def expected() -> dict[int, str]:
    rows = Certificate.objects.values_list("pk", *SEARCHED["certificate"])
    return {key: " ".join(texts) for key, *texts in rows}


def found(text: str) -> set[int]:
    """The keys of what is found, by the index and without it."""
    columns = SEARCHED["certificate"]
    with_index = containing(Certificate.objects.all(), text, columns)
    assert ("MATCH" in str(with_index.query)) == any(len(word) >= 3 for word in text.split())
    with mock.patch("registry.text_search.is_kept", return_value=False):
        without = containing(Certificate.objects.all(), text, columns)
    assert "MATCH" not in str(without.query)
    keys = set(with_index.values_list("pk", flat=True))
    assert keys == set(without.values_list("pk", flat=True))
    return keys


def make(**values: str) -> Certificate:
    return Certificate.objects.create(**{"scheme": "ATEX", "number": "UNL 26 ATEX 0001"} | values)


@pytest.mark.parametrize("name", SEARCHED)
def test_every_kind_that_is_searched_has_its_words_after_all_migrations(name: str) -> None:
    assert is_kept(searched_models()[name])


def test_words_follow_what_happens_to_rows() -> None:
    one, other = make(holder="Holder Äß"), make(number="UNL 26 ATEX 0002", standards="EN 60079-11")
    assert words() == expected()
    Certificate.objects.filter(pk=one.pk).update(holder="Somebody else")
    assert words() == expected()
    Certificate.objects.filter(pk=one.pk).update(status="withdrawn", version=F("version") + 1)
    assert words() == expected()
    other.delete()
    assert words() == expected() != {}


@pytest.mark.parametrize("text", SHOWN.values(), ids=SHOWN)
def test_a_hostile_text_is_found_by_each_of_its_parts(text: str) -> None:
    one = make(holder=text[:200])
    make(number="UNL 26 ATEX 0002", holder="Another")
    for part in (text[:9], text[2:12], text[-7:]):
        # What people type is searched word by word, without what no keyboard gives.
        if "".join(part.split()).isprintable() and part.strip() and part.isascii():
            assert one.pk in found(part)
        else:
            found(part)


def test_small_letters_find_capital_ones_and_short_texts_are_found_too() -> None:
    one = make(holder='Say "AND" (NOT) OR*')
    for text in ("atex 0001", "say", '"AND"', "(not)", "or*", "SA", '"', "AND NOT", "0001 say"):
        assert found(text) == {one.pk}
    assert found("NEAR(a b)") == found("zzz") == set()


def test_a_lost_trigger_switches_the_index_off_and_the_command_makes_it_anew(capsys: Any) -> None:
    one = make(holder="Before")
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {index_name(Certificate)}_update")
    Certificate.objects.update(holder="Afterwards")
    assert not is_kept(Certificate)
    assert set(containing(Certificate.objects.all(), "Afterwards", SEARCHED["certificate"])) == {one}
    call_command("index_text")
    assert is_kept(Certificate)
    assert found("Afterwards") == {one.pk}


def test_rows_that_came_while_no_trigger_was_in_force_are_put_in_by_a_refill() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {index_name(Certificate)}_insert")
    make()
    refill()
    assert words() == expected() != {}
    index_words(Certificate, SEARCHED["certificate"])
    assert words() == expected()


def test_a_text_that_many_hold_is_not_looked_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("registry.text_search.FEW", 1)
    one, other = make(), make(number="UNL 26 ATEX 0002")
    columns = SEARCHED["certificate"]
    assert "MATCH" not in str(containing(Certificate.objects.all(), "UNL 26", columns).query)
    assert set(containing(Certificate.objects.all(), "UNL 26", columns)) == {one, other}
    assert found("0002") == {other.pk}
