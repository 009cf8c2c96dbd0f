"""Files through the API: the same checks as on the pages, bytes as they were attached."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.models import Attachment, Certificate
from tests.access.world import picture
from tests.registry.api.asking import BASE, check_refusal, send, token_client

pytestmark = pytest.mark.django_db


def attach(client: Any, record: Any, content: bytes, name: str = "a.png", **more: Any) -> Any:
    path = "certificates" if record.record_kind == "certificate" else "equipment"
    file = SimpleUploadedFile(name, content, "image/png")
    return client.post(f"{BASE}{path}/{record.pk}/attachments/", {"file": file} | more)


def test_a_file_is_attached_read_and_retired(api: Any, certificate: Certificate) -> None:
    content = picture()
    made = attach(api, certificate, content, "../certificate page.png")
    assert made.status_code == 201, made.content
    body = made.json()
    mark = hashlib.sha256(content).hexdigest()
    assert (body["name"], body["media_type"], body["sha256"]) == ("certificate page.png", "image/png", mark)
    assert api.get(made["Location"]).json() == body
    listed = api.get(f"{BASE}certificates/{certificate.pk}/attachments/").json()
    assert listed == [body]
    read = api.get(f"{made['Location']}content/")
    assert read.content == content and read["Content-Type"] == "image/png" and read["ETag"] == f'"{mark}"'
    assert read["Content-Disposition"].startswith("attachment") and read["X-Content-Type-Options"] == "nosniff"
    check_refusal(send(api, f"{made['Location']}retire/", {"reason": " "}), 400)
    gone = send(api, f"{made['Location']}retire/", {"reason": "Wrong page"})
    assert gone.json()["retired_because"] == "Wrong page" and gone.json()["retired_at"]
    check_refusal(send(api, f"{made['Location']}retire/", {"reason": "Wrong page"}), 409)


@pytest.mark.parametrize("content", [b"", b"text", b"%PDF-1.7 broken", b"<svg/>", b"MZ\x90", picture()[:40]])
def test_what_is_no_file_of_these_kinds_is_refused(api: Any, certificate: Certificate, content: bytes) -> None:
    refused = check_refusal(attach(api, certificate, content), 400, "invalid")
    assert refused["errors"]["file"]
    assert not Attachment.objects.exists()


def test_odd_requests(api: Any, people: Any, certificate: Certificate, source: Any, settings: Any) -> None:
    address = f"{BASE}certificates/{certificate.pk}/attachments/"
    check_refusal(api.post(address, {"file": "text"}), 400)
    check_refusal(api.post(address, {}), 400)
    check_refusal(attach(api, certificate, picture(), more="x"), 400)
    check_refusal(send(api, address, {"file": "x"}), 415)
    check_refusal(api.post(address, b"--x", content_type="multipart/form-data"), 400)
    check_refusal(attach(token_client(people["reader"]), certificate, picture()), 403)
    check_refusal(attach(token_client(people["designer"], "read"), certificate, picture()), 403)
    settings.ATTACHMENT_MAX_BYTES = 60
    check_refusal(attach(api, certificate, picture()), 413, "too_large")
    settings.ATTACHMENT_MAX_BYTES = 20_000_000
    assert attach(api, source, picture()).status_code == 201
    check_refusal(attach(api, source, picture()), 400)
    check_refusal(api.get(f"{BASE}attachments/999/content/"), 404)


def test_damaged_bytes_are_given_to_nobody(api: Any, certificate: Certificate) -> None:
    made = attach(api, certificate, picture())
    default_storage.delete(Attachment.objects.get().path)
    check_refusal(api.get(f"{made['Location']}content/"), 500, "damaged")
