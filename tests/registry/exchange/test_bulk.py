"""Reading and saving many records says and stores the same as one by one. Django's own forms judge the quick reader."""

from __future__ import annotations

import copy
import gc
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.entries import LoopEntry
from registry.choices import ASKED_ONE_BY_ONE, remembered_choices
from registry.digests import canonical, digest
from registry.entries import ENTRIES
from registry.exchange.csv_xlsx import TableError
from registry.models import Deed, Equipment, Origin, Revision
from registry.reading import EntryForm, read_entry, read_level
from registry.services.bulk import BatchRefused, Incoming, save_many
from registry.services.changes import LISTENERS
from registry.services.imports import Report
from registry.services.inserting import COPIED, insert
from registry.services.records import Author, save_text, snapshot
from tests.registry.exchange.tables import SOURCE_ROW

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
    # What is given by its key could be a name of digits, which is looked for first.
    for data, looked in ((source_data, 2), (by_name, 1)):
        with CaptureQueriesContext(connection) as queries, remembered_choices():
            for _ in range(5):
                cleaned, errors = read_entry(ENTRIES["equipment"], data)
                assert not errors
                assert cleaned["terminals"][0]["certificate"] == certificate
        assert len(queries) == looked


def test_many_names_are_read_together(certificate: Any) -> None:
    field = ENTRIES["equipment"].children["terminals"].base_fields["certificate"]
    with CaptureQueriesContext(connection) as queries, remembered_choices():
        for number in range(3 * ASKED_ONE_BY_ONE):
            with pytest.raises(ValidationError):
                field.clean(f"Not there {number}")
        assert field.clean(str(certificate)) == field.clean(certificate.pk) == certificate
        with pytest.raises(ValidationError):
            field.clean(certificate.pk + 1)
    assert len(queries) == ASKED_ONE_BY_ONE + 1


@pytest.mark.parametrize("count", [COPIED - 1, COPIED, 3 * COPIED])
def test_new_rows_get_their_keys_and_say_what_was_given(people: Any, count: int) -> None:
    odd = "a\tb\\n “µΩ” \\N 'x' {1,2}"
    rows = [
        Revision(
            kind="test",
            record_id=1,
            number=number,
            label=odd,
            snapshot={"text": odd, "nothing": None, "list": [1, 2.5, True, {"µ": ""}]},
            digest="0" * 64,
            author=people["keeper"],
            origin=Origin.IMPORT,
            reason="",
        )
        for number in range(count)
    ]
    insert(rows, {"snapshot": [canonical(row.snapshot) for row in rows]} if count % 2 else None)
    stored = Revision.objects.filter(kind="test").in_bulk()
    assert len(stored) == count
    for row in rows:
        found = stored[row.pk]
        assert (found.number, found.label, found.snapshot) == (row.number, odd, row.snapshot)
        assert (found.created_at, found.author_id, found.reason) == (row.created_at, row.author_id, "")
    assert [row.pk for row in rows] == sorted(stored)
    assert Revision.objects.create(**{**values_of(rows[0]), "number": count}).pk > max(row.pk for row in rows)


@pytest.mark.parametrize("count", [2, 3 * COPIED])
def test_new_rows_that_the_database_refuses_are_refused_together(people: Any, count: int) -> None:
    rows = [
        Revision(kind="test", record_id=1, number=min(number, count - 2), snapshot={}, author=people["keeper"])
        for number in range(count)
    ]
    with pytest.raises(IntegrityError), transaction.atomic():
        insert(rows)
    assert not Revision.objects.filter(kind="test").exists()


def values_of(row: Revision) -> dict[str, Any]:
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key}


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


def altered(text: dict[str, Any], number: int) -> dict[str, Any]:
    """Another text for a record: values, rows added, taken away, moved and renamed, by its number."""
    text = copy.deepcopy(text)
    terminals = text["terminals"]
    permitted = terminals[0]["permitted"]
    match number % 5:
        case 0:
            terminals[0]["po_w"] = f"{0.1 + number / 1000:.3f} W"
        case 1:
            text["notes"] = f"Note {number}"
            permitted.append({"group": "IIA", "co_f": "2 uF", "lo_h": "30 mH"})
        case 2:
            del permitted[0]
        case 3:
            permitted.reverse()
            terminals[0] |= {"io_a": "50 mA", "uo_v": "20 V", "um_v": "250 V", "po_w": "0.2 W"}
        case 4:
            terminals.append(copy.deepcopy(terminals[0]) | {"id": "", "name": terminals[0]["name"]})
            terminals[0]["name"] = "9-10"
            for row in terminals[-1]["permitted"]:
                row.pop("id", None)
    return text


def test_changed_records_are_those_that_one_save_each_makes(source_data: dict[str, Any], author: Author) -> None:
    from registry.selectors import record_text

    def made(prefix: str) -> list[Any]:
        texts = [numbered(source_data, number) | {"maker": prefix} for number in range(200)]
        return save_many("equipment", [Incoming(text) for text in texts], author).records

    def plain(content: Any, key: str = "") -> Any:
        if isinstance(content, dict):
            if key == "certificate":
                return content
            return {name: plain(value, name) for name, value in content.items() if name not in {"id", "maker"}}
        return [plain(item) for item in content] if isinstance(content, list) else content

    ones = [Equipment.objects.get(pk=record.pk) for record in made("One by one")]
    many = [Equipment.objects.get(pk=record.pk) for record in made("In bulk")]
    for number, record in enumerate(ones):
        save_text("equipment", altered(record_text(record), number), author, record_id=record.pk, opened_version=1)
    batch = [Incoming(altered(record_text(record), number), record) for number, record in enumerate(many)]
    with CaptureQueriesContext(connection) as queries:
        outcome = save_many("equipment", batch, author)
    assert (outcome.added, outcome.changed, outcome.unchanged) == (0, 200, 0)
    assert len(queries) < 200
    for one, other in zip(ones, many, strict=True):
        stored, expected = Equipment.objects.get(pk=other.pk), Equipment.objects.get(pk=one.pk)
        assert plain(snapshot(stored)) == plain(snapshot(expected))
        assert (stored.version, stored.created_at) == (expected.version, other.created_at)
        first, second = (Revision.objects.get(kind="equipment", record_id=r.pk, number=2) for r in (one, other))
        assert digest(plain(second.snapshot)) == digest(plain(first.snapshot))
        assert second.digest == digest(second.snapshot) == digest(snapshot(stored) | {"archived": False})
        assert [row.uo_v for row in stored.terminals.all()] == [row.uo_v for row in expected.terminals.all()]


def test_queries_do_not_grow_with_the_changed_records(source_data: dict[str, Any], author: Author) -> None:
    counts = []
    for size in (5, 10):
        batch = [Incoming(numbered(source_data, size * 100 + number)) for number in range(size)]
        records = save_many("equipment", batch, author).records
        changed = []
        for item, record in zip(batch, records, strict=True):
            text = copy.deepcopy(dict(item.data))
            text["terminals"][0]["uo_v"] = "20 V"
            changed.append(Incoming(text, record))
        with CaptureQueriesContext(connection) as queries:
            assert save_many("equipment", changed, author).changed == size
        counts.append(len(queries))
    assert counts[1] - counts[0] <= 1


def test_listeners_are_told_of_changed_records_once(source_data: dict[str, Any], author: Author) -> None:
    batch = [Incoming(numbered(source_data, number)) for number in range(3)]
    records = save_many("equipment", batch, author).records
    heard: list[tuple[str, int | None]] = []

    def listen(deeds: Any) -> None:
        heard.extend((deed.verb, deed.record_id) for deed in deeds)

    LISTENERS.append(listen)
    try:
        changed = [
            Incoming(dict(item.data) | {"notes": "New"}, record) for item, record in zip(batch, records, strict=True)
        ]
        save_many("equipment", changed, author)
    finally:
        LISTENERS.remove(listen)
    assert heard == [(Deed.CHANGE, record.pk) for record in records]


def test_a_stale_record_and_a_name_already_taken_are_refused_and_nothing_is_changed(
    source_data: dict[str, Any], author: Author
) -> None:
    texts = [numbered(source_data, number) for number in range(4)]
    records = save_many("equipment", [Incoming(text) for text in texts], author).records
    Equipment.objects.filter(pk=records[0].pk).update(version=7)

    batch = [
        Incoming(texts[0] | {"notes": "New"}, records[0]),
        Incoming(texts[1] | {"type_name": "NB-2"}, records[1]),
        Incoming(texts[2] | {"notes": "New"}, records[2]),
    ]
    with pytest.raises(BatchRefused) as refused:
        save_many("equipment", batch, author)
    errors = refused.value.outcome.errors
    assert set(errors) == {0, 1}
    assert "changed by somebody else" in errors[0]["type_name"][0]
    assert "already" in errors[1]["type_name"][0]
    assert not Equipment.objects.exclude(notes="").exists()
    assert not Revision.objects.filter(kind="equipment", number__gt=1).exists()


def test_rows_in_use_are_refused_in_words_at_the_record_that_loses_them(
    loop: Any, source: Any, source_data: dict[str, Any], author: Author
) -> None:
    from registry.selectors import record_text

    (other,) = save_many("equipment", [Incoming(numbered(source_data, 7))], author).records
    source = Equipment.objects.get(pk=source.pk)
    batch = [
        Incoming(record_text(other) | {"notes": "New"}, other),
        Incoming(record_text(source) | {"terminals": [source_data["terminals"][0] | {"name": "7-8"}]}, source),
    ]
    with pytest.raises(BatchRefused) as refused:
        save_many("equipment", batch, author)
    assert set(refused.value.outcome.errors) == {1}
    assert "in use" in refused.value.outcome.errors[1]["terminals"][0]
    assert not Equipment.objects.exclude(notes="").exists()


def test_rows_inserted_at_once_are_those_that_django_inserts(certificate: Any) -> None:
    """More rows than one statement takes, in their order, each with the key of its own row."""
    from registry.models import CableType
    from registry.services.inserting import insert

    rows = [
        CableType(name=f"Pair {n}", capacitance_f_per_m=Decimal(n) / 10**12, capacitance_f_per_m_text=f"{n} pF/m")
        for n in range(900)
    ]
    insert(rows)
    insert([])
    stored = CableType.objects.in_bulk([row.pk for row in rows])
    assert [stored[row.pk].name for row in rows] == [f"Pair {n}" for n in range(900)]
    theirs = CableType.objects.create(
        name="Pair", capacitance_f_per_m=rows[7].capacitance_f_per_m, capacitance_f_per_m_text="7 pF/m"
    )
    theirs.refresh_from_db()
    ours = stored[rows[7].pk]
    for field in CableType._meta.concrete_fields:
        if field.name not in {"id", "name", "created_at", "changed_at"}:
            assert getattr(ours, field.name) == getattr(theirs, field.name)
    assert ours.created_at and not rows[0]._state.adding
    with pytest.raises(IntegrityError), transaction.atomic():
        insert([CableType(name="Pair 3")])


def test_the_search_for_garbage_goes_on_after_an_import(run: Callable[..., Report]) -> None:
    run([SOURCE_ROW])
    assert gc.isenabled()
    with pytest.raises(TableError):
        run(b"")
    assert gc.isenabled()
