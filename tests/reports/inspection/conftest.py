"""Inspections of the tests: begun by the planner, filled in with what was found."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.files.storage import default_storage


@pytest.fixture(autouse=True)
def empty_store(db: None) -> Iterator[None]:
    """Photos in memory outlive a test: take them away."""
    from registry.models import Attachment

    yield
    for row in Attachment.objects.all():
        default_storage.delete(row.path)


@pytest.fixture
def begin(people: Any) -> Callable[..., Any]:
    """`begin(loop, grade="close")`: an inspection begun by the planner."""
    from reports.inspection import services

    def made(loop: Any, grade: str = "detailed", occasion: str = "periodic", by: str = "planner") -> Any:
        return services.begin(loop.pk, people[by], grade=grade, occasion=occasion)

    return made


@pytest.fixture
def fill(people: Any) -> Callable[..., Any]:
    """`fill(inspection, item={"result": …})`: every line as it should be but for those of the named items."""
    from reports.inspection import services
    from reports.inspection.services import LineText

    def made(inspection: Any, **items: dict[str, Any]) -> Any:
        told = set()
        for line in inspection.lines.all():
            typed = items.get(line.item, {"result": "ok"}) if line.item not in told else {"result": "ok"}
            told.add(line.item)
            services.save_line(inspection.pk, line.pk, people["planner"], LineText(**typed))
        return inspection

    return made


@pytest.fixture
def signed(begin: Any, fill: Any, people: Any, password: str) -> Callable[..., Any]:
    """`signed(loop, "close", glands={"result": "defect", …})`: an inspection that the planner signed."""
    from reports.inspection import services

    def made(loop: Any, grade: str = "detailed", occasion: str = "periodic", **items: Any) -> Any:
        inspection = fill(begin(loop, grade, occasion), **items)
        return services.sign(inspection.pk, people["planner"], password, shown=seen(inspection))

    return made


def seen(inspection: Any) -> str:
    """The mark of an inspection as a page shows it now."""
    from reports.inspection import services
    from reports.inspection.signing import mark_of

    return mark_of(services.record_now(inspection))


DEFECT = {"result": "defect", "note": "The gland is loose.", "priority": "2"}


@pytest.fixture
def defect(signed: Any, loop: Any) -> Any:
    """A defect of `loop`: a loose gland, priority 2."""
    from reports.inspection.models import Defect

    record = signed(loop, "close", glands=DEFECT)
    return Defect.objects.get(signed=record)
