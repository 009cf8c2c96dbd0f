"""What a remark, a line of an inspection and a notice are about is stored in English, and read in German by Germans."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse
from django.utils import translation

from loops.models import Remark
from loops.topics import topic_said
from registry.models import Certificate, Notice
from registry.showing import name_of
from registry.stored import said
from tests.reports.inspection.conftest import DEFECT, begin, fill, signed  # noqa: F401  fixtures

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "stored, german",
    [
        ("Capacitance, S1 → D1", "Kapazität, S1 → D1"),
        ("Earthing, circuit", "Erdung, Stromkreis"),
        ("Circuit 1: Field device PT-1101", "Circuit 1: Feldgerät PT-1101"),
        ("Cable W-1", "Kabel W-1"),
        ("PT-1101", "PT-1101"),
        ("Cables and more", "Cables and more"),
    ],
)
def test_a_topic_is_said_in_the_language_of_its_reader(stored: str, german: str) -> None:
    assert topic_said(stored) == stored
    with translation.override("de"):
        assert topic_said(stored) == german


def test_a_german_remark_is_stored_in_english(loop: Any, client_as: Any) -> None:
    client = client_as("designer")
    client.defaults["HTTP_ACCEPT_LANGUAGE"] = "de"
    page = client.get(reverse("loop", args=[loop.pk])).content.decode()
    topic = f"Field device {loop.circuits.get().members.get(role='device').tag}"
    assert f'<option value="{topic}">{topic.replace("Field device", "Feldgerät")}</option>' in page
    client.post(reverse("loop_remark", args=[loop.pk]), {"text": "Bitte ansehen.", "about": topic})
    assert Remark.objects.get().about == topic
    assert (
        f"<strong>{topic.replace('Field device', 'Feldgerät')}</strong>"
        in client.get(reverse("loop", args=[loop.pk])).content.decode()
    )


def test_a_notice_is_said_in_the_language_of_its_reader() -> None:
    with translation.override("de"):
        assert said("PT-1: 2 defects found.") == "PT-1: 2 Mängel gefunden."
        assert said("PT-1, defect 2 is yours to remedy until 2026-11-06: Rost") == (
            "PT-1, Mangel 2 ist von Ihnen bis 2026-11-06 zu beheben: Rost"
        )


def test_a_defect_that_a_german_finds_is_told_in_english(loop: Any, signed: Any) -> None:  # noqa: F811
    with translation.override("de"):
        signed(loop, "close", glands=DEFECT)
    assert Notice.objects.filter(subject=f"{loop}: 1 defect found.").exists()


def test_an_issue_of_a_certificate(certificate: Certificate) -> None:
    assert name_of(certificate) == str(certificate)
    with translation.override("de"):
        assert name_of(certificate) == f"{certificate.number} Ausgabe {certificate.issue}"
        assert name_of(str(certificate)) == name_of(certificate)
        assert name_of("Issue 5 of somebody") == "Issue 5 of somebody"
