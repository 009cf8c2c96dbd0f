"""A register leaves as a table, is edited with ten mistakes, and comes back: each is named, then all is saved."""

from __future__ import annotations

import base64
import csv
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from registry.models import Equipment, Origin, Revision
from registry.services.imports import export_file, import_file
from registry.services.records import Author

pytestmark = pytest.mark.django_db

MISTAKES: tuple[tuple[int, str, str], ...] = (
    # row as the spreadsheet counts, heading, what is typed there
    (12, "Ui", "30"),
    (47, "Ii", "100 V"),
    (81, "Pi", "one watt"),
    (120, "Ci", "5,0,0 nF"),
    (199, "Li", "-10 uH"),
    (250, "certificate", "EXB 99 ATEX 9999 issue 7"),
    (301, "kind", "transmitter"),
    (377, "gas group", "IIX"),
    (444, "level of protection", "id"),
    (501, "terminals", ""),
)


def sent(client: Any, rows: list[list[str]], button: str) -> Any:
    buffer = io.StringIO()
    csv.writer(buffer).writerows(rows)
    file = SimpleUploadedFile("register.csv", buffer.getvalue().encode())
    return client.post(reverse("import"), {"file": file, button: "1", "reason": "stocktaking"})


def test_five_hundred_items_with_ten_mistakes(client_as: Callable[[str], Any], people: Any, device: Any) -> None:
    one = list(csv.reader(io.StringIO(export_file("equipment", Equipment.objects.all(), "csv").decode("utf-8-sig"))))
    column = one[0].index("type")
    many = [[*one[1][:column], f"SP-{number}", *one[1][column + 1 :]] for number in range(1000, 1499)]
    buffer = io.StringIO()
    csv.writer(buffer).writerows([one[0], *many])
    import_file(buffer.getvalue().encode(), Author(people["keeper"], Origin.IMPORT), kind="equipment", commit=True)
    assert Equipment.objects.count() == 500

    client = client_as("keeper")
    exported = client.get(reverse("equipment_export", args=["csv"])).content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(exported)))
    assert len(rows) == 501
    broken = [list(row) for row in rows]
    for number, heading, typed in MISTAKES:
        broken[number - 1][rows[0].index(heading)] = typed
    before = Revision.objects.count()
    answer = sent(client, broken, "save")
    assert answer.status_code == 400
    file = re.search(r"data:text/csv;base64,([^\"]+)", answer.content.decode())
    assert file
    told = list(csv.reader(io.StringIO(base64.b64decode(file[1]).decode("utf-8-sig"))))[1:]
    assert {(int(row[0]), row[1]) for row in told} == {(number, heading) for number, heading, _ in MISTAKES}
    assert all(row[3] for row in told)
    assert Revision.objects.count() == before

    mended = [list(row) for row in rows]
    mended[11][rows[0].index("Ui")] = "29 V"
    assert "0 added, 1 changed, 499 left" in sent(client, mended, "save").content.decode()
    assert "0 added, 0 changed, 500 left" in sent(client, mended, "save").content.decode()
