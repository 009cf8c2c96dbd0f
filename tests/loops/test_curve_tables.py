"""A site's own ignition-curve table: refused with the row named, stored once, named in every result."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction
from django.urls import reverse

from loops.engine.tables import DATA
from loops.models import CurveTable, Loop, Verification
from loops.services import approvals
from loops.services.loops import refresh
from loops.services.refusals import WorkflowRefused
from loops.services.tables import TableError, load_table, parse, reset_table, tables_of
from registry.models import Change, Site, User
from registry.services.records import Author

A2 = (DATA / "table_a2.csv").read_text()
HEADINGS = A2.splitlines()[0].split(",")


def written(rows: list[dict[str, str]]) -> str:
    file = io.StringIO()
    writer = csv.DictWriter(file, HEADINGS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return file.getvalue()


def changed(row: str, column: str, value: str) -> str:
    """The built-in table A.2 with another cell in one row."""
    rows = list(csv.DictReader(io.StringIO(A2)))
    next(line for line in rows if line["voltage_V"] == row)[column] = value
    return written(rows)


def scaled(*columns: str) -> str:
    """The built-in table A.2 with every value of some columns a tenth lower."""
    rows = list(csv.DictReader(io.StringIO(A2)))
    for row in rows:
        for column in columns:
            if row[column]:
                row[column] = str(Decimal(row[column]) * Decimal("0.9"))
    return written(rows)


def safer() -> str:
    """The built-in table A.2 with every value a tenth lower: it keeps all relations and permits less."""
    return scaled(*HEADINGS[1:-1])


def test_the_built_in_table_is_read_as_a_table_of_a_site() -> None:
    assert parse("A.2", "Team copy", A2).name == "Team copy"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (changed("28.0", "IIC_x1.5_uF", "0.09"), r"Row 28.0 V: IIC_x1.5_uF rises from the row before"),
        (changed("28.0", "IIC_x1.5_uF", "0"), r"Row 28.0 V: IIC_x1.5_uF must be above zero"),
        (changed("28.0", "IIC_x1.5_uF", "much"), r"Row 28.0 V: IIC_x1.5_uF is not a number"),
        (changed("28.0", "IIC_x1.5_uF", ""), r"Row 28.0 V: column IIC_x1.5_uF has a hole"),
        (scaled("IIC_x1.5_uF"), r"Row \d+\.\d V: IIC x1.5 does not fit the x1 column"),
        ("", "This is no table A.2"),
        ("voltage_V,IIC_x1_A\n12,5\n", "This is no table A.2"),
        (",".join(HEADINGS) + ",extra\n", "Column extra is not known"),
        (",".join(HEADINGS) + "\n", "is empty: a table holds what"),
        ('voltage_V,IIC_x1_uF\n"12', "the line cannot be read"),
    ],
)
def test_a_table_that_cannot_be_true_is_refused_with_the_row_named(text: str, message: str) -> None:
    with pytest.raises(TableError, match=message):
        parse("A.2", "Team copy", text)


@pytest.mark.django_db
def test_a_loaded_table_makes_a_verdict_out_of_date_and_is_named_in_the_next(
    loop: Loop, site: Site, people: dict[str, User]
) -> None:
    assert "tables" not in Verification.objects.latest("pk").results[0]
    row = load_table(site, "A.2", "Team copy 2026", safer(), people["administrator"])
    with pytest.raises(WorkflowRefused, match="ignition-curve tables of the site were changed"):
        approvals.submit(loop.pk, people["designer"])
    refresh(loop.pk, Author(people["designer"]))
    named = Verification.objects.latest("pk").results[0]["tables"]
    assert named == ["IEC 60079-11:2011, table A.1 (from memory)", f"Team copy 2026 ({row.digest[:12]})"]
    approvals.submit(loop.pk, people["designer"])
    assert Change.objects.filter(kind="curve_table", digest=row.digest).exists()


@pytest.mark.django_db
def test_the_built_in_table_comes_back_and_nothing_is_deleted(site: Site, people: dict[str, User]) -> None:
    load_table(site, "A.2", "Team copy", A2, people["administrator"])
    reset_table(site, "A.2", people["administrator"])
    assert tables_of(site) is None
    assert CurveTable.objects.count() == 2
    with pytest.raises(IntegrityError), transaction.atomic():
        rows = CurveTable.objects.all()
        rows._raw_delete(rows.db)


@pytest.mark.django_db
def test_the_command_loads_checks_and_refuses(site: Site, people: dict[str, User], tmp_path: Path) -> None:
    file = tmp_path / "mine.csv"
    file.write_text(A2)
    told = io.StringIO()
    arguments = {"site": site.code, "table": "A.2", "stdout": told}
    call_command("load_curve_table", str(file), check=True, **arguments)
    assert not CurveTable.objects.exists()
    with pytest.raises(CommandError, match="--user"):
        call_command("load_curve_table", str(file), **arguments)
    with pytest.raises(CommandError, match="site administrator may"):
        call_command("load_curve_table", str(file), user="designer", **arguments)
    call_command("load_curve_table", str(file), user="administrator", **arguments)
    assert f"Site {site.code} now uses: mine.csv" in told.getvalue()
    file.write_text(changed("28.0", "IIC_x1.5_uF", "0.09"))
    with pytest.raises(CommandError, match=r"Row 28.0 V"):
        call_command("load_curve_table", str(file), user="administrator", **arguments)
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("load_curve_table", str(tmp_path / "none.csv"), user="administrator", **arguments)
    with pytest.raises(CommandError, match="There is no site NOWHERE"):
        call_command("load_curve_table", str(file), site="NOWHERE", table="A.2")
    assert CurveTable.objects.count() == 1


def combined() -> dict[str, Any]:
    """Two linear sources on one circuit: judged by the tables."""
    source = {"level": "ib", "output": "linear", "isolated": True, "Uo": "12 V", "Io": "20 mA", "Po": "60 mW"}
    return {
        "area": {"zone": "1", "group": "IIC"},
        "sources": [{"name": "S1", **source}, {"name": "S2", **source}],
        "devices": [],
        "cables": [],
        "interconnection": "parallel",
    }


def test_a_case_file_is_judged_with_the_tables_of_a_site(tmp_path: Path) -> None:
    case, table = tmp_path / "case.json", tmp_path / "a2.csv"
    case.write_text(json.dumps(combined()))
    table.write_text(safer())
    plain, own = io.StringIO(), io.StringIO()
    call_command("verify_case", str(case), stdout=plain)
    call_command("verify_case", str(case), a2=table, stdout=own)
    before, after = json.loads(plain.getvalue()), json.loads(own.getvalue())
    assert before["totals"]["C_permitted"] != after["totals"]["C_permitted"]
    assert "a2.csv" in after["tables"][1]
    assert any("a2.csv" in text for text in after["confirmations"])
    table.write_text("nothing")
    with pytest.raises(CommandError, match="cannot be used"):
        call_command("verify_case", str(case), a2=table)


@pytest.mark.django_db
def test_the_page_of_the_site_names_its_tables(site: Site, people: dict[str, User], client_as: Any) -> None:
    page = reverse("site", args=[site.pk])
    client = client_as("designer")
    before = client.get(page).content.decode()
    assert "IEC 60079-11:2011, table A.2 (from memory), built in" in before
    row = load_table(site, "A.2", "Team copy 2026", A2, people["administrator"])
    after = client.get(page).content.decode()
    assert f"Team copy 2026 ({row.digest[:12]}), loaded on" in after
    assert "table A.1 (from memory), built in" in after
    reset_table(site, "A.2", people["administrator"])
    assert "Team copy 2026" not in client.get(page).content.decode()
