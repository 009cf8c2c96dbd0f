"""More than 25 hostile files at every door that takes files: a sentence, no 5xx, nothing kept that could do harm."""

from __future__ import annotations

import resource
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from deploy.operations.backing_up import files_in_store
from registry.models import Attachment, CableType, Certificate, Equipment, Revision
from tests.security.hostile_files import ATTACHED_REFUSED, ATTACHED_TAMED, NAMEPLATES, TABLES

MOST_MEMORY_BYTES = 300_000_000
"""More than any of them may make this process grow."""
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def empty_store() -> Iterator[None]:
    yield
    for name in list(files_in_store()):
        default_storage.delete(name)


@pytest.fixture(autouse=True)
def little_memory() -> Iterator[None]:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 < MOST_MEMORY_BYTES


def counts() -> tuple[int, ...]:
    return tuple(model._default_manager.count() for model in (Attachment, CableType, Certificate, Equipment, Revision))


def sent(client: Any, address: str, name: str, content: bytes, **more: str) -> Any:
    return client.post(address, {"file": SimpleUploadedFile(name, content), **more})


def test_there_are_at_least_25() -> None:
    assert sum(map(len, (ATTACHED_REFUSED, ATTACHED_TAMED, TABLES, NAMEPLATES))) >= 25


@pytest.mark.parametrize("what", ATTACHED_REFUSED)
def test_a_hostile_file_is_not_attached(what: str, client_as: Callable[..., Any], certificate: Any) -> None:
    client, before = client_as("keeper"), counts()
    answer = sent(client, reverse("certificate_attach", args=[certificate.pk]), *ATTACHED_REFUSED[what])
    assert answer.status_code == 400
    assert counts() == before
    assert not list(files_in_store())


@pytest.mark.parametrize("what", ATTACHED_TAMED)
def test_a_file_that_is_taken_does_nothing(what: str, client_as: Callable[..., Any], certificate: Any) -> None:
    """Its name is a plain one, and whoever opens it saves it: the browser runs nothing of it."""
    client = client_as("keeper")
    name, content = ATTACHED_TAMED[what]
    # As bytes on the wire, past what the test client does to names.
    boundary = "x-boundary-x"
    head = f'--{boundary}\r\nContent-Disposition: form-data; name="file"; filename="{name.replace(chr(34), "%22")}"\r\n'
    body = head.encode() + b"Content-Type: image/png\r\n\r\n" + content + f"\r\n--{boundary}--\r\n".encode()
    address = reverse("certificate_attach", args=[certificate.pk])
    answer = client.post(address, body, content_type=f"multipart/form-data; boundary={boundary}")
    assert answer.status_code in {200, 302, 400}
    assert "sessionid=mine" not in str(answer.cookies)
    for row in Attachment.objects.all():
        assert row.name.endswith((".png", ".pdf"))
        assert len(row.name) <= 120
        assert not set(row.name) & set("/\\\r\n\0<>\"';|`\u202e")
        served = client.get(reverse("file", args=[row.pk]))
        assert served.headers["Content-Disposition"].startswith("attachment")
        assert "\n" not in served.headers["Content-Disposition"]
        assert served.headers["X-Content-Type-Options"] == "nosniff"
        assert "sandbox" in served.headers["Content-Security-Policy"]
        assert served.headers["Content-Type"] in {"image/png", "application/pdf"}
    assert all(name.startswith("attachments/") for name in files_in_store())


@pytest.mark.parametrize("what", TABLES)
@pytest.mark.parametrize("button", ["check", "save"])
def test_a_hostile_table_saves_nothing(what: str, button: str, client_as: Callable[..., Any]) -> None:
    client, before = client_as("keeper"), counts()
    answer = sent(client, reverse("import"), "table.xlsx", TABLES[what], **{button: "1", "kind": "cable_type"})
    assert answer.status_code == 400
    assert counts() == before
    assert "root:" not in answer.content.decode()


@pytest.mark.parametrize("what", NAMEPLATES)
def test_a_hostile_nameplate_is_refused(what: str, client_as: Callable[..., Any]) -> None:
    client, before = client_as("keeper"), counts()
    answer = sent(client, reverse("equipment_nameplate"), "plate.aasx", NAMEPLATES[what])
    assert answer.status_code == 400
    assert counts() == before
    assert "root:" not in answer.content.decode()


@pytest.mark.parametrize("what", [what for what, (name, _) in ATTACHED_REFUSED.items() if name.endswith(".pdf")])
def test_a_hostile_certificate_is_not_read(what: str, client_as: Callable[..., Any]) -> None:
    answer = sent(client_as("keeper"), reverse("equipment_paste"), *ATTACHED_REFUSED[what])
    assert answer.status_code == 400
    assert "<script>alert" not in answer.content.decode()
