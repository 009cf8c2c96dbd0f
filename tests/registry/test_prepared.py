"""A prepared read gives what its query set gives: Django's own reading is the measure."""

from __future__ import annotations

import inspect
import sys
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, models
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from loops import selectors
from loops.entries import LoopEntry
from loops.models import Loop
from registry.models import User
from registry.prepared import PreparedRead, Question, attach, grouped
from registry.reading import MOST_WAYS, RecordField

pytestmark = pytest.mark.django_db
NAME = models.CharField[Any, Any]()


def plain(value: Any) -> Any:
    """All that is in a record, with what it leads to and which columns it lacks."""
    if not isinstance(value, models.Model):
        return value
    related = {name: plain(found) for name, found in value._state.fields_cache.items() if not is_way_back(value, found)}
    own = {name: item for name, item in value.__dict__.items() if name != "_state"}
    return type(value), value._state.adding, value._state.db, own, related


def is_way_back(value: models.Model, found: Any) -> bool:
    """Records that stand one to one know each other."""
    return isinstance(found, models.Model) and any(back is value for back in found._state.fields_cache.values())


def all_prepared() -> dict[str, PreparedRead[Any]]:
    """Every prepared read of the program."""
    return {
        f"{module.__name__}.{name}": read
        for module in list(sys.modules.values())
        if module and module.__name__.split(".")[0] in {"registry", "loops", "reports"}
        for name, read in vars(module).items()
        if isinstance(read, PreparedRead)
    }


def test_each_gives_what_its_query_set_gives(
    loop: Loop, failing_loop: Loop, people: dict[str, User], area: Any
) -> None:
    reads = all_prepared()
    assert {"loops.selectors.LOOP", "registry.access.HELD", "loops.views.page.EVENTS"} <= reads.keys()
    member = loop.circuits.get().members.all()[0]
    values = {
        "pk": loop.pk,
        "loop": loop.pk,
        "after": 0,
        "site": loop.site_id,
        "user": people["designer"].pk,
        "person": people["designer"].pk,
        "name": str(member.terminals),
        "kind": "loop",
        "digest": "0" * 64,
        "key": "k" * 32,
        "now": timezone.now(),
    }
    filled = set()
    for name, read in reads.items():
        given = [values[place] for place in inspect.signature(read.build).parameters]
        wanted = list(read.build(*given))
        for _ in range(4):  # PostgreSQL keeps the plan from the third time on
            assert [plain(row) for row in read(*given)] == [plain(row) for row in wanted], name
        if wanted:
            filled.add(name)
    assert {
        "loops.selectors.LOOP",
        "loops.selectors.MEMBERS",
        "loops.selectors.CABLES",
        "registry.access.HELD",
    } <= filled


def test_other_values_are_asked_for_with_the_same_question(loop: Loop, failing_loop: Loop) -> None:
    read: PreparedRead[Loop] = PreparedRead(lambda tag: Loop.objects.filter(tag=tag).order_by("pk"), NAME)
    for one in (loop, failing_loop, loop):
        assert read(one.tag) == [one]
        assert read.first(one.tag) == one
    assert read("'; --") == []
    assert read.first("%s") is None


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_threads_ask_one_question_by_connections_of_their_own(loop: Loop) -> None:
    read: PreparedRead[Loop] = PreparedRead(
        lambda pk: Loop.objects.filter(pk=pk).select_related("site", "verification")
    )
    asked: list[Question] = []
    found: list[Any] = []

    def ask() -> None:
        try:
            found.extend(plain(row) for _ in range(4) for row in read(loop.pk))
            asked.extend(read.questions.values())
        finally:
            connection.close()

    for _ in range(3):
        thread = threading.Thread(target=ask)
        thread.start()
        thread.join()
    assert len(found) == 12
    assert all(one == plain(read(loop.pk)[0]) for one in found)
    assert len(set(map(id, asked))) == 1


def test_what_is_read_in_further_queries_is_refused(loop: Loop) -> None:
    with pytest.raises(TypeError):
        PreparedRead(lambda pk: Loop.objects.filter(pk=pk).prefetch_related("circuits"))(loop.pk)
    with pytest.raises(TypeError):
        PreparedRead(lambda pk: Loop.objects.filter(pk=pk).values("tag"))(loop.pk)


def test_a_whole_loop_is_at_hand(loop: Loop, people: dict[str, User]) -> None:
    found = selectors.whole_loop(people["designer"], loop.pk)
    assert found is not None
    read = selectors.whole_loops(people["designer"]).get(pk=loop.pk)
    with CaptureQueriesContext(connection) as queries:
        for one, other in zip(found.circuits.all(), read.circuits.all(), strict=True):
            assert one == other
            for name in ("members", "cables", "terminators"):
                rows, wanted = list(getattr(one, name).all()), list(getattr(other, name).all())
                assert rows == wanted
                assert [str(row) for row in rows] == [str(row) for row in wanted]
        assert [str(member.terminals) for member in found.circuits.all()[0].members.all()]
    assert not queries.captured_queries


def test_a_loop_of_another_site_is_not_there(loop: Loop, people: dict[str, User]) -> None:
    assert selectors.whole_loop(people["neighbour"], loop.pk) is None
    assert selectors.whole_loop(people["outsider"], loop.pk) is None
    for nowhere in (loop.pk + 10**6, 2**63 - 1, 2**63, 10**30):
        assert selectors.whole_loop(people["designer"], nowhere) is None


def test_rows_are_attached_as_if_they_had_been_read_ahead(loop: Loop) -> None:
    circuits = list(loop.circuits.all())
    attach([loop], "circuits", grouped(circuits, "loop_id"))
    with CaptureQueriesContext(connection) as queries:
        assert list(loop.circuits.all()) == circuits
    assert not queries.captured_queries


def test_a_name_is_found_however_it_can_be_taken_apart(
    loop: Loop, save: Callable[..., Any], source_data: dict[str, Any]
) -> None:
    field = LoopEntry.children["circuits"].children["members"].base_fields["terminals"]
    item = save("equipment", source_data | {"maker": "Two Words", "type_name": "A, B C"})
    terminals = item.terminals.get()
    found = [field.clean(str(one)) for one in (terminals, loop.circuits.get().members.all()[0].terminals)]
    assert found[0] == terminals and found[1].equipment != item
    for nothing in ("Two Words", "Two Words A, B C", "Two Words A, B C, nothing", "w " * 300 + ", 1-2", ", " * 90):
        with pytest.raises(ValidationError):
            field.clean(nothing)
    assert isinstance(field, RecordField)
    assert max(field.by_name) <= MOST_WAYS
