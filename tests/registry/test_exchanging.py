"""Tables by the pages: check, save, templates, export of what a list shows."""

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

from registry.models import CableType, Origin, Revision
from tests.registry.pages import forms_of

pytestmark = pytest.mark.django_db

GOOD = b"name,Cc,Lc\nPair A,110 nF/km,0.65 mH/km\n"


def send(client: Any, content: bytes, button: str = "check", **more: str) -> Any:
    return client.post(
        reverse("import"), {"file": SimpleUploadedFile("table.csv", content), button: "1", "kind": "cable_type"} | more
    )


def test_a_check_saves_nothing_and_a_save_saves_all(client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    checked = send(client, GOOD)
    assert checked.status_code == 200
    assert "1 would be added" in checked.content.decode()
    assert not CableType.objects.exists()
    saved = send(client, GOOD, "save", reason="new stock")
    assert saved.status_code == 200
    assert CableType.objects.get().name == "Pair A"
    revision = Revision.objects.get(kind="cable_type")
    assert (revision.origin, revision.reason) == (Origin.IMPORT, "new stock")


def test_faults_are_told_and_downloadable_and_nothing_is_saved(client_as: Callable[[str], Any]) -> None:
    answer = send(client_as("keeper"), GOOD + b"Pair B,110 apples,1 mH/km\n", "save")
    page = answer.content.decode()
    assert answer.status_code == 400
    assert not CableType.objects.exists()
    file = re.search(r"data:text/csv;base64,([^\"]+)", page)
    assert file
    rows = list(csv.reader(io.StringIO(base64.b64decode(file[1]).decode("utf-8-sig"))))
    assert [row[:3] for row in rows[1:]] == [["3", "Cc", "110 apples"]]
    assert "110 apples" in page


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04broken", b"\xff\xfe\x00\xd8", b"apples,pears\n1,2\n"])
def test_what_is_no_table_is_refused_with_a_sentence(client_as: Callable[[str], Any], content: bytes) -> None:
    answer = send(client_as("keeper"), content, "save", kind="")
    assert answer.status_code == 400
    assert 'href="#f-file"' in answer.content.decode()


def test_a_file_is_wanted(client_as: Callable[[str], Any]) -> None:
    answer = client_as("keeper").post(reverse("import"), {"save": "1"})
    assert answer.status_code == 400
    assert "Choose a CSV or XLSX file." in answer.content.decode()


@pytest.mark.parametrize("role", ["reader", "approver"])
def test_who_may_not_edit_the_register_may_not_import(client_as: Callable[[str], Any], role: str) -> None:
    assert client_as(role).get(reverse("import")).status_code == 403
    assert send(client_as(role), GOOD, "save").status_code == 403
    assert not CableType.objects.exists()


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_a_template_can_be_sent_back(client_as: Callable[[str], Any], suffix: str) -> None:
    client = client_as("keeper")
    answer = client.get(reverse("import_template", args=["cable_type", suffix]))
    assert answer["Content-Disposition"] == f'attachment; filename="cable_type-template.{suffix}"'
    assert send(client, answer.content).status_code == 200
    assert client.get("/import/apples.csv").status_code == 404
    assert client.get("/import/cable_type.exe").status_code == 404


def test_an_export_holds_what_the_list_shows_and_changes_nothing_when_it_comes_back(
    client_as: Callable[[str], Any], source: Any, device: Any
) -> None:
    client = client_as("keeper")
    page = client.get(reverse("equipment_list"), {"kind": "source"}).content.decode()
    address = re.search(r"href=\"(/equipment/export\.csv\?[^\"]+)\"", page)
    assert address
    content = client.get(address[1].replace("&amp;", "&")).content
    assert source.type_name in content.decode("utf-8-sig")
    assert device.type_name not in content.decode("utf-8-sig")
    before = Revision.objects.count()
    answer = send(client, content, "save", kind="")
    assert "0 added, 0 changed, 1 left as they are." in answer.content.decode()
    assert Revision.objects.count() == before


def test_a_checked_table_is_saved_without_choosing_it_again(client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    checked = send(client, GOOD)
    form = next(form for form in forms_of(checked) if "carried" in form)
    assert form["carried_name"] == "table.csv"
    answer = client.post(reverse("import"), form | {"reason": "new stock", "save": "1"})
    assert "1 added, 0 changed, 0 left as they are." in answer.content.decode()
    assert CableType.objects.get().name == "Pair A"
    # The same again: nothing differs, so there is nothing to save.
    assert all("carried" not in form for form in forms_of(send(client, GOOD)))


@pytest.mark.parametrize("carried", ["%%%", "AAAA", "name,Cc"])
def test_a_carried_table_that_was_damaged_is_refused(client_as: Callable[[str], Any], carried: str) -> None:
    answer = client_as("keeper").post(reverse("import"), {"carried": carried, "save": "1", "kind": "cable_type"})
    assert answer.status_code == 400
    assert not CableType.objects.exists()


def test_the_link_of_a_list_presets_what_the_table_is_of(client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    page = client.get(reverse("cable_type_list")).content.decode()
    assert 'href="/import/?kind=cable_type"' in page
    assert '<option value="cable_type" selected>' in client.get("/import/?kind=cable_type").content.decode()
    assert client.get("/import/?kind=apples").status_code == 200
    told = client.post("/import/?kind=area", {"file": SimpleUploadedFile("t.csv", GOOD), "check": "1", "kind": ""})
    assert "Cable type: checked" in told.content.decode()
