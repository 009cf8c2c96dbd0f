"""Loops as a table: out and in again, changed, refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.urls import reverse

from loops.models import Loop, Verification
from registry.exchange.csv_xlsx import Table, read_table, table, write_csv
from registry.models import Origin, Revision
from registry.services.imports import Report, export_file, export_table, import_file, template_file
from registry.services.records import Author

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(people: Any) -> Callable[..., Report]:
    def run(content: bytes, role: str = "designer", commit: bool = True) -> Report:
        return import_file(content, Author(people[role], Origin.IMPORT, "hook-up list"), kind="loop", commit=commit)

    return run


def edited(content: Table, **changes: str) -> bytes:
    """A table with other cells, by heading."""
    rows = [
        [changes.get(heading, cell) for heading, cell in zip(content.headings, row.cells, strict=True)]
        for row in content.rows
    ]
    return write_csv(table(content.headings, rows))


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_an_own_export_comes_back_and_changes_nothing(loop: Any, send: Callable[..., Report], suffix: str) -> None:
    content = export_file("loop", Loop.objects.all(), suffix)
    before = Revision.objects.count(), Verification.objects.count()
    report = import_file(content, Author(loop.owner, Origin.IMPORT), commit=True)
    assert (report.kind, report.added, report.changed, report.unchanged, report.faults) == ("loop", 0, 0, 1, ())
    assert (Revision.objects.count(), Verification.objects.count()) == before


def test_a_row_becomes_a_loop_with_its_verdict(loop: Any, send: Callable[..., Report]) -> None:
    content = export_table("loop", Loop.objects.all())
    assert send(edited(content, tag="PT-2202")).added == 1
    made = Loop.objects.get(tag="PT-2202")
    assert made.verification is not None
    assert made.verification.verdict == loop.verification.verdict == "complies"
    assert made.circuits.get().members.count() == 2
    assert Revision.objects.get(kind="loop", record_id=made.pk).origin == Origin.IMPORT


def test_a_changed_row_is_a_new_revision_and_is_judged(loop: Any, send: Callable[..., Report]) -> None:
    content = export_table("loop", Loop.objects.all())
    report = send(edited(content, **{"cable 1 length": "900 m"}))
    assert (report.changed, report.faults) == (1, ())
    loop.refresh_from_db()
    assert loop.circuits.get().cables.get().length_m == 900
    assert loop.verification.verdict == "does_not_comply"  # 5 nF + 99 nF of cable are more than 83 nF
    assert send(edited(content, **{"cable 1 length": "900 m"})).unchanged == 1


def test_faults_are_named_by_row_and_column_and_nothing_is_saved(loop: Any, send: Callable[..., Report]) -> None:
    content = export_table("loop", Loop.objects.all())
    before = Revision.objects.count()
    changes = {"tag": "PT-3", "cable 1 length": "900 apples", "member 1 terminals": "1", "site": "NOWHERE"}
    report = send(edited(content, **changes))
    assert {(fault.row, fault.column) for fault in report.faults} == {
        (2, "site"),
        (2, "cable 1 length"),
        (2, "member 1 terminals"),
    }
    assert Revision.objects.count() == before


@pytest.mark.parametrize("role", ["keeper", "approver", "neighbour"])
def test_only_a_designer_of_the_site_imports_loops(loop: Any, send: Callable[..., Report], role: str) -> None:
    report = send(edited(export_table("loop", Loop.objects.all()), service="changed"), role)
    assert [fault.column for fault in report.faults] == ["site"]
    loop.refresh_from_db()
    assert loop.service != "changed"


def test_the_template_names_what_the_export_names(loop: Any) -> None:
    assert set(read_table(template_file("loop", "csv")).headings) <= set(
        export_table("loop", Loop.objects.all()).headings
    )


def test_the_command_and_the_page_know_loops(
    loop: Any, client_as: Callable[[str], Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content = client_as("designer").get(reverse("loop_export", args=["csv"]), {"q": loop.tag}).content
    file = tmp_path / "loops.csv"
    file.write_bytes(content)
    call_command("import_register", str(file), kind="loop", user=loop.owner.username, check=True)
    assert "1 left as they are" in capsys.readouterr().out
    nothing = client_as("outsider").get(reverse("loop_export", args=["csv"])).content.decode()
    assert loop.tag not in nothing
