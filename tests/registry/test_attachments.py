"""Files of the register: type by content, kept under their digest, proven on every reading."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Iterator
from typing import Any

import pypdf
import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from registry.models import Attachment
from registry.services import attachments
from registry.services.attachments import FileRefused


@pytest.fixture(autouse=True)
def empty_store() -> Iterator[None]:
    """Files in memory outlive a test: take them away."""
    yield
    for row in Attachment.objects.all():
        default_storage.delete(row.path)


@pytest.fixture(autouse=True)
def _database(db: None) -> None:
    """The store is cleared by the rows."""


def picture(kind: str) -> bytes:
    data = io.BytesIO()
    Image.new("RGB", (8, 8), "red").save(data, kind)
    return data.getvalue()


def blank_pdf() -> bytes:
    """A PDF without text, as a scanner makes it."""
    writer, data = pypdf.PdfWriter(), io.BytesIO()
    writer.add_blank_page(200, 200)
    writer.write(data)
    return data.getvalue()


@pytest.fixture
def attach(people: Any, certificate: Any) -> Callable[..., Attachment]:
    def by(content: bytes, name: str = "certificate.pdf", role: str = "keeper") -> Attachment:
        return attachments.attach("certificate", certificate.pk, people[role], name=name, content=content)

    return by


@pytest.mark.parametrize(
    "content, media_type, ending",
    [
        (blank_pdf(), "application/pdf", ".pdf"),
        (picture("PNG"), "image/png", ".png"),
        (picture("JPEG"), "image/jpeg", ".jpg"),
        (picture("WEBP"), "image/webp", ".webp"),
    ],
)
def test_the_type_is_that_of_the_content(content: bytes, media_type: str, ending: str, attach: Any) -> None:
    row = attach(content, "../../plate.html")
    assert (row.media_type, row.name) == (media_type, f"plate.html{ending}")
    assert row.sha256 == hashlib.sha256(content).hexdigest()
    assert attachments.file_bytes(row) == content
    assert not list(attachments.broken_files())


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"%PDF-1.7 and nothing else",
        picture("PNG")[:40],
        picture("GIF"),
        b"\x89PNG\r\n\x1a\n" + b"0" * 80,
    ],
)
def test_what_cannot_be_opened_or_is_no_such_file_is_refused(content: bytes, attach: Any) -> None:
    with pytest.raises(FileRefused):
        attach(content)
    assert not Attachment.objects.exists()


def test_the_limit_of_size_and_one_byte_more(attach: Any, settings: Any) -> None:
    content = picture("PNG")
    settings.ATTACHMENT_MAX_BYTES = len(content) - 1
    with pytest.raises(FileRefused, match="larger"):
        attach(content)
    settings.ATTACHMENT_MAX_BYTES = len(content)
    assert attach(content).size_bytes == len(content)


def test_a_file_is_attached_once_and_retired_with_a_reason(attach: Any, people: Any) -> None:
    row = attach(picture("PNG"))
    with pytest.raises(FileRefused, match="already"):
        attach(picture("PNG"))
    with pytest.raises(FileRefused, match="Say why"):
        attachments.retire(row.pk, people["keeper"], reason=" ")
    attachments.retire(row.pk, people["keeper"], reason="Wrong page")
    with pytest.raises(FileRefused, match="retired already"):
        attachments.retire(row.pk, people["keeper"], reason="Again")
    assert attachments.file_bytes(row) == picture("PNG")


@pytest.mark.parametrize("role", ["reader", "approver", "outsider"])
def test_who_may_not_edit_the_register_attaches_nothing(role: str, attach: Any) -> None:
    with pytest.raises(PermissionDenied):
        attach(picture("PNG"), role=role)


def test_missing_and_altered_files_are_found(attach: Any, client_as: Any) -> None:
    missing, altered = attach(picture("PNG")), attach(picture("JPEG"))
    default_storage.delete(missing.path)
    default_storage.delete(altered.path)
    default_storage.save(altered.path, ContentFile(b"something else"))
    found = {item.attachment.pk: item.fault for item in attachments.broken_files()}
    assert "missing" in found[missing.pk] and "differs" in found[altered.pk]
    answer = client_as("reader").get(f"/files/{altered.pk}/")
    assert (answer.status_code, b"something else" in answer.content) == (500, False)


def test_the_page_attaches_serves_and_retires(certificate: Any, client_as: Any) -> None:
    keeper, address = client_as("keeper"), f"/certificates/{certificate.pk}/"
    upload = SimpleUploadedFile("plate.png", picture("PNG"), content_type="text/html")
    assert keeper.post(f"{address}files/", {"file": upload}).status_code == 302
    row = Attachment.objects.get()
    answer = client_as("reader").get(f"/files/{row.pk}/")
    assert (answer.status_code, answer.content, answer["Content-Type"]) == (200, picture("PNG"), "image/png")
    assert answer["Content-Disposition"] == 'attachment; filename="plate.png"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'; sandbox"
    assert client_as("outsider").get(f"/files/{row.pk}/").status_code == 403
    assert client_as("reader").post(f"/files/{row.pk}/retire/", {"reason": "No"}).status_code == 403
    refused = keeper.post(f"{address}files/", {"file": SimpleUploadedFile("a.png", b"no picture")})
    assert (refused.status_code, "Attach a PDF" in refused.content.decode()) == (400, True)
    assert keeper.post(f"/files/{row.pk}/retire/", {"reason": "Unreadable"}).status_code == 302
    page = keeper.get(address).content.decode()
    assert "plate.png" in page and "Unreadable" in page


def test_where_values_come_from_leads_to_the_file_of_the_certificate(
    attach: Any, people: Any, loop: Any, source: Any, client_as: Any
) -> None:
    row, earlier = attach(blank_pdf()), attach(picture("PNG"), "scan.png")
    attachments.retire(earlier.pk, people["keeper"], reason="Unreadable")
    for address in (f"/loops/{loop.pk}/", f"/equipment/{source.pk}/"):
        page = client_as("reader").get(address).content.decode()
        assert f'href="/files/{row.pk}/"' in page and row.name in page
        assert f'href="/files/{earlier.pk}/"' not in page
