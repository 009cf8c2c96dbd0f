"""Packs: many sheets as one PDF, with contents that lead to the sheets, and lists that agree with them."""

from __future__ import annotations

import io
from concurrent.futures import Executor, Future
from contextlib import contextmanager

import pypdf
import pytest
from django.urls import reverse

from loops.models import Loop
from loops.services import approvals, confirmations
from registry.models import Work, WorkState
from registry.services import works
from reports.models import Sheet
from reports.packs import build
from reports.services import issue

pytestmark = pytest.mark.django_db


class AtOnce(Executor):
    """Renders in this process."""

    def submit(self, function, /, *args, **kwargs):
        future = Future()
        future.set_result(function(*args, **kwargs))
        return future


@pytest.fixture
def at_once(monkeypatch):
    @contextmanager
    def renderers():
        yield AtOnce()

    monkeypatch.setattr(build, "renderers", renderers)


@pytest.fixture
def issued(make_loop, people, password):
    def made(tag, **changes):
        loop = make_loop(tag=tag, **changes)
        for matter in confirmations.matters(loop):
            confirmations.confirm(loop.pk, people["designer"], mark=matter.mark, how="Seen on site.")
        approvals.submit(loop.pk, people["designer"])
        return issue(loop.pk, people["approver"], password, None)

    return made


def words(text):
    return " ".join(text.split())


def page_texts(data):
    return [words(page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def packed(client, **data):
    answer = client.post(reverse("reports:pack_new"), {"title": "Unit 10", "lists": "1"} | data)
    assert answer.status_code == 302, answer.content.decode()
    work = Work.objects.latest("pk")
    return work, works.content_of(work) if work.stored_as else b""


def test_contents_lead_to_the_sheets_as_they_were_issued(issued, client_as, at_once):
    sheets = {tag: issued(tag) for tag in ("PT-3", "PT-1", "PT-2")}
    work, data = packed(client_as("reader"))
    assert (work.state, work.words) == (WorkState.DONE, "3 sheets as issued.")
    assert (work.done, work.total) == (4, 4)
    reader = pypdf.PdfReader(io.BytesIO(data))
    texts = page_texts(data)
    outline = {
        row.title: reader.get_destination_page_number(row) for row in reader.outline if not isinstance(row, list)
    }
    for tag, sheet in sheets.items():
        start = outline[f"{tag} Reactor pressure"]
        own = page_texts(bytes(sheet.bytes))
        for place, text in enumerate(own):
            assert texts[start + place].startswith(text)
            assert texts[start + place].endswith(f"Unit 10 · {start + place + 1} / {len(texts)}")
        assert f"{tag} Reactor pressure {sheet.number} Complies" in texts[0]
    links = [link.get_object() for link in reader.pages[0]["/Annots"]]
    targets = {reader.get_page_number(link["/Dest"][0].get_object()) for link in links}
    assert targets >= {outline[f"{tag} Reactor pressure"] for tag in sheets}
    assert all("/A" not in link for link in links)
    assert [title for title in outline if title.startswith("PT")] == [f"PT-{n} Reactor pressure" for n in (1, 2, 3)]


def test_the_lists_say_what_the_sheets_say(issued, client_as, at_once):
    issued("PT-1", length="310 m")
    _, data = packed(client_as("reader"))
    text = " ".join(page_texts(data))
    lists = text[text.rindex("Index by tag") :]
    for expected in ("W-PT-1", "310 m", "PT-1-B", "What runs out", "Certificates", "EXB 19 ATEX 0202"):
        assert expected in lists
    without = packed(client_as("reader"), lists="")[1]
    assert len(page_texts(data)) > len(page_texts(without))


def test_loops_without_an_issue_are_drafts_or_left_out_and_named(issued, make_loop, client_as, at_once):
    issued("PT-1")
    make_loop(tag="PT-2")
    work, data = packed(client_as("reader"), drafts="1")
    assert work.words == "1 sheet as issued, 1 draft."
    drafts = [text for text in page_texts(data) if "DRAFT – NOT ISSUED" in text]
    assert drafts and all(text.startswith("DRAFT – NOT ISSUED") or "PT-2" in text for text in drafts)
    work, data = packed(client_as("reader"))
    assert work.words == "1 sheet as issued, 1 loop left out."
    assert work.result["lines"] == [{"text": "PT-2: it has no issue in force"}]
    assert "Left out PT-2: it has no issue in force." in page_texts(data)[0]


def test_a_withdrawn_issue_is_no_part_of_a_pack(issued, people, client_as, at_once, password):
    sheet = issued("PT-1")
    approvals.withdraw(sheet.approval_id, people["approver"], text="The device was taken out.")
    work, _ = packed(client_as("reader"))
    assert work.state == WorkState.FAILED
    assert work.words.startswith("None of these loops has an issue in force")


def test_altered_bytes_are_bound_in_nowhere(issued, client_as, at_once, monkeypatch):
    sheet = issued("PT-1")
    original = Sheet.objects.filter

    def altered(*args, **kwargs):
        found = original(*args, **kwargs)
        for row in found:
            row.bytes = bytes(row.bytes) + b" "
        return found

    monkeypatch.setattr(Sheet.objects, "filter", altered)
    work, data = packed(client_as("reader"))
    assert work.state == WorkState.FAILED and "do not match their digest" in work.words and not data
    assert sheet.number in work.words


def test_tags_choose_and_a_wrong_one_is_told_with_all_that_was_typed(issued, client_as, at_once):
    issued("PT-1")
    issued("PT-2")
    client = client_as("reader")
    work, _ = packed(client, tags="pt-2")
    assert work.words == "1 sheet as issued."
    answer = client.post(reverse("reports:pack_new"), {"title": "Mine", "tags": "PT-2\nPT-9"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "No loop of your sites has the tag PT-9" in page and "PT-2\nPT-9" in page and 'value="Mine"' in page


def test_the_filters_of_the_list_choose(issued, make_loop, client_as, at_once):
    issued("PT-1")
    issued("FT-1")
    client = client_as("reader")
    answer = client.post(f"{reverse('reports:pack_new')}?q=FT", {"title": "Flow"})
    assert answer.status_code == 302
    assert Work.objects.get().asked["keys"] == [Loop.objects.get(tag="FT-1").pk]


def test_loops_of_other_sites_are_in_no_pack(issued, client_as, people, at_once):
    key = issued("PT-1").approval.loop_id
    answer = client_as("neighbour").post(reverse("reports:pack_new"), {"title": "Theirs", "tags": "PT-1"})
    assert answer["Location"] == reverse("loop_list") and not Work.objects.exists()
    pack = build.Pack("Theirs", (key,), drafts=True)
    work = works.begin(people["neighbour"], build.KIND, "Theirs", pack.as_asked())
    work.refresh_from_db()
    assert work.state == WorkState.FAILED and "You may not see all of these loops" in work.words


def test_processes_of_their_own_render_the_same_pages(make_loop, client_as):
    make_loop(tag="PT-1")
    work, data = packed(client_as("reader"), drafts="1", lists="")
    assert work.words == "1 draft."
    assert any("PT-1-B" in text for text in page_texts(data))
