"""A request that is sent twice is done once."""

from __future__ import annotations

import datetime as dt
import threading
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection

from registry.models import Attachment, Certificate, KeptAnswer, Revision
from registry.services.kept_answers import KEPT, forget
from tests.access.world import picture
from tests.registry.api.asking import BASE, check_refusal, send, token_client

CERTIFICATES = f"{BASE}certificates/"
TEXT = {"scheme": "ATEX", "number": "EXA 21 ATEX 0500", "issue": "0"}
KEY = {"Idempotency-Key": "5f1c-1"}


@pytest.mark.django_db
def test_the_same_request_gets_the_same_answer(api: Any) -> None:
    first = send(api, CERTIFICATES, TEXT, **KEY)
    again = send(api, CERTIFICATES, TEXT, **KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert all(first[name] == again[name] for name in ("ETag", "Location"))
    assert "Idempotency-Replayed" not in first and again["Idempotency-Replayed"] == "true"
    assert Certificate.objects.count() == 1 == Revision.objects.filter(kind="certificate").count()


@pytest.mark.django_db
def test_another_request_under_the_same_key_is_refused(api: Any, people: Any) -> None:
    send(api, CERTIFICATES, TEXT, **KEY)
    check_refusal(send(api, CERTIFICATES, TEXT | {"holder": "X"}, **KEY), 422, "other_request")
    check_refusal(send(api, f"{BASE}cable-types/", {"name": "Pair"}, **KEY), 422)
    other = token_client(people["designer"])
    check_refusal(send(other, CERTIFICATES, TEXT, **KEY), 400)
    assert Certificate.objects.count() == 1


@pytest.mark.django_db
def test_what_was_refused_may_be_mended_under_its_key(api: Any) -> None:
    check_refusal(send(api, CERTIFICATES, TEXT | {"number": "none"}, **KEY), 400)
    assert not KeptAnswer.objects.exists()
    assert send(api, CERTIFICATES, TEXT, **KEY).status_code == 201


@pytest.mark.django_db
@pytest.mark.parametrize("key", ["", " ", "a b", "x" * 201, "é"])
def test_a_key_has_a_form(api: Any, key: str) -> None:
    refused = check_refusal(send(api, CERTIFICATES, TEXT, **{"Idempotency-Key": key}), 400)
    assert "Idempotency-Key" in refused["errors"]
    assert not Certificate.objects.exists()


@pytest.mark.django_db
def test_after_a_day_a_key_is_free(api: Any) -> None:
    send(api, CERTIFICATES, TEXT, **KEY)
    KeptAnswer.objects.update(at=KeptAnswer.objects.get().at - KEPT - dt.timedelta(seconds=1))
    assert send(api, CERTIFICATES, TEXT | {"number": "EXA 21 ATEX 0501"}, **KEY).status_code == 201
    KeptAnswer.objects.update(at=KeptAnswer.objects.get().at - KEPT - dt.timedelta(seconds=1))
    assert forget() == 1


@pytest.mark.django_db
def test_files_too(api: Any, certificate: Certificate) -> None:
    def attach(content: bytes) -> Any:
        file = SimpleUploadedFile("a.png", content, "image/png")
        return api.post(f"{CERTIFICATES}{certificate.pk}/attachments/", {"file": file}, headers=KEY)

    first, again = attach(picture()), attach(picture())
    assert (first.status_code, again.status_code) == (201, 201) and first.json() == again.json()
    check_refusal(attach(picture() + b"x"), 422)
    assert Attachment.objects.count() == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_requests_at_the_same_time(schemes: None, people: Any) -> None:
    """Eight at once, each over a connection of its own: one is done, all get its answer."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has one writer")
    client = token_client(people["designer"])
    answers: list[Any] = []
    gate = threading.Barrier(8)

    def call() -> None:
        gate.wait()
        try:
            answers.append(send(client, CERTIFICATES, TEXT, **KEY))
        finally:
            connection.close()

    threads = [threading.Thread(target=call) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.status_code for answer in answers] == [201] * 8, answers[0].content
    assert all(answer.json() == answers[0].json() for answer in answers)
    assert sum("Idempotency-Replayed" in answer for answer in answers) == 7
    assert Certificate.objects.count() == 1
