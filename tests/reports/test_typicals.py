"""Typicals: loops that differ in tags and lengths alone, the one nearest to a limit first."""

from __future__ import annotations

import io

import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from loops.services.loops import save_loop
from registry.services.records import Author

pytestmark = pytest.mark.django_db


def text_of(answer):
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text().split()) for page in pages)


@pytest.fixture
def family(make_loop):
    """Three loops of the same items; 500 m of cable leave less than 300 m and 20 m do."""
    return [
        make_loop(tag=f"PT-{number}", length=length) for number, length in ((1, "300 m"), (2, "500 m"), (3, "20 m"))
    ]


def test_the_loop_nearest_to_a_limit_comes_first_and_its_sheet_follows(family, client_as):
    client = client_as("reader")
    page = client.get(reverse("reports:typical", args=[family[0].pk]))
    found = page.context["found"]
    margins = [row.loop.verification.least_margin for row in found]
    assert [row.loop.tag for row in found] == ["PT-2", "PT-1", "PT-3"] and margins == sorted(margins)
    text = text_of(client.get(reverse("reports:typical_pdf", args=[family[0].pk])))
    for tag, length in (("PT-1", "300 m"), ("PT-2", "500 m"), ("PT-3", "20 m")):
        assert f"W-{tag} {length}" in text
    assert "Typical of 3 loops" in text and "PT-2 is nearest to a limit: Complies" in text
    assert "LOOP SHEET · INTRINSIC SAFETY PT-2" in text and "DRAFT – NOT ISSUED" in text
    assert "Not issued: PT-2" in text


def test_a_loop_that_fails_comes_before_all_that_comply(family, failing_loop, client_as):
    found = client_as("reader").get(reverse("reports:typical", args=[family[0].pk])).context["found"]
    assert found[0].loop == failing_loop and found[0].verdict == "does_not_comply"


def test_another_separation_load_or_kind_of_cable_is_not_alike(family, loop_data, people, client_as):
    other = loop_data(tag="PT-8", load_ohm="200 ohm")
    save_loop(other, Author(people["designer"]))
    third = loop_data(tag="PT-9")
    third["circuits"][0]["cables"][0]["separation"] = "C"
    save_loop(third, Author(people["designer"]))
    found = client_as("reader").get(reverse("reports:typical", args=[family[0].pk])).context["found"]
    assert {row.loop.tag for row in found} == {"PT-1", "PT-2", "PT-3"}


def test_an_issued_sheet_is_bound_in_as_it_was_signed(submit, sign, loop, client_as):
    sheet = sign(submit(loop))
    text = text_of(client_as("reader").get(reverse("reports:typical_pdf", args=[loop.pk])))
    own = " ".join(pypdf.PdfReader(io.BytesIO(bytes(sheet.bytes))).pages[0].extract_text().split())
    assert own in text and "DRAFT" not in text and "A, The approver" in text


def test_as_many_queries_for_many_loops_as_for_few(family, make_loop, submit, sign, client_as):
    client, address = client_as("reader"), reverse("reports:typical", args=[family[0].pk])
    sign(submit(family[1]))
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for number in range(10, 16):
        made = make_loop(tag=f"PT-{number}", length=f"{number} m")
    sign(submit(made))
    with CaptureQueriesContext(connection) as many:
        found = client.get(address).context["found"]
    assert (len(found), len(many)) == (9, len(few))
    assert sorted(row.loop.tag for row in found if row.approval) == ["PT-15", "PT-2"]
