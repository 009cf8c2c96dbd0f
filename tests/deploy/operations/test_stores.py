"""The file store over the network, against a server in this process that speaks its protocol (moto)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import storages
from moto.server import ThreadedMotoServer

from deploy.env_values import read_file_store
from deploy.operations import health
from deploy.operations.backing_up import back_up, files_in_store
from deploy.operations.restoring import restore

BUCKET = "plant-files"


@pytest.fixture(scope="module")
def server() -> Iterator[ThreadedMotoServer]:
    one = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def shared_store(server: ThreadedMotoServer, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The store of the site is a bucket; what pages and services read and write goes there."""
    import boto3

    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    host, port = server.get_host_and_port()
    store = read_file_store(f"s3+http://key:secret@{host}:{port}/{BUCKET}/unlit")
    options = store["OPTIONS"]
    client = boto3.client(
        "s3",
        endpoint_url=options["endpoint_url"],
        aws_access_key_id="key",
        aws_secret_access_key="secret",
        region_name="us-east-1",
    )
    client.create_bucket(Bucket=BUCKET)
    settings.STORAGES = settings.STORAGES | {"default": store}
    yield storages["default"]
    found = client.list_objects_v2(Bucket=BUCKET).get("Contents", [])
    for item in found:
        client.delete_object(Bucket=BUCKET, Key=item["Key"])
    client.delete_bucket(Bucket=BUCKET)


def test_it_behaves_as_a_folder_does(shared_store: Any) -> None:
    assert not shared_store.exists("attachments/ab/one")
    with pytest.raises(FileNotFoundError):
        shared_store.open("attachments/ab/one")
    assert shared_store.save("attachments/ab/one", ContentFile(b"content")) == "attachments/ab/one"
    assert shared_store.exists("attachments/ab/one")
    with shared_store.open("attachments/ab/one") as file:
        assert file.read() == b"content"
    # Nothing is written over: another name is found instead.
    other = shared_store.save("attachments/ab/one", ContentFile(b"another"))
    assert other != "attachments/ab/one"
    assert set(files_in_store()) == {"attachments/ab/one", other}
    shared_store.delete("attachments/ab/one")
    assert not shared_store.exists("attachments/ab/one")


def test_names_do_not_lead_out_of_its_folder(shared_store: Any) -> None:
    from django.core.exceptions import SuspiciousOperation

    with pytest.raises(SuspiciousOperation):
        shared_store.save("../outside", ContentFile(b"content"))


def test_readiness_asks_it(shared_store: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(health, "_store_asked_at", -1e9)
    health.file_store()
    health.write_and_read()
    assert not list(files_in_store())


@pytest.mark.django_db
def test_attachments_are_kept_and_proved_there(shared_store: Any, certificate: Any, people: Any) -> None:
    from registry.services.attachments import FileDamaged, attach, fault_of, file_bytes
    from tests.deploy.operations.conftest import picture

    row = attach("certificate", certificate.pk, people["keeper"], name="scan.png", content=picture())
    assert file_bytes(row) == picture()
    shared_store.delete(row.path)
    assert "missing" in fault_of(row)
    shared_store.save(row.path, ContentFile(b"another"))
    with pytest.raises(FileDamaged, match="differs"):
        file_bytes(row)


@pytest.mark.django_db
def test_a_file_is_given_to_who_may_see_it(
    shared_store: Any, certificate: Any, people: Any, client_as: Callable[..., Any]
) -> None:
    from django.urls import reverse

    from registry.services.attachments import attach
    from tests.deploy.operations.conftest import picture

    row = attach("certificate", certificate.pk, people["keeper"], name="scan.png", content=picture())
    answer = client_as("reader").get(reverse("file", args=[row.pk]))
    assert answer.status_code == 200
    assert (b"".join(answer.streaming_content) if answer.streaming else answer.content) == picture()


@pytest.mark.django_db
def test_long_work_leaves_its_file_there(shared_store: Any, people: Any) -> None:
    from registry.models import Work
    from registry.services.works import Outcome, content_of, keep

    work = Work.objects.create(person=people["reader"], kind="pack", title="A pack")
    keep(work, Outcome("Done.", content=b"%PDF-1.7", file_name="pack.pdf", media_type="application/pdf"))
    work.refresh_from_db()
    assert content_of(work) == b"%PDF-1.7"


@pytest.mark.django_db(transaction=True)
def test_a_backup_moves_from_a_bucket_to_a_bucket(shared_store: Any, used_site: Any, tmp_path: Path) -> None:
    made = back_up(tmp_path / "site.zip")
    assert (made.files, made.faults) == (1, [])
    for name in list(files_in_store()):
        shared_store.delete(name)
    restored = restore(made.path, replace=True)
    assert restored.files == 1
    assert not restored.findings.broken
