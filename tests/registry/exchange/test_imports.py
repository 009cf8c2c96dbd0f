"""Import of tables into the register: what is found wrong and where, and that a file changes all or nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.exchange.csv_xlsx import Table, read_table, table, write_csv
from registry.exchange.layouts import LAYOUTS, Layout, simple
from registry.models import CableType, Certificate, Equipment, HazardousArea, Origin, Revision, Terminals
from registry.reading import EntryForm, RecordField
from registry.services.imports import KINDS, Report, export_file, export_table, template_file
from registry.services.records import Author, digest, snapshot
from tests.registry.exchange.tables import DEVICE_ROW, SOURCE_ROW, counts, filed, found

pytestmark = pytest.mark.django_db

# ---------------------------------------------------------------------------------------------------------- all is well


def test_a_table_becomes_records_with_their_first_revisions(run: Callable[..., Report]) -> None:
    assert counts(run([SOURCE_ROW, DEVICE_ROW])) == (2, 0, 0, True)
    item = Equipment.objects.get(type_name="NB-28")
    terminals = item.terminals.get()
    assert (terminals.uo_v_text, terminals.po_w_text, terminals.certificate.number) == (
        "28 V",
        "not stated",
        "EXA 21 ATEX 0101",
    )
    assert [(row.group, row.co_f_text, row.together) for row in terminals.permitted.all()] == [
        ("IIC", "83 nF", False),
        ("IIB", "650 nF", True),
    ]
    revision = Revision.objects.get(kind="equipment", record_id=item.pk)
    assert (revision.number, revision.origin, revision.reason) == (1, Origin.IMPORT, "stocktaking")
    # What was snapshot while writing in bulk is what a snapshot of the stored record says.
    stored = snapshot(Equipment.objects.get(pk=item.pk)) | {"archived": False}
    assert revision.snapshot == stored
    assert revision.digest == digest(stored)
    assert item.version == 1


def test_a_bulk_save_stores_what_the_page_stores(
    run: Callable[..., Report], source: Any, device: Any, save: Callable[..., Any]
) -> None:
    """The same item by the page and by a table differs in keys and name alone."""
    stored = export_table("equipment", Equipment.objects.filter(pk__in=[source.pk, device.pk]))
    column = stored.headings.index("type")
    copies = [[*row.cells[:column], f"{row.cells[column]} copy", *row.cells[column + 1 :]] for row in stored.rows]
    assert counts(run(write_csv(table(stored.headings, copies)))) == (2, 0, 0, True)

    def plain(content: Any) -> Any:
        if isinstance(content, dict):
            return {key: plain(value) for key, value in content.items() if key not in {"id", "type_name"}}
        return [plain(item) for item in content] if isinstance(content, list) else content

    for item in (source, device):
        copied = Equipment.objects.get(type_name=f"{item.type_name} copy")
        assert plain(snapshot(copied)) == plain(snapshot(item))


def test_several_sets_of_terminals_are_rows_of_one_item_wherever_they_stand(run: Callable[..., Report]) -> None:
    second = SOURCE_ROW | {"terminals": "3-4", "kind": "", "Uo": "12 V"}
    assert counts(run([SOURCE_ROW, DEVICE_ROW, second])) == (2, 0, 0, True)
    assert [t.name for t in Equipment.objects.get(type_name="NB-28").terminals.all()] == ["1-2", "3-4"]


def all_records(kind: str) -> Any:
    return {"equipment": Equipment, "certificate": Certificate, "cable_type": CableType, "area": HazardousArea}[
        kind
    ].objects.all()


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
@pytest.mark.parametrize("kind", ["equipment", "certificate", "cable_type", "area"])
def test_an_export_imports_unchanged_and_changes_nothing(
    kind: str,
    suffix: str,
    run: Callable[..., Report],
    source: Any,
    device: Any,
    cable_type: Any,
    area: Any,
    people: Any,
) -> None:
    before = list(Revision.objects.values_list("pk", "digest"))
    versions = list(all_records(kind).values_list("pk", "version"))
    content = export_file(kind, all_records(kind), suffix)
    report = run(content, by=Author(people["designer"], Origin.IMPORT))
    assert not report.faults
    assert counts(report) == (0, 0, all_records(kind).count(), True)
    assert list(Revision.objects.values_list("pk", "digest")) == before
    assert list(all_records(kind).values_list("pk", "version")) == versions


def test_an_export_fills_an_empty_register_the_same(run: Callable[..., Report], cable_type: Any) -> None:
    content = export_file("cable_type", CableType.objects.all(), "xlsx")
    before = snapshot(cable_type)
    CableType.objects.all().delete()
    assert counts(run(content)) == (1, 0, 0, True)
    assert snapshot(CableType.objects.get()) | {"id": before["id"]} == before


def test_a_change_makes_one_revision_of_what_changed_alone(run: Callable[..., Report]) -> None:
    run([SOURCE_ROW, DEVICE_ROW])
    report = run([SOURCE_ROW | {"Uo": "27 V"}, DEVICE_ROW])
    assert counts(report) == (0, 1, 1, True)
    item = Equipment.objects.get(type_name="NB-28")
    assert list(Revision.objects.filter(kind="equipment", record_id=item.pk).values_list("number", flat=True)) == [2, 1]
    assert item.terminals.get().uo_v_text == "27 V"


def test_columns_that_the_file_does_not_have_stay_as_they_are(run: Callable[..., Report]) -> None:
    run([SOURCE_ROW])
    assert counts(run([{"maker": "Northlight Barriers", "type": "NB-28", "terminals": "1-2", "Uo": "27 V"}])) == (
        0,
        1,
        0,
        True,
    )
    terminals = Terminals.objects.get()
    assert (terminals.uo_v_text, terminals.io_a_text, terminals.permitted.count()) == ("27 V", "93 mA", 2)
    run([{"maker": "Northlight Barriers", "type": "NB-28", "terminals": "1-2", "Io": ""}])
    terminals.refresh_from_db()
    assert (terminals.uo_v_text, terminals.io_a_text) == ("27 V", "")


def test_terminals_that_the_file_does_not_have_stay(run: Callable[..., Report]) -> None:
    run([SOURCE_ROW, SOURCE_ROW | {"terminals": "3-4"}])
    first = Terminals.objects.get(name="1-2").pk
    assert counts(run([SOURCE_ROW | {"terminals": "5-6"}])) == (0, 1, 0, True)
    assert list(Terminals.objects.values_list("name", flat=True)) == ["1-2", "3-4", "5-6"]
    assert Terminals.objects.get(name="1-2").pk == first


def test_headings_and_choices_as_people_write_them(run: Callable[..., Report]) -> None:
    row = {name.upper(): text for name, text in DEVICE_ROW.items()} | {"KIND": "Field device", "GAS GROUP": "iic"}
    row["Vmax"] = row.pop("UI")
    row["ci_f"] = row.pop("CI")
    assert counts(run([row])) == (1, 0, 0, True)
    terminals = Terminals.objects.get()
    assert (terminals.gas_group, terminals.ui_v_text, terminals.ci_f_text) == ("IIC", "30 V", "5 nF")


def test_the_example_of_a_template_is_no_record(run: Callable[..., Report], site: Any, people: Any, save: Any) -> None:
    """The row says that it is an example and is left out; written over it is a row like any other."""
    save("certificate", {"scheme": "ATEX", "number": "EXA 21 ATEX 0101 X", "issue": "0", "status": "current"})
    for kind in ("equipment", "cable_type", "area"):
        for suffix in ("xlsx", "csv"):
            report = run(template_file(kind, suffix), commit=False, by=Author(people["designer"], Origin.IMPORT))
            assert (report.kind, found(report), report.rows, report.added) == (kind, [], 0, 0)
            assert any("Row 2 is the example" in note and "write over it" in note for note in report.notes)
        filled = template_file(kind, "csv").decode("utf-8-sig").replace("Example: ", "").encode()
        report = run(filled, commit=False, by=Author(people["designer"], Origin.IMPORT))
        assert (report.kind, found(report), report.added) == (kind, [], 1)


def test_a_check_saves_nothing_and_says_the_same(run: Callable[..., Report]) -> None:
    report = run([SOURCE_ROW], commit=False)
    assert counts(report) == (1, 0, 0, False)
    assert not Equipment.objects.exists()
    assert not Revision.objects.filter(kind="equipment").exists()


# ------------------------------------------------------------------------------------------- the table and the register


@pytest.mark.parametrize("kind", ["equipment", "certificate", "cable_type", "area"])
def test_a_table_has_a_column_for_everything_that_an_entry_reads(kind: str) -> None:
    layout: Layout = LAYOUTS[kind]
    entry: type[EntryForm] = KINDS[kind].entry
    assert {column.name for column in layout.columns} == set(entry.base_fields)
    if layout.rows:
        child = entry.children[layout.rows]
        assert {column.name for column in layout.row_columns} == set(child.base_fields)
        assert {group.name for group in layout.numbered} == set(child.children)
        for group in layout.numbered:
            assert {column.name for column in group.columns} == set(child.children[group.name].base_fields)
    headings = layout.headings({"permitted": 12, "temperature_classes": 7})
    assert len({simple(heading) for heading in headings}) == len(headings)
    for heading in headings:
        place = layout.place_of(heading)
        assert place is not None
        named = place.group.heading(place.number, place.column) if place.group else place.column.heading
        assert named == heading


def test_columns_of_other_records_are_known_as_such() -> None:
    for kind in KINDS.values():
        for column in kind.layout.columns:
            assert (column.kind == "record") == isinstance(kind.entry.base_fields[column.name], RecordField)


# -------------------------------------------------------------------------------------------------------- the command


def test_the_command(tmp_path: Any, people: Any, certificate: Any, capsys: pytest.CaptureFixture[str]) -> None:
    path, report = tmp_path / "items.csv", tmp_path / "faults.csv"
    path.write_bytes(filed([SOURCE_ROW]))
    call_command("import_register", str(path), "--check", "--user", "keeper")
    assert "1 would be added, 0 changed, 0 left as they are." in capsys.readouterr().out
    assert not Equipment.objects.exists()
    call_command("import_register", str(path), "--user", "keeper")
    assert "1 added, 0 changed, 0 left as they are." in capsys.readouterr().out
    assert Revision.objects.get(kind="equipment").reason == "Import of items.csv"
    path.write_bytes(filed([SOURCE_ROW | {"Uo": "28"}]))
    with pytest.raises(CommandError, match="1 fault in 1 row:"):
        call_command("import_register", str(path), "--user", "keeper", "--report", str(report))
    assert "row 2, Uo: Add the unit" in capsys.readouterr().err
    assert read_table(report.read_bytes()).rows[0].cells[:3] == ("2", "Uo", "28")


@pytest.mark.parametrize(
    "arguments, message",
    [
        (["missing.csv", "--user", "keeper"], "cannot be read"),
        (["items.csv"], "--user"),
        (["items.csv", "--user", "nobody"], "--user"),
        (["items.csv", "--user", "reader"], "may do this"),
        (["items.csv", "--user", "keeper", "--kind", "area"], "Add the column|fault"),
        (["items.txt", "--template", "--kind", "area"], "ends in .csv or .xlsx"),
        (["items.csv", "--template"], "--kind"),
    ],
)
def test_the_command_says_what_it_needs(
    tmp_path: Any, people: Any, certificate: Any, monkeypatch: pytest.MonkeyPatch, arguments: list[str], message: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "items.csv").write_bytes(filed([SOURCE_ROW]))
    with pytest.raises(CommandError, match=message):
        call_command("import_register", *arguments)


def test_the_command_writes_templates(tmp_path: Any) -> None:
    for suffix in ("csv", "xlsx"):
        path = tmp_path / f"empty.{suffix}"
        call_command("import_register", str(path), "--template", "--kind", "cable_type")
        content: Table = read_table(path.read_bytes())
        assert content.headings[0] == "name"
        assert len(content.rows) == 1


def test_headings_alone_say_that_there_is_nothing_to_save(people: Any, capsys: Any, tmp_path: Any) -> None:
    """The command prints the headings with an example; the headings alone are a table of no rows."""
    from django.core.management import call_command

    call_command("import_register", template=True, kind="cable_type")
    headings, example = capsys.readouterr().out.splitlines()
    assert headings.startswith("name,maker,") and example
    file = tmp_path / "headings.csv"
    file.write_text(headings + "\n", encoding="utf-8")
    call_command("import_register", str(file), user="keeper")
    assert capsys.readouterr().out.strip() == "There is no row below the headings: nothing to save."
