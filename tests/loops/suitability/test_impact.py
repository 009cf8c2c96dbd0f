"""What a change of a site, an area, a cable type or the tables would do to loops, before it is made."""

from __future__ import annotations

import io
from typing import Any

import pypdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from loops.models import CurveTable, Loop, LoopVerdict, Verification
from loops.services.loops import save_loop
from loops.services.verification import is_worse, rank
from registry.exchange.csv_xlsx import read_table
from registry.models import HazardousArea, Revision, Site, Work, WorkState
from registry.selectors import record_text
from registry.services.records import Author
from tests.conftest import AREA
from tests.loops.test_curve_tables import safer

pytestmark = pytest.mark.django_db


def asked(client: Any, kind: str, key: int, **sent: Any) -> Work:
    answer = client.post(reverse("impact_ask", args=[kind, key]), sent)
    assert answer.status_code == 302, answer.content.decode()
    work = Work.objects.latest("pk")
    assert work.state == WorkState.DONE, work.words
    return work


def written() -> tuple[int, ...]:
    return (Revision.objects.count(), Verification.objects.count(), Loop.objects.count())


def test_an_area_of_a_hotter_class_changes_what_stands_there(make_loop: Any, area: Any, client_as: Any) -> None:
    loop = make_loop(tag="PT-1")
    before = written()
    # A device of T4 may not stand where 85 degC is the limit: T6 (IEC 60079-0:2017, Table 2).
    work = asked(client_as("reader"), "area", area.pk, temperature_class="T6")
    (row,) = work.result["rows"]
    assert (row["tag"], row["before"], row["worse"]) == ("PT-1", "complies", True)
    assert row["after"] in ("does_not_comply", "incomplete")
    assert written() == before
    assert HazardousArea.objects.get(pk=area.pk).temperature_class == area.temperature_class
    page = client_as("reader").get(reverse("impact_answer", args=[work.pk])).content.decode()
    assert reverse("loop", args=[loop.pk]) in page and "gets worse" in page


def test_more_capacitance_of_a_cable_type_fails_the_long_loops_alone(make_loop: Any, client_as: Any) -> None:
    short, long = make_loop(tag="PT-100", length="100 m"), make_loop(tag="PT-300", length="300 m")
    cable = long.circuits.get().cables.get().cable_type
    assert short.circuits.get().cables.get().cable_type == cable
    # 5 nF of the device and 300 m of 300 pF/m are 95 nF, 100 m of it 35 nF; 83 nF are permitted at 28 V in IIC
    # (IEC 60079-11, Table A.2, factor 1.5).
    work = asked(client_as("designer"), "cable_type", cable.pk, capacitance_f_per_m="300 pF/m")
    found = {row["tag"]: row["after"] for row in work.result["rows"]}
    assert found == {"PT-300": "does_not_comply", "PT-100": "complies"}
    assert [row["tag"] for row in work.result["rows"]] == ["PT-300", "PT-100"], "what changes its verdict stands first"
    assert "1 would have another verdict, 1 of them a worse one" in work.words
    cable.refresh_from_db()
    assert cable.capacitance_f_per_m_text != "300 pF/m"
    address = reverse("impact_export", args=[work.pk, "csv"])
    lines = read_table(client_as("designer").get(address).content).rows
    assert len(lines) == 2


def test_a_scheme_that_is_no_longer_accepted(make_loop: Any, site: Any, client_as: Any) -> None:
    make_loop(tag="PT-1")
    work = asked(client_as("approver"), "site", site.pk, schemes="IECEx")
    (row,) = work.result["rows"]
    assert row["worse"] and "ATEX" in row["limiting"]
    assert Site.objects.get(pk=site.pk).schemes == site.schemes


def test_a_table_before_it_is_loaded(make_loop: Any, site: Any, client_as: Any) -> None:
    make_loop(tag="PT-1")
    file = SimpleUploadedFile("own.csv", safer().encode(), "text/csv")
    work = asked(client_as("administrator"), "table", site.pk, table="A.2", file=file)
    assert work.result["judged"] == 1
    assert work.result["changes"] == ["Table A.2: own.csv"]
    assert not CurveTable.objects.exists()
    refused = client_as("reader").post(reverse("impact_ask", args=["table", site.pk]), {"table": "A.2"})
    assert refused.status_code == 400
    broken = SimpleUploadedFile("own.csv", b"voltage_V,IIC_x1_A\n12,5\n", "text/csv")
    address = reverse("impact_ask", args=["table", site.pk])
    refused = client_as("reader").post(address, {"table": "A.2", "file": broken})
    assert refused.status_code == 400 and "This is no table A.2" in refused.content.decode()


def test_what_does_not_differ_and_what_cannot_be_is_refused(area: Any, make_loop: Any, client_as: Any) -> None:
    make_loop(tag="PT-1")
    address = reverse("impact_ask", args=["area", area.pk])
    client = client_as("reader")
    assert client.post(address, {"group": area.group}).status_code == 400
    answer = client.post(address, {"zone": "21", "temperature_class": "T9"})
    assert answer.status_code == 400 and 'value="T9"' in answer.content.decode()
    assert not Work.objects.exists()


def test_whoever_is_not_of_the_site_asks_nothing(area: Any, make_loop: Any, client_as: Any) -> None:
    make_loop(tag="PT-1")
    assert client_as("neighbour").get(reverse("impact_ask", args=["area", area.pk])).status_code == 404


def test_the_answer_is_on_paper_too_in_words(make_loop: Any, client_as: Any) -> None:
    make_loop(tag="PT-100", length="100 m"), make_loop(tag="PT-300", length="300 m")
    cable = Loop.objects.get(tag="PT-300").circuits.get().cables.get().cable_type
    work = asked(client_as("designer"), "cable_type", cable.pk, capacitance_f_per_m="300 pF/m")
    assert reverse("impact_export", args=[work.pk, "pdf"]) in (
        client_as("designer").get(reverse("impact_answer", args=[work.pk])).content.decode()
    )
    answer = client_as("designer").get(reverse("impact_export", args=[work.pk, "pdf"]))
    assert answer["Content-Type"] == "application/pdf"
    pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
    words = " ".join(" ".join(page.extract_text() for page in pages).split())
    for expected in ("PT-300", "Does not comply", "Complies", "1 would have another verdict", "Nothing was saved."):
        assert expected in words
    assert "does_not_comply" not in words


def test_loops_at_sites_of_others_are_counted_and_not_named(
    make_loop: Any, save: Any, other_site: Any, people: Any, client_as: Any
) -> None:
    """A cable type belongs to the whole register: who asks sees how many loops elsewhere rest on it, and no more."""
    mine = make_loop(tag="PT-300", length="300 m")
    cable = mine.circuits.get().cables.get().cable_type
    there = save("area", AREA | {"site": str(other_site.pk)}, by="neighbour")
    data = record_text(mine) | {"site": str(other_site.pk), "tag": "PT-SECRET"}
    for row in data["circuits"][0]["members"]:
        row.pop("id")
        if row["area"]:
            row["area"] = str(there.pk)
    for row in data["circuits"][0]["cables"]:
        row.pop("id")
    data["circuits"][0].pop("id")
    save_loop(data, Author(people["neighbour"]))
    client = client_as("designer")
    page = client.get(reverse("impact_ask", args=["cable_type", cable.pk])).content.decode()
    assert "So does 1 loop at a site that you may not see: it is not judged here." in page
    work = asked(client, "cable_type", cable.pk, capacitance_f_per_m="300 pF/m")
    assert (work.result["judged"], work.result["elsewhere"]) == (1, 1)
    assert "1 loop that rests on it is at a site that you may not see, and was not judged." in work.words
    assert "PT-SECRET" not in str(work.result)
    area = mine.circuits.get().members.get(role="device").area
    assert asked(client, "area", area.pk, temperature_class="T6").result["elsewhere"] == 0


@pytest.mark.parametrize(
    ("before", "after", "worse"),
    [
        (("complies", "pass"), ("incomplete", "pass"), True),
        (("incomplete", ""), ("does_not_comply", ""), True),
        (("complies", "pass"), ("complies", "fail"), True),
        (("does_not_comply", "fail"), ("complies", "pass"), False),
        (("complies", ""), ("complies", "pass"), False),
        (("incomplete", "pass"), ("complies", "incomplete"), True),
    ],
)
def test_worse_means_the_same_wherever_it_is_said(before: tuple[str, str], after: tuple[str, str], worse: bool) -> None:
    def ranked(head: tuple[str, str]) -> tuple[int, int]:
        return rank({"verdict": LoopVerdict(head[0]), "function_verdict": head[1]})

    assert is_worse(ranked(after), ranked(before)) is worse
