"""Reading and saving many records says and stores the same as one by one. Django's own forms judge the quick reader."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.entries import LoopEntry
from registry.entries import ENTRIES
from registry.models import Equipment, Origin, Revision
from registry.reading import EntryForm, read_entry, read_level, remembered_choices
from registry.services.bulk import BatchRefused, Incoming, save_many
from registry.services.records import Author, save_text, snapshot

pytestmark = pytest.mark.django_db


def entries(entry: type[EntryForm]) -> list[type[EntryForm]]:
    return [entry, *(found for child in entry.children.values() for found in entries(child))]


LEVELS = [level for entry in (*ENTRIES.values(), LoopEntry) for level in entries(entry)]
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-5, 10**20),
    st.just([]),
    st.text(max_size=8),
    st.sampled_from(
        [
            "",
            " ",
            "28 V",
            "93 mA",
            "not stated",
            "IIC",
            "ia",
            "source",
            "linear",
            "T4",
            "2021-03-01",
            "yes",
            "off",
            "X 1",
        ]
    ),
)


@pytest.mark.parametrize("entry", LEVELS, ids=lambda entry: entry.__name__)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_level_is_read_as_a_django_form_reads_it(entry: type[EntryForm], data: st.DataObject) -> None:
    values = {name: data.draw(VALUES, label=name) for name in entry.base_fields}
    form = entry(values)
    form.is_valid()
    expected = {name: [str(message) for message in messages] for name, messages in form.errors.items()}
    level, faults = read_level(entry, values, None)
    assert faults == expected
    assert level.cleaned_data == form.cleaned_data


@pytest.fixture
def author(people: Any) -> Author:
    return Author(people["keeper"], Origin.IMPORT)


def numbered(data: dict[str, Any], number: int) -> dict[str, Any]:
    return copy.deepcopy(data) | {"type_name": f"NB-{number}"}


def test_related_records_are_looked_up_once(source_data: dict[str, Any], certificate: Any) -> None:
    by_name = copy.deepcopy(source_data)
    by_name["terminals"][0]["certificate"] = str(certificate)
    for data in (source_data, by_name):
        with (
            CaptureQueriesContext(
                connection,
            ) as queries,
            remembered_choices(),
        ):
            for _ in range(5):
                cleaned, errors = read_entry(ENTRIES["equipment"], data)
                assert not errors
                assert cleaned["terminals"][0]["certificate"] == certificate
        assert len(queries) == 1


def test_queries_do_not_grow_with_the_records(source_data: dict[str, Any], author: Author) -> None:
    counts = []
    for size in (5, 10):
        batch = [Incoming(numbered(source_data, size * 100 + number)) for number in range(size)]
        with CaptureQueriesContext(connection) as queries:
            assert save_many("equipment", batch, author).added == size
        counts.append(len(queries))
    assert counts[1] - counts[0] <= 1


def test_added_records_are_those_that_one_save_each_makes(source_data: dict[str, Any], author: Author) -> None:
    one = save_text("equipment", numbered(source_data, 1), author)
    (other,) = save_many("equipment", [Incoming(numbered(source_data, 2))], author).records

    def plain(content: Any) -> Any:
        if isinstance(content, dict):
            return {key: plain(value) for key, value in content.items() if key not in {"id", "type_name"}}
        return [plain(item) for item in content] if isinstance(content, list) else content

    stored = Equipment.objects.get(pk=other.pk)
    assert plain(snapshot(stored)) == plain(snapshot(one))
    first, second = (Revision.objects.get(kind="equipment", record_id=record.pk) for record in (one, other))
    names = ("number", "origin", "author_id", "reason")
    assert [getattr(first, name) for name in names] == [getattr(second, name) for name in names]
    assert second.label == str(stored)
    assert stored.version == one.version


def test_all_errors_are_told_and_nothing_is_saved(
    source_data: dict[str, Any], author: Author, save: Callable[..., Any]
) -> None:
    save("equipment", numbered(source_data, 1))
    batch = [
        Incoming(numbered(source_data, 2)),
        Incoming(numbered(source_data, 3) | {"kind": "thing"}),
        Incoming(numbered(source_data, 1)),
        Incoming(numbered(source_data, 2)),
    ]
    with pytest.raises(BatchRefused) as refused:
        save_many("equipment", batch, author)
    errors = refused.value.outcome.errors
    assert set(errors) == {1, 2, 3}
    assert set(errors[1]) == {"kind"}
    assert set(errors[2]) == set(errors[3]) == {"type_name"}
    assert Equipment.objects.count() == 1


def test_a_record_in_which_nothing_differs_is_left_alone(
    source_data: dict[str, Any], author: Author, save: Callable[..., Any]
) -> None:
    from registry.selectors import record_text

    item = save("equipment", source_data)
    version = item.version
    same = Incoming(record_text(item), item)
    outcome = save_many("equipment", [same], author)
    assert (outcome.added, outcome.changed, outcome.unchanged) == (0, 0, 1)
    changed = record_text(item)
    changed["terminals"][0]["permitted"][0]["co_f"] = "80 nF"
    outcome = save_many("equipment", [Incoming(changed, item)], author)
    assert (outcome.added, outcome.changed, outcome.unchanged) == (0, 1, 0)
    item.refresh_from_db()
    assert item.version == version + 1
    assert Revision.objects.filter(kind="equipment", record_id=item.pk).count() == 2
