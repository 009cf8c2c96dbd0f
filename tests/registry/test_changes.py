"""The change log: every door's deeds are in it, in the transaction that did them, each chained to the one before."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection, transaction

from registry.digests import FIRST_MARK, mark_of
from registry.models import Change, Deed, Origin, Revision
from registry.services.bulk import Incoming, save_many
from registry.services.changes import Told, recorded, tell
from registry.services.imports import import_file
from registry.services.people import save_person
from registry.services.records import Author, EntryRefused, save_text, set_archived

pytestmark = pytest.mark.django_db


def log() -> list[Change]:
    return list(Change.objects.order_by("number"))


def is_chained(rows: list[Change]) -> bool:
    previous = FIRST_MARK
    for number, row in enumerate(rows, start=1):
        values = {field.attname: getattr(row, field.attname) for field in Change._meta.concrete_fields}
        if (row.number, row.previous_mark, row.mark) != (number, previous, mark_of(values)):
            return False
        previous = row.mark
    return True


def test_a_save_is_told_with_the_digest_of_its_revision(certificate: Any, people: Any, save: Any) -> None:
    row = log()[-1]
    revision = Revision.objects.get(kind="certificate", record_id=certificate.pk)
    assert (row.verb, row.kind, row.record_id, row.site_id) == (Deed.ADD, "certificate", certificate.pk, None)
    assert (row.actor, row.actor_name) == (people["keeper"], "The keeper")
    assert (row.digest, row.detail) == (revision.digest, {"revision": 1, "origin": "page", "reason": "As tested"})
    assert is_chained(log())


def test_changing_archiving_and_bringing_back_have_words_of_their_own(area: Any, save: Any, author_as: Any) -> None:
    set_archived(area, True, author_as("designer", reason="Pulled down"))
    set_archived(area, False, author_as("designer"))
    rows = [row for row in log() if row.kind == "area"]
    assert [row.verb for row in rows] == [Deed.ADD, Deed.ARCHIVE, Deed.RESTORE]
    assert [row.detail.get("reason") for row in rows] == ["As tested", "Pulled down", "As tested"]
    assert {row.site_id for row in rows} == {area.site_id}


def test_a_save_that_changes_nothing_is_not_told(device_data: Any, device: Any, save: Any) -> None:
    before = len(log())
    save("equipment", device_data, record_id=device.pk)
    assert len(log()) == before


def test_a_refused_save_leaves_no_line(source_data: Any, source: Any, save: Any) -> None:
    before = len(log())
    with pytest.raises(EntryRefused):
        save("equipment", source_data)
    assert len(log()) == before
    save("equipment", source_data | {"type_name": "NB-29"})
    assert len(log()) == before + 1 and is_chained(log())


def test_a_person_is_told_without_a_secret(people: Any, site: Any, password: str) -> None:
    data = {"username": "newcomer", "full_name": "A Newcomer", "is_active": "on", "memberships": []}
    typed = {"password": password, "again": password}
    person = save_person(data, Author(people["administrator"]), password=typed)
    data["memberships"] = [{"site": site.code, "role": "reader"}]
    save_person(data, Author(people["superuser"]), person_id=person.pk)
    rows = [row for row in log() if row.kind == "person"]
    assert [row.verb for row in rows] == [Deed.ADD, Deed.ACCESS]
    assert password not in str([row.detail for row in rows])


def test_an_import_chains_a_whole_batch(people: Any, certificate: Any, source_data: Any) -> None:
    batch = [Incoming(source_data | {"type_name": f"NB-{number}"}) for number in range(30)]
    save_many("equipment", batch, Author(people["keeper"], Origin.IMPORT, "Price list"))
    rows = log()[-30:]
    assert {(row.verb, row.detail["origin"], row.detail["reason"]) for row in rows} == {("add", "import", "Price list")}
    assert {row.digest for row in rows} == set(
        Revision.objects.filter(kind="equipment").values_list("digest", flat=True)
    )
    assert is_chained(log())


def test_a_dry_run_leaves_no_line(people: Any) -> None:
    before = len(log())
    content = b"name,maker\nPair 2,Larkfield Cables\n"
    author = Author(people["keeper"], Origin.IMPORT)
    assert import_file(content, author, kind="cable_type").added == 1
    assert len(log()) == before
    import_file(content, author, kind="cable_type", commit=True)
    assert len(log()) == before + 1


def test_what_an_inner_block_rolls_back_is_forgotten_and_the_rest_is_kept() -> None:
    with recorded():
        tell(Told("change", "note", 1, "kept"))
        with pytest.raises(ZeroDivisionError), recorded():
            tell(Told("change", "note", 2, "lost"))
            raise ZeroDivisionError
        with recorded():
            tell(Told("change", "note", 3, "lost too"))
            transaction.set_rollback(True)
        tell(Told("change", "note", 4, "kept too"))
        assert log() == []
    assert [row.label for row in log()] == ["kept", "kept too"] and is_chained(log())


def test_a_mark_covers_every_column_and_no_time_zone() -> None:
    tell(Told("change", "note", 1, "a label", detail={"text": "µ", "number": 3}))
    values = {field.attname: getattr(log()[0], field.attname) for field in Change._meta.concrete_fields}
    assert mark_of(values) == values["mark"]
    elsewhere = values["at"].astimezone(dt.timezone(dt.timedelta(hours=9)))
    assert mark_of(values | {"at": elsewhere}) == values["mark"]
    for name in set(values) - {"id", "mark"}:
        other = values["at"] + dt.timedelta(microseconds=1) if name == "at" else "another"
        assert mark_of(values | {name: other}) != values["mark"], name


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_writers_at_the_same_time_make_one_chain(people: Any) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has one writer")

    def work(number: int) -> None:
        try:
            for step in range(10):
                save_text("cable_type", {"name": f"Pair {number}-{step}"}, Author(people["keeper"]))
        finally:
            connection.close()

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(work, range(8)))
    rows = log()
    assert len([row for row in rows if row.kind == "cable_type"]) == 80 and is_chained(rows)
