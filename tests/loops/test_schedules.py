"""Schedules: the lists of a plant as page, CSV, XLSX and PDF."""

from __future__ import annotations

import io
from decimal import Decimal

import pint
import pypdf
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from loops.models import CableRun
from loops.services.loops import archive_loop, save_loop
from loops.services.runs import shares_by_loop
from loops.views.schedules import SCHEDULES
from registry.printing import MOST_ROWS
from registry.services.records import Author

pytestmark = pytest.mark.django_db


def pdf_text(answer):
    assert answer["Content-Type"] == "application/pdf"
    reader = pypdf.PdfReader(io.BytesIO(answer.content))
    return " ".join(" ".join(page.extract_text().split()) for page in reader.pages)


def test_every_schedule_has_a_page_and_three_files(loop, failing_loop, client_as):
    client = client_as("reader")
    page = client.get(reverse("schedules"))
    assert [row["title"] for row in page.context["rows"]] == [schedule.title for schedule in SCHEDULES]
    for row in page.context["rows"]:
        shown = client.get(row["url"])
        assert shown.status_code == 200
        assert shown.context["page_obj"].paginator.count == row["count"]
        assert not shown.context["faults"] and not shown.context["remarks"]
        for name, url in row["files"]:
            answer = client.get(url)
            assert answer.status_code == 200
            assert answer["Content-Disposition"].endswith(f'.{name.lower()}"')


def test_what_a_run_counts_with_is_what_pint_makes_of_its_type_and_length(loop, client_as):
    run = CableRun.objects.get(circuit__loop=loop)
    units = pint.UnitRegistry(non_int_type=Decimal)
    document = loop.verification.inputs[0]["cables"][0]
    per_length, length = units(document["C"]), units(run.length_m_text)
    share = shares_by_loop([loop.pk])[loop.pk][0][run.tag]
    assert share.capacitance_f == (per_length * length).to("F").magnitude
    assert not share.default_capacitance
    answer = client_as("reader").get(reverse("cable_run_seen", args=["csv"]))
    shown = f"{(per_length * length).to('nF').magnitude.normalize():f} nF"
    assert shown in answer.content.decode("utf-8-sig").replace("\u00a0", " ")


def test_unknown_cable_counts_with_the_default_and_says_so(loop_data, people, client_as):
    """200 pF/m and 1 uH/m: IEC 60079-14:2013, 16.2.2.2."""
    data = loop_data(tag="PT-9001", length="1000 m")
    data["circuits"][0]["cables"][0]["cable_type"] = ""
    made = save_loop(data, Author(people["designer"]))
    share = shares_by_loop([made.pk])[made.pk][0]["W-PT-9001"]
    assert (share.capacitance_f, share.inductance_h) == (Decimal("200e-9"), Decimal("1e-3"))
    cells = client_as("reader").get(reverse("cable_run_list")).context["rows"][0]
    assert [cell["text"].replace("\u00a0", " ") for cell in cells if cell["label"] in {"C used", "L used"}] == [
        "200 nF default",
        "1 mH default",
    ]


def test_unknown_length_is_unknown_and_never_nothing(make_loop, client_as):
    made = make_loop(length="")
    share = shares_by_loop([made.pk])[made.pk][0]["W-PT-1101"]
    assert share.capacitance_f is None and share.inductance_h is None
    cells = client_as("reader").get(reverse("cable_run_list")).context["rows"][0]
    assert {cell["text"] for cell in cells if cell["label"] in {"Length", "C used", "L used"}} == {"unknown"}


def test_a_print_holds_every_row_and_the_caution(make_loop, client_as):
    tags = [f"PT-{number}" for number in range(2001, 2041)]
    for tag in tags:
        make_loop(tag=tag)
    text = pdf_text(client_as("reader").get(f"{reverse('cable_run_seen', args=['pdf'])}?q=PT-20"))
    assert [tag for tag in tags if f"W-{tag}" not in text] == []
    assert "40 rows." in text and "Contains “PT-20”" in text
    assert "aid to a competent person" in text and "it is not issued" in text


def test_a_list_too_long_for_paper_is_refused_with_the_cure(loop, client_as, monkeypatch):
    monkeypatch.setattr("registry.printing.MOST_ROWS", 0)
    assert MOST_ROWS >= 1_000
    answer = client_as("reader").get(f"{reverse('loop_seen', args=['pdf'])}?verdict=complies", follow=True)
    assert answer.redirect_chain[-1][0].endswith("/loops/?verdict=complies")
    assert "take XLSX or CSV" in answer.content.decode()


def test_markup_and_formulas_stay_text_on_paper(make_loop, client_as):
    make_loop(service='=1+1 <img src="file:///etc/passwd"><script>alert(1)</script>')
    text = pdf_text(client_as("reader").get(reverse("loop_seen", args=["pdf"])))
    assert "=1+1<imgsrc=" in text.replace(" ", "") and "</script>" in text.replace(" ", "")


def test_parts_of_archived_loops_and_of_other_sites_are_not_listed(loop, other_site, people, client_as):
    assert client_as("neighbour").get(reverse("member_list")).context["rows"] == []
    archive_loop(loop, True, Author(people["designer"], reason="Taken out of the plant."))
    assert client_as("reader").get(reverse("cable_run_list")).context["rows"] == []


def test_as_many_queries_for_many_rows_as_for_few(make_loop, client_as):
    client = client_as("reader")
    counts = []
    for amount in (2, 12):
        for number in range(amount):
            make_loop(tag=f"PT-{amount}{number:02d}")
        for name in ("cable_run_list", "member_list"):
            with CaptureQueriesContext(connection) as caught:
                client.get(reverse(name))
            counts.append(len(caught))
    assert counts[:2] == counts[2:]
