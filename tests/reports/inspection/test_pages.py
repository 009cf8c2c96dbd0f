"""The pages of an inspection without any script, and the paper that is made of it."""

from __future__ import annotations

import io
import re
from typing import Any

import pypdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from registry.lengths import typed_length
from registry.selectors import record_text
from reports.inspection import services
from reports.inspection.models import Inspection, SignedInspection
from tests.access.world import picture
from tests.reports.inspection.conftest import DEFECT
from tests.reports.signs import as_typed

pytestmark = pytest.mark.django_db
HOSTILE = "<script>alert(1)</script> =HYPERLINK(\"x\") {{ 7*7 }} 'ä€'"


def place_form(inspection: Any, number: int, **answers: str) -> dict[str, str]:
    """What the form of a place sends: every line with its mark, and what is answered by the name of the item."""
    from reports.inspection.views.filling import places_of

    sent = {}
    for line in places_of(inspection)[number - 1][1]:
        sent[f"opened-{line.pk}"] = services.state_of(line).mark
        if line.item in answers:
            result, _, note = answers[line.item].partition(":")
            sent |= {f"result-{line.pk}": result, f"note-{line.pk}": note}
    return sent


def test_from_the_list_to_the_first_place(sheet: Any, client_as: Any) -> None:
    client, loop = client_as("planner"), sheet.approval.loop
    page = client.get(f"/loops/{loop.pk}/inspections/").content.decode()
    assert "Never inspected." in page and "issue A" in page
    answer = client.post(f"/loops/{loop.pk}/inspections/", {"grade": "close", "occasion": "periodic"})
    inspection = Inspection.objects.get()
    assert answer["Location"] == f"/inspections/{inspection.pk}/"
    page = client.get(f"/inspections/{inspection.pk}/places/3/").content.decode()
    assert "Ui 30 V · Ii 100 mA" in page and 'name="result-' in page


@pytest.mark.parametrize("sent", [{}, {"grade": "deep"}, {"grade": "visual", "occasion": "initial"}])
def test_what_cannot_be_begun_is_told(sent: dict[str, str], loop: Any, client_as: Any) -> None:
    answer = client_as("planner").post(f"/loops/{loop.pk}/inspections/", sent)
    assert answer.status_code == 409 and not Inspection.objects.exists()


def test_a_loop_that_is_not_issued_says_so(loop: Any, begin: Any, client_as: Any) -> None:
    inspection = begin(loop)
    client = client_as("planner")
    for path in (f"/loops/{loop.pk}/inspections/", f"/inspections/{inspection.pk}/"):
        assert (
            "not issued" in client.get(path).content.decode()
            or "nothing is issued" in client.get(path).content.decode()
        )
    assert "not issued" in client.get(f"/inspections/{inspection.pk}/places/1/").content.decode()


def test_a_faulty_line_hinders_none_of_the_others(loop: Any, begin: Any, client_as: Any) -> None:
    inspection = begin(loop, "visual")
    sent = place_form(inspection, 1, documents="ok", earth_sound="not_checked:")
    answer = client_as("planner").post(f"/inspections/{inspection.pk}/places/1/", sent)
    page = answer.content.decode()
    assert answer.status_code == 400 and "Say why it was not checked" in page
    lines = {line.item: line.result for line in inspection.lines.all()}
    assert (lines["documents"], lines["earth_sound"]) == ("ok", "")
    assert page.count("checked>") >= 2 or page.count(" checked") >= 2


def test_saving_goes_on_to_the_next_place(loop: Any, begin: Any, client_as: Any) -> None:
    inspection = begin(loop, "visual")
    sent = place_form(inspection, 1, documents="ok", earth_sound="ok") | {"next": "1"}
    answer = client_as("planner").post(f"/inspections/{inspection.pk}/places/1/", sent)
    assert answer["Location"] == f"/inspections/{inspection.pk}/places/2/"
    line = inspection.lines.get(item="documents")
    one = place_form(inspection, 1) | {"save": str(line.pk)}
    answer = client_as("planner").post(f"/inspections/{inspection.pk}/places/1/", one)
    assert answer["Location"].endswith(f"#line-{line.pk}")


def test_what_nobody_touched_overwrites_nothing(loop: Any, begin: Any, client_as: Any, people: Any) -> None:
    inspection = begin(loop, "visual")
    stale = place_form(inspection, 1)
    line = inspection.lines.get(item="documents")
    services.save_line(inspection.pk, line.pk, people["designer"], services.LineText("not_checked", "Office closed."))
    answer = client_as("planner").post(f"/inspections/{inspection.pk}/places/1/", stale)
    line.refresh_from_db()
    assert answer.status_code == 302 and line.note == "Office closed."


def test_hostile_text_stays_text(loop: Any, begin: Any, client_as: Any, words_of: Any) -> None:
    inspection = begin(loop, "visual")
    sent = place_form(inspection, 1, documents=f"not_checked:{HOSTILE}")
    client = client_as("planner")
    assert client.post(f"/inspections/{inspection.pk}/places/1/", sent).status_code == 302
    page = client.get(f"/inspections/{inspection.pk}/").content.decode()
    assert "<script>alert" not in page and "&lt;script&gt;alert(1)" in page and "{{ 7*7 }}" in page
    assert "<script>alert(1)" in words_of(client.get(f"/inspections/{inspection.pk}/paper.pdf").content)


def test_one_line_is_saved_for_the_script(loop: Any, begin: Any, client_as: Any) -> None:
    inspection = begin(loop, "close")
    line = inspection.lines.get(item="nameplate", subject="PT-1101")
    client, path = client_as("planner"), f"/inspections/{inspection.pk}/lines/{line.pk}/"
    sent = {
        f"opened-{line.pk}": services.state_of(line).mark,
        f"result-{line.pk}": "defect",
        f"note-{line.pk}": "Another plate.",
        f"priority-{line.pk}": "1",
        f"found-{line.pk}-0": "24 V",
    }
    told = client.post(path, sent).json()
    assert told["done"] == 1 and "Does not comply" in told["outcome"]
    # Sent once more because the answer was lost, it is no other state; something else with the same mark is.
    assert client.post(path, sent).status_code == 200
    assert client.post(path, sent | {f"note-{line.pk}": "No, another."}).status_code == 400
    again = sent | {f"opened-{line.pk}": told["mark"], f"note-{line.pk}": ""}
    answer = client.post(path, again)
    assert answer.status_code == 400 and "Say what is wrong" in answer.json()["faults"][0]


def test_names_of_the_register_can_be_picked(loop: Any, begin: Any, client_as: Any) -> None:
    inspection = begin(loop, "detailed")
    client = client_as("planner")
    page = client.get(f"/inspections/{inspection.pk}/places/3/").content.decode()
    assert 'data-pick="/pick/MemberEntry.terminals/"' in page
    names = client.get("/pick/MemberEntry.terminals/", {"q": "SP-1"}).content.decode()
    assert "Sandpiper Instruments SP-100, +/-" in names
    assert client.get("/pick/CableEntry.cable_type/", {"q": "pair"}).status_code == 200


def test_a_photo_comes_with_its_line_and_is_shown_to_members_alone(loop: Any, begin: Any, client_as: Any) -> None:
    inspection = begin(loop, "visual")
    line = inspection.lines.get(item="damage")
    number = 4
    sent: dict[str, Any] = place_form(inspection, number, damage="ok")
    sent[f"photo-{line.pk}"] = SimpleUploadedFile("cable.png", picture(), "image/png")
    client = client_as("planner")
    assert client.post(f"/inspections/{inspection.pk}/places/{number}/", sent).status_code == 302
    page = client.get(f"/inspections/{inspection.pk}/").content.decode()
    assert "cable.png" in page
    from registry.models import Attachment

    photo = Attachment.objects.get()
    path = f"/inspections/{inspection.pk}/photos/{photo.pk}/"
    answer = client_as("reader").get(path)
    assert answer.content == picture() and answer["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in answer["Content-Security-Policy"]
    assert client_as("neighbour").get(path).status_code == 404
    assert client_as("reader").get(f"/files/{photo.pk}/").status_code == 404
    bad: dict[str, Any] = place_form(inspection, number)
    bad[f"photo-{line.pk}"] = SimpleUploadedFile("x.png", b"<svg onload=alert(1)>", "image/png")
    answer = client.post(f"/inspections/{inspection.pk}/places/{number}/", bad)
    assert answer.status_code == 400 and "Attach a PDF, or a picture" in answer.content.decode()


def shown_on(client: Any, inspection: Any) -> str:
    """The mark that the page of an inspection carries."""
    found: str = client.get(f"/inspections/{inspection.pk}/").context["mark"]
    return found


def test_signing_on_the_page(loop: Any, begin: Any, fill: Any, client_as: Any, password: str) -> None:
    inspection = begin(loop, "visual")
    client, path = client_as("planner"), f"/inspections/{inspection.pk}/conclude/"
    assert client.post(path, {"password": password}).status_code == 409
    fill(inspection, damage=DEFECT)
    shown = shown_on(client, inspection)
    assert client.post(path, {"password": "", "shown": shown}).status_code == 400
    wrong = client.post(path, {"password": "wrong", "shown": shown})
    assert wrong.status_code == 400 and "password is not right" in wrong.content.decode()
    signed = {"password": password, "remark": "Windy.", "shown": shown}
    page = client.post(path, signed, follow=True).content.decode()
    assert "Signed" in page and "Windy." in page and "The gland is loose." in page
    assert SignedInspection.objects.get().content["remark"] == "Windy."
    assert client.get(f"/inspections/{inspection.pk}/places/1/").status_code == 302


def test_too_many_wrong_passwords_are_stopped(loop: Any, begin: Any, fill: Any, client_as: Any, password: str) -> None:
    inspection = fill(begin(loop, "visual"))
    client, path = client_as("planner"), f"/inspections/{inspection.pk}/conclude/"
    shown = shown_on(client, inspection)
    statuses = [client.post(path, {"password": "wrong", "shown": shown}).status_code for _try in range(8)]
    assert 429 in statuses
    assert client.post(path, {"password": password, "shown": shown}).status_code == 429
    assert not SignedInspection.objects.exists()


# -------------------------------------------------------------------------------------------------------------- paper


def test_a_blank_checklist_says_what_the_record_says(loop: Any, begin: Any, client_as: Any, words_of: Any) -> None:
    """Every line of the checklist stands in the PDF, as another program reads it."""
    asked = {"loop": loop.pk, "grade": "detailed", "occasion": "initial"}
    answer = client_as("reader").get("/inspections/round.pdf", asked)
    words = words_of(answer.content)
    for line in begin(loop, "detailed", "initial").lines.all():
        assert " ".join(line.text.split()) in words
        assert " ".join(line.expected.split()) in as_typed(words)
    assert "NOT ISSUED" in words and "not checked" in words and "n/a" in words
    assert "This result is an aid to a competent person" in words


def test_a_round_has_a_list_and_a_page_for_each_loop(make_loop: Any, loop: Any, client_as: Any, pages_of: Any) -> None:
    other = make_loop(tag="PT-9")
    asked = {"loop": [loop.pk, other.pk], "grade": "visual"}
    data = client_as("reader").get("/inspections/round.pdf", asked).content
    pages = pages_of(data)
    assert "Visual inspection of 2 loops" in pages[0] and "PT-1101" in pages[0] and "PT-9" in pages[0]
    assert sum("INSPECTION · VISUAL" in page.upper() for page in pages) == 2
    assert pypdf.PdfReader(io.BytesIO(data)).metadata.title == "Visual inspection of 2 loops"


def test_the_signed_record_on_paper(signed: Any, loop: Any, client_as: Any, words_of: Any) -> None:
    found = {"result": "defect", "note": "Another plate.", "priority": "1", "found": {"uo_v": "31 V"}}
    record = signed(loop, "close", nameplate=found)
    client = client_as("reader")
    data = client.get(f"/inspections/{record.inspection_id}/paper.pdf").content
    words = words_of(data)
    for text in ("The planner", "Uo 31 V", "(on record 28 V)", "Another plate.", "Does not comply", "As it should be"):
        assert text in words
    assert record.content["lines"][0]["text"] in words
    assert client.get(f"/inspections/{record.inspection_id}/paper.pdf").content == data


def test_a_long_round_is_long_work(
    make_loop: Any, client_as: Any, people: Any, pages_of: Any, django_capture_on_commit_callbacks: Any
) -> None:
    from registry.models import Work, WorkState
    from registry.services.works import do

    loops = [make_loop(tag=f"PT-{number}") for number in range(6)]
    client = client_as("planner")
    answer = client.post("/inspections/round/", {"loop": [row.pk for row in loops[:2]], "grade": "visual"})
    assert answer["Location"].startswith("/inspections/round.pdf?loop=") and not Work.objects.exists()
    answer = client.post("/inspections/round/", {"loop": [row.pk for row in loops], "grade": "visual"})
    work = Work.objects.get()
    assert answer["Location"] == f"/works/{work.pk}/"
    if work.state == WorkState.WAITING:
        do(work.pk)
    work.refresh_from_db()
    assert (work.state, work.words) == (WorkState.DONE, "6 checklists.")
    content = client.get(f"/works/{work.pk}/file/")
    pages = pages_of(b"".join(content.streaming_content) if content.streaming else content.content)
    assert "Visual inspection of 6 loops" in pages[0] and len(pages) >= 7


def test_a_round_wants_loops(client_as: Any, loop: Any) -> None:
    page = client_as("neighbour").post("/inspections/round/", {"loop": loop.pk}, follow=True)
    assert "Tick the loops of the round first." in page.content.decode()


@pytest.mark.parametrize(("query", "status"), [("", 302), ("?loop=999999", 404), ("?loop=x", 302)])
def test_a_round_without_loops(query: str, status: int, client_as: Any, loop: Any) -> None:
    assert client_as("reader").get(f"/inspections/round.pdf{query}").status_code == status


def test_lengths_are_told_in_the_unit_of_the_site(loop: Any, save: Any, begin: Any, fill: Any, client_as: Any) -> None:
    """300 m are 984.3 ft (1 ft = 0.3048 m exactly); what is stored stays as it was typed."""
    save("site", record_text(loop.site) | {"length_unit": "ft"}, by="administrator", record_id=loop.site.pk)
    inspection = begin(loop, "detailed")
    line = inspection.lines.get(item="cable")
    on_record = next(value["expected"] for value in line.values if value["name"] == "length_m")
    client, told = client_as("planner"), typed_length(on_record, "ft")
    assert told == "300 m (984.3 ft)" and told not in line.expected
    places = list(dict.fromkeys(inspection.lines.values_list("place", flat=True)))
    page = client.get(reverse("inspection_place", args=[inspection.pk, places.index(line.place) + 1])).content.decode()
    assert f", {told}, from" in page and f'placeholder="{told}"' in page
    fill(inspection, cable={"result": "defect", "note": "Longer.", "priority": "2", "found": {"length_m": "1000 m"}})
    overview = client.get(reverse("inspection", args=[inspection.pk])).content.decode()
    assert f", {told}, from" in overview and "1000 m (3280.8 ft)" in overview
    assert re.search(r"of at most \d+ ft \(\d+ m\)", overview), "the loop as it was found"
