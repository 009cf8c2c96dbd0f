"""What is wrong with a table is told at once, each fault with its row, its column and the cure; nothing is saved."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from registry.exchange.csv_xlsx import TableError, table, write_xlsx
from registry.models import Equipment, Origin
from registry.services.imports import Report
from registry.services.records import Author, snapshot
from tests.registry.exchange.tables import DEVICE_ROW, SOURCE_ROW, counts, filed, found

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "change, column, message",
    [
        ({"Uo": "28"}, "Uo", "Add the unit"),
        ({"permitted 2 Co": "650"}, "permitted 2 Co", "Add the unit"),
        ({"permitted 2 group": "IIX"}, "permitted 2 group", "valid choice"),
        ({"permitted 2 together": "perhaps"}, "permitted 2 together", "yes or no"),
        ({"side": "device"}, "Uo", "take energy"),
        ({"certificate": "EXA 99 ATEX 1 issue 0"}, "certificate", "no certificate"),
        ({"certificate": "1"}, "certificate", "no certificate"),
        ({"terminals": ""}, "terminals", "required"),
        ({"terminals": "01. Feb"}, "terminals", "made the date"),
        ({"kind": "thing"}, "kind", "valid choice"),
        ({"output characteristic": ""}, "output characteristic", "output characteristic"),
        ({"Ta min": "70 degC"}, "Ta min", "above the highest"),
        ({"type": "x" * 100}, "type", "80 characters"),
        ({"temperature class 1": "T9"}, "temperature class 1", "temperature class"),
        ({"temperature class 1 Ta max": "40 degC"}, "temperature class 1", "required"),
        ({"Uo": "28 V\u200b"}, "Uo", "hidden"),
    ],
)
def test_a_fault_is_named_by_row_and_column_with_its_value(
    run: Callable[..., Report], change: dict[str, str], column: str, message: str
) -> None:
    report = run([DEVICE_ROW, SOURCE_ROW | {"type": "other"}, SOURCE_ROW | change])
    assert (4, column) in {(fault.row, fault.column) for fault in report.faults}
    fault = next(fault for fault in report.faults if fault.column == column)
    assert message in fault.message
    if column in change:
        assert fault.value == change[column]
    assert {fault.row for fault in report.faults} == {4}
    assert not report.saved
    assert not Equipment.objects.exists()


def test_what_is_wrong_with_the_headings(run: Callable[..., Report]) -> None:
    report = run(filed([SOURCE_ROW | {"Uoo": "1 V", "zzzz": "?"}]), kind="equipment")
    assert [(row, column) for row, column, _ in found(report)] == [(1, "Uoo"), (1, "zzzz")]
    assert "did you mean Uo?" in report.faults[0].message
    assert "remove the column" in report.faults[1].message
    report = run(b"maker,type,Uo,UO\na,b,1 V,2 V\n", kind="equipment")
    assert (1, "UO", "The column “UO” stands here twice: keep one of the two.") in found(report)
    report = run(b"maker,Uo\na,1 V\n", kind="equipment")
    assert found(report) == [(1, "type", "Add the column type: it tells the records apart.")]


def test_the_kind_is_that_of_the_headings(run: Callable[..., Report]) -> None:
    assert run(filed([SOURCE_ROW]), commit=False).kind == "equipment"
    with pytest.raises(TableError, match="say which of"):
        run(b"colour,size\nred,1\n")


def test_rows_that_contradict_each_other(run: Callable[..., Report]) -> None:
    second = SOURCE_ROW | {"terminals": "3-4", "kind": "inline"}
    assert [(row, column) for row, column, _ in found(run([SOURCE_ROW, second]))] == [(3, "kind")]
    assert found(run([SOURCE_ROW, SOURCE_ROW])) == [
        (3, "terminals", "Two sets of terminals have this name: name each as it is marked.")
    ]
    row = {"name": "Pair", "Cc": "110 nF/km"}
    assert found(run([row, row], kind="cable_type")) == [
        (3, "name", "This stands already in row 2: keep one of the two rows.")
    ]


def test_an_archived_record_is_not_written_over(run: Callable[..., Report], cable_type: Any, author: Author) -> None:
    from registry.services.records import set_archived

    set_archived(cable_type, True, author)
    report = run([{"name": cable_type.name, "Cc": "100 nF/km"}], kind="cable_type")
    assert found(report) == [(2, "name", "This is archived: bring it back first, or use another name.")]


def test_a_fault_in_one_row_leaves_the_others_unsaved(run: Callable[..., Report], source: Any) -> None:
    before = snapshot(Equipment.objects.get(pk=source.pk))
    report = run([SOURCE_ROW | {"Uo": "20 V"}, SOURCE_ROW | {"type": "broken", "Uo": "20"}])
    assert [(fault.row, fault.column) for fault in report.faults] == [(3, "Uo")]
    assert snapshot(Equipment.objects.get(pk=source.pk)) == before


def test_who_may_not_save_may_not_import(run: Callable[..., Report], people: Any, site: Any) -> None:
    for role in ("reader", "approver", "planner"):
        with pytest.raises(PermissionDenied):
            run([SOURCE_ROW], by=Author(people[role], Origin.IMPORT))
    area = {"site": site.code, "name": "Bay", "zone": "1", "group": "IIC", "temperature class": "T4"}
    report = run([area], kind="area", by=Author(people["neighbour"], Origin.IMPORT))
    assert [(fault.row, fault.column) for fault in report.faults] == [(2, "site")]
    assert "of this site may do this" in report.faults[0].message
    assert counts(run([area], kind="area", by=Author(people["designer"], Origin.IMPORT))) == (1, 0, 0, True)


def test_the_database_has_the_last_word(run: Callable[..., Report], monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody saves the same item between the look at the register and the import: no 500, nothing half saved."""
    run([SOURCE_ROW])
    monkeypatch.setattr("registry.services.imports.stored_records", lambda kind, groups: {})
    report = run([DEVICE_ROW, SOURCE_ROW])
    assert [(fault.row, fault.column) for fault in report.faults] == [(3, "type")]
    assert "There is already a" in report.faults[0].message
    assert Equipment.objects.count() == 1


def test_a_report_as_csv(run: Callable[..., Report]) -> None:
    report = run([SOURCE_ROW | {"Uo": "28"}])
    rows = list(csv.DictReader(io.StringIO(report.as_csv().decode("utf-8-sig"), newline="")))
    assert rows == [{"row": "2", "column": "Uo", "value": "28", "fault": report.faults[0].message}]
    assert report.sentence() == "1 fault in 1 row: nothing was saved."


# ------------------------------------------------------------------------------------------- five thousand rows at once

FAULTS: list[tuple[str, str]] = [
    ("Uo", "28"),
    ("Uo", "28 A"),
    ("Io", "93 ma"),
    ("Po", "0.65 W max"),
    ("Po", "0 W"),
    ("Ta min", "90 degC"),
    ("Ta max", "60 C"),
    ("level of protection", "id"),
    ("gas group", "IIX"),
    ("side", "both"),
    ("output characteristic", "square"),
    ("certificate", "EXA 99 ATEX 9999 issue 0"),
    ("certificate", "12345"),
    ("terminals", "1. Feb"),
    ("kind", "barrier"),
    ("permitted 1 group", ""),
    ("permitted 1 Co", "1,500 nF"),
    ("permitted 1 Lo", "4.2 nF"),
    ("permitted 2 together", "sometimes"),
    ("maker", ""),
]


def test_every_one_of_two_hundred_faults_in_five_thousand_rows_is_found_in_its_place(
    run: Callable[..., Report],
) -> None:
    rows = [SOURCE_ROW | {"type": f"NB-{number}"} for number in range(5000)]
    expected = set()
    for place in range(200):
        column, text = FAULTS[place % len(FAULTS)]
        row = 17 + place * 24
        rows[row - 2] = rows[row - 2] | {column: text}
        expected.add((row, column))
    report = run(write_xlsx(table(list(SOURCE_ROW), [[row[name] for name in SOURCE_ROW] for row in rows]), "equipment"))
    assert report.rows == 5000
    assert {(fault.row, fault.column) for fault in report.faults} == expected
    assert len(report.faults) == 200
    assert all(fault.message.endswith((".", "?")) for fault in report.faults)
    assert not report.saved
    assert not Equipment.objects.exists()
