"""A register leaves as a workbook, is edited in a spreadsheet with ten mistakes, and comes back; a certificate is
issued anew with a lower Co; a nameplate file becomes a record.

The spreadsheet is openpyxl, a general library: it reads and writes the file as such programs do.
"""

from __future__ import annotations

import base64
import csv
import io
import re
from collections.abc import Callable
from typing import Any

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from registry.exchange.aas_writing import as_aasx
from registry.exchange.nameplate_export import nameplate_environment
from registry.models import Certificate, Equipment, Origin, Revision
from registry.selectors import record_text
from registry.services.imports import export_file, import_file
from registry.services.records import Author
from tests.registry.pages import form_of, forms_of

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


TRICKY = {"description": "=1+1", "function": "+20 mA", "notes": "@here; -5"}
"""Texts that a spreadsheet would take for formulas."""


def edited(content: bytes, edits: dict[tuple[int, str], str | None]) -> bytes:
    """The workbook with some cells typed over, by row and heading, as a spreadsheet saves it."""
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet = book.active
    columns = {cell.value: cell.column for cell in sheet[1]}
    for (row, heading), typed in edits.items():
        sheet.cell(row, columns[heading]).value = typed
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def sent(client: Any, content: bytes, button: str) -> Any:
    file = SimpleUploadedFile("register.xlsx", content)
    return client.post(reverse("import"), {"file": file, button: "1", "reason": "stocktaking"})


def test_five_hundred_items_with_ten_mistakes(client_as: Callable[[str], Any], people: Any, device: Any) -> None:
    one = list(csv.reader(io.StringIO(export_file("equipment", Equipment.objects.all(), "csv").decode("utf-8-sig"))))
    column = one[0].index("type")
    many = [[*one[1][:column], f"SP-{number}", *one[1][column + 1 :]] for number in range(1000, 1499)]
    for heading, text in TRICKY.items():
        many[0][one[0].index(heading)] = text
    buffer = io.StringIO()
    csv.writer(buffer).writerows([one[0], *many])
    import_file(buffer.getvalue().encode(), Author(people["keeper"], Origin.IMPORT), kind="equipment", commit=True)
    assert Equipment.objects.count() == 500

    # 1. Exported, opened and saved again by the spreadsheet: nothing differs.
    client = client_as("keeper")
    exported = client.get(reverse("equipment_export", args=["xlsx"])).content
    before = Revision.objects.count()
    assert "nothing differs from the register" in sent(client, edited(exported, {}), "check").content.decode()

    # 2. Ten mistakes, each named by its row and column.
    broken = edited(exported, {(row, heading): typed or None for row, heading, typed in MISTAKES})
    answer = sent(client, broken, "save")
    assert answer.status_code == 400
    file = re.search(r"data:text/csv;base64,([^\"]+)", answer.content.decode())
    assert file
    told = list(csv.reader(io.StringIO(base64.b64decode(file[1]).decode("utf-8-sig"))))[1:]
    assert {(int(row[0]), row[1]) for row in told} == {(number, heading) for number, heading, _ in MISTAKES}
    assert all(row[3] for row in told)
    assert Revision.objects.count() == before

    # 3. Mended, checked, saved by one press; a second time nothing changes.
    mended = edited(exported, {(12, "Ui"): "29 V"})
    checked = sent(client, mended, "check")
    assert "0 would be added, 1 changed, 499 left as they are." in checked.content.decode()
    form = next(form for form in forms_of(checked) if "carried" in form)
    assert "0 added, 1 changed, 499 left" in client.post(reverse("import"), form | {"save": "1"}).content.decode()
    assert "nothing differs from the register" in sent(client, mended, "save").content.decode()
    assert Revision.objects.count() == before + 1
    kept = Equipment.objects.get(type_name="SP-1000")
    assert {name: getattr(kept, name) for name in TRICKY} == TRICKY


def test_a_certificate_issued_anew_with_a_lower_co_names_the_loops_that_fail_first(
    client_as: Callable[[str], Any], make_loop: Callable[..., Any], source: Any, certificate: Any
) -> None:
    make_loop(tag="PT-1", length="300 m")
    make_loop(tag="PT-2", length="10 m")
    client = client_as("designer")

    # 1. The new issue of the certificate.
    number = record_text(certificate) | {"issue": "1"}
    address = reverse("certificate_new")
    typed = {name: text for name, text in number.items() if isinstance(text, str)}
    assert client.post(address, form_of(client.get(address)) | typed).status_code == 302
    issue = Certificate.objects.get(number=certificate.number, issue="1")

    # 2. The source gets it with its lower Co: 300 m of cable need 38 nF with the device, 10 m need 6.1 nF.
    edit = reverse("equipment_edit", args=[source.pk])
    form = form_of(client.get(edit)) | {
        "terminals.0.certificate": str(issue),
        "terminals.0.permitted.0.co_f": "30 nF",
        "_reason": "Issue 1 lowers Co",
    }
    asked = client.post(edit, form)
    page = asked.content.decode()
    assert asked.status_code == 200
    assert "1 loop would have another verdict." in page and "1 of them would have a worse one." in page
    assert "PT-1<" in page and "PT-2<" not in page
    assert "1 loop was judged with the new value and keeps its verdict" in page
    assert not Revision.objects.filter(kind="equipment", record_id=source.pk, number=2).exists()

    # 3. One more press saves it.
    assert client.post(edit, form_of(asked) | {"_confirmed": "1"}).status_code == 302
    assert Revision.objects.get(kind="equipment", record_id=source.pk, number=2).reason == "Issue 1 lowers Co"
    assert source.terminals.get().certificate == issue


def test_a_nameplate_file_becomes_a_record_by_three_presses(client_as: Callable[[str], Any], device: Any) -> None:
    certificate = device.terminals.get().certificate
    text = record_text(device) | {"type_name": "SP-200"}
    content = as_aasx(nameplate_environment(text, {certificate.pk: record_text(certificate)}))
    client = client_as("keeper")
    file = SimpleUploadedFile("plate.aasx", content)
    read = client.post(reverse("equipment_nameplate"), {"file": file})  # 1. Read
    form = next(form for form in forms_of(read) if "type_name" in form)
    taken = client.post(reverse("equipment_take"), form)  # 2. Take over
    saved = client.post(reverse("equipment_new"), form_of(taken))  # 3. Save
    assert saved.status_code == 302
    terminals = Equipment.objects.get(type_name="SP-200").terminals.get()
    assert (terminals.unconfirmed, terminals.certificate, terminals.ui_v_text) == (True, certificate, "30 V")
