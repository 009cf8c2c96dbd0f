"""The editor of a loop: nothing typed is lost, nothing is half saved, a look at the verdict saves nothing."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loops.models import Circuit, Loop, Member
from loops.services.loops import save_loop
from registry.models import Revision
from registry.selectors import record_text
from registry.views.forms import flatten
from tests.loops.pages import form_of, row_counts

pytestmark = pytest.mark.django_db


def sent_text(data: dict[str, Any]) -> dict[str, str]:
    """Nested text as the fields of a form."""
    return flatten(data)


@pytest.fixture
def designer(client_as: Callable[[str], Any]) -> Any:
    return client_as("designer")


@pytest.fixture
def typed(loop_data: Callable[..., dict[str, Any]]) -> dict[str, str]:
    """A whole new loop as its form sends it."""
    return sent_text(loop_data(tag="PT-7")) | {"_reason": "First entry"}


def test_a_new_loop_is_saved_and_judged(designer: Any, typed: dict[str, str]) -> None:
    response = designer.post("/loops/new/", typed, follow=True)
    loop = Loop.objects.get(tag="PT-7")
    assert response.redirect_chain == [(f"/loops/{loop.pk}/", 302)]
    assert loop.verification is not None and loop.verification.verdict == "complies"
    assert "PT-7 was saved and judged: complies." in response.content.decode()
    assert Revision.objects.get(kind="loop", record_id=loop.pk).reason == "First entry"


def test_errors_come_back_with_everything_typed(designer: Any, typed: dict[str, str]) -> None:
    typed |= {
        "circuits.0.cables.0.length_m": "300",
        "circuits.0.members.1.terminals": "No such thing",
        "circuits.0.members.1.made_on": "yesterday",
        "circuits.0.cables.0.separation": "sideways",
        "notes": "Two lines\nof notes <b>",
        "tag": "",
    }
    before = row_counts()
    response = designer.post("/loops/new/", typed)
    assert response.status_code == 400
    assert row_counts() == before
    page = response.content.decode()
    shown = form_of(response)
    for name, text in typed.items():
        if name.rpartition(".")[2] not in {"site", "area", "cable_type", "terminals"}:
            assert shown[name].replace("\r", "") == text, name
    assert shown["circuits.0.members.1.terminals"] == "No such thing"
    for identity in ("f-tag", "f-circuits-0-cables-0-length_m", "f-circuits-0-members-1-terminals"):
        assert f'href="#{identity}"' in page and f'id="{identity}"' in page, identity
    assert "add the unit" in page.lower()
    assert "data-unsaved" in page


def test_a_circuit_without_a_source_links_to_its_sources(designer: Any, typed: dict[str, str]) -> None:
    kept = {name: text for name, text in typed.items() if not name.startswith("circuits.0.members.0")}
    response = designer.post("/loops/new/", kept)
    assert response.status_code == 400
    page = response.content.decode()
    assert "A circuit has at least one source" in page
    assert 'href="#f-circuits-0-members"' in page and 'id="f-circuits-0-members"' in page


def test_row_buttons_work_without_scripts_and_save_nothing(designer: Any, typed: dict[str, str]) -> None:
    before = row_counts()

    def press(fields: dict[str, str], name: str, value: str) -> dict[str, str]:
        response = designer.post("/loops/new/", fields | {name: value})
        assert response.status_code == 200
        assert response.content.decode().count('autofocus="') <= 1
        return form_of(response)

    fields = press(typed, "_add", "circuits.0.members:source")
    assert fields["circuits.0.members.2.role"] == "source"
    fields = press(fields, "_add", "circuits.0.cables")
    assert "circuits.0.cables.1.length_m" in fields
    fields = press(fields, "_duplicate", "circuits.0.cables.0")
    assert fields["circuits.0.cables.1.length_m"] == "300 m"
    assert "circuits.0.cables.2.length_m" in fields
    fields = press(fields, "_remove", "circuits.0.cables.0")
    assert "circuits.0.cables.2.length_m" not in fields
    fields = press(fields, "_add", "circuits")
    assert fields["circuits.1.name"] == "Circuit 2"
    fields = press(fields, "_duplicate", "circuits.0")
    assert [fields[f"circuits.{index}.name"] for index in range(3)] == ["Circuit 1", "Circuit 3", "Circuit 2"]
    assert fields["circuits.1.members.1.tag"] == "PT-7"
    fields = press(fields, "_remove", "circuits.1")
    for name, value in (("_add", "x"), ("_remove", "circuits.9.members.9"), ("_chain", "circuits"), ("_add", "")):
        assert press(fields, name, value) == fields
    assert row_counts() == before
    # the blank rows that were added are no fault
    kept = {name: text for name, text in fields.items() if not name.startswith("circuits.1.")}
    assert designer.post("/loops/new/", kept).status_code == 302


def test_a_circuit_starts_from_the_output_of_a_device(
    designer: Any, typed: dict[str, str], device: Any, device_data: dict[str, Any], save: Any
) -> None:
    device_data["terminals"].append(
        {
            "name": "3-4",
            "side": "source",
            "level": "ia",
            "gas_group": "IIC",
            "output": "linear",
            "uo_v": "6.5 V",
            "io_a": "9.3 mA",
            "po_w": "15.2 mW",
            "permitted": [{"group": "IIC", "co_f": "24 uF", "lo_h": "365 mH"}],
        }
    )
    save("equipment", device_data, record_id=device.pk)
    typed["circuits.0.members.1.terminals"] = "Sandpiper Instruments SP-100, +/-"
    typed["circuits.0.members.1.area"] = "NORTH: Reactor bay"
    fields = form_of(designer.post("/loops/new/", typed | {"_chain": "circuits.0.members.1"}))
    assert fields["circuits.1.members.0.role"] == "source"
    assert fields["circuits.1.members.0.tag"] == "PT-7"
    assert fields["circuits.1.members.0.terminals"] == "Sandpiper Instruments SP-100, 3-4"
    assert fields["circuits.1.members.0.area"] == fields["circuits.1.members.1.area"] == "NORTH: Reactor bay"


def test_a_copy_begins_with_everything_but_the_tag(designer: Any, loop: Loop) -> None:
    response = designer.get(f"/loops/{loop.pk}/duplicate/")
    fields = form_of(response)
    assert fields["tag"] == "" and fields["circuits.0.members.1.tag"] == "PT-1101"
    assert not any(name.endswith(".id") for name in fields)
    assert designer.post("/loops/new/", fields).status_code == 400
    assert designer.post("/loops/new/", fields | {"tag": "PT-1201"}).status_code == 302
    copy, first = Loop.objects.get(tag="PT-1201"), Loop.objects.get(pk=loop.pk)
    assert Circuit.objects.filter(loop=first).count() == Circuit.objects.filter(loop=copy).count() == 1
    assert copy.version == 1 and first.version == loop.version


def test_an_edit_that_came_too_late(
    client_as: Callable[[str], Any], designer: Any, loop: Loop, loop_data: Any, author_as: Any
) -> None:
    opened = form_of(designer.get(f"/loops/{loop.pk}/edit/"))
    save_loop(loop_data(length="250 m", service="Theirs"), author_as("designer", reason="Measured"), loop_id=loop.pk)
    before = row_counts()
    mine = opened | {"circuits.0.cables.0.length_m": "400 m", "notes": "Mine"}
    response = designer.post(f"/loops/{loop.pk}/edit/", mine)
    assert response.status_code == 409
    assert row_counts() == before
    page = response.content.decode()
    rows = {row["label"]: row for row in response.context["compared"]}
    length = rows["Circuit 1 · W-PT-1101 · Length"]
    assert (length["original"], length["theirs"], length["yours"]) == ("300 m", "250 m", "400 m")
    assert length["conflict"]
    assert (rows["Service"]["original"], rows["Service"]["theirs"]) == ("Reactor pressure", "Theirs")
    assert rows["Notes"]["yours"] == "Mine" and not rows["Notes"]["conflict"]
    assert len(rows) == 3
    assert "Measured" in page
    # what is mine lies over what is theirs in a form that can be saved again, and takes nothing of theirs back
    again = form_of(response)
    assert again["circuits.0.cables.0.length_m"] == "400 m" and again["notes"] == "Mine"
    assert again["service"] == "Theirs"
    assert designer.post(f"/loops/{loop.pk}/edit/", again).status_code == 302
    loop.refresh_from_db()
    assert (loop.notes, loop.service) == ("Mine", "Theirs")


def test_rows_of_both_are_in_the_form_of_the_second(designer: Any, loop: Loop, author_as: Any) -> None:
    """One adds a run and moves the device, the other adds a device and a length: all of it is there afterwards."""
    opened = form_of(designer.get(f"/loops/{loop.pk}/edit/"))
    text = record_text(loop)
    text["circuits"][0]["cables"].append(text["circuits"][0]["cables"][0] | {"id": "", "tag": "W-2", "length_m": "9 m"})
    text["circuits"][0]["members"][1]["made_on"] = "2023-01-31"
    save_loop(text, author_as("designer"), loop_id=loop.pk)
    device = {name: value for name, value in opened.items() if name.startswith("circuits.0.members.1.")}
    added = {name.replace("members.1.", "members.2."): value for name, value in device.items() if "id" not in name[-3:]}
    mine = opened | added | {"circuits.0.members.2.tag": "PT-1101-2", "circuits.0.cables.0.length_m": "310 m"}
    response = designer.post(f"/loops/{loop.pk}/edit/", mine)
    assert response.status_code == 409
    assert designer.post(f"/loops/{loop.pk}/edit/", form_of(response)).status_code == 302
    circuit = record_text(Loop.objects.get(pk=loop.pk))["circuits"][0]
    assert [(row["tag"], row["length_m"]) for row in circuit["cables"]] == [("W-PT-1101", "310 m"), ("W-2", "9 m")]
    assert [row["tag"] for row in circuit["members"]] == ["PT-1101-B", "PT-1101", "PT-1101-2"]
    assert [row["made_on"] for row in circuit["members"]] == ["", "2023-01-31", "2022-05-01"]


def test_a_form_that_was_submitted_meanwhile_names_nobody_as_having_saved(
    designer: Any, loop: Loop, people: Any
) -> None:
    from loops.services.approvals import submit

    opened = form_of(designer.get(f"/loops/{loop.pk}/edit/"))
    submit(loop.pk, people["designer"])
    response = designer.post(f"/loops/{loop.pk}/edit/", opened | {"notes": "Mine"})
    page = response.content.decode()
    assert response.status_code == 409 and form_of(response)["notes"] == "Mine"
    assert "in review: take it back to draft first" in page and "saved it" not in page


def test_a_loop_in_review_is_not_changed(designer: Any, people: Any, loop: Loop) -> None:
    from loops.services.approvals import submit

    fields = form_of(designer.get(f"/loops/{loop.pk}/edit/"))
    submit(loop.pk, people["designer"])
    loop.refresh_from_db()
    page = designer.get(f"/loops/{loop.pk}/edit/")
    assert "in review: take it back to draft first" in page.content.decode()
    response = designer.post(f"/loops/{loop.pk}/edit/", fields | {"_version": loop.version, "service": "Mine"})
    assert response.status_code == 400
    assert form_of(response)["service"] == "Mine"


@pytest.mark.parametrize("role", ["reader", "approver", "planner", "keeper", "administrator"])
def test_only_designers_edit(client_as: Callable[[str], Any], loop: Loop, typed: dict[str, str], role: str) -> None:
    client, before = client_as(role), row_counts()
    for address in ("/loops/new/", f"/loops/{loop.pk}/edit/", f"/loops/{loop.pk}/duplicate/"):
        assert client.get(address).status_code == 403, address
    for address in ("/loops/new/", f"/loops/{loop.pk}/edit/"):
        assert client.post(address, typed).status_code == 403, address
        assert client.post(address, typed | {"_preview": "1"}).status_code == 403, address
    after = row_counts()
    assert after | {"sessions.Session": 0} == before | {"sessions.Session": 0}


def test_a_designer_of_another_site_keeps_the_text_of_a_refused_loop(
    client_as: Callable[[str], Any], typed: dict[str, str]
) -> None:
    response = client_as("neighbour").post("/loops/new/", typed)
    assert response.status_code == 403
    assert form_of(response)["tag"] == "PT-7"
    assert "A designer of this site may do this." in response.content.decode()


# ----------------------------------------------------------------------------------------------------------- preview


def test_judging_without_saving_leaves_every_table_as_it_was(designer: Any, loop: Loop, typed: dict[str, str]) -> None:
    designer.get("/")
    before = row_counts(), Loop.objects.values().get()
    far = typed | {"circuits.0.cables.0.length_m": "900 m"}
    for address in ("/loops/new/", f"/loops/{loop.pk}/edit/"):
        for header in ({}, {"HTTP_HX_REQUEST": "true"}):
            response = designer.post(address, far | {"_preview": "1"}, **header)
            page = response.content.decode()
            assert response.status_code == 200
            assert "NOT SAVED" in page and "Does not comply" in page
            # 5 nF and 900 m of 110 nF/km
            assert "104 nF" in page
            assert ("<html" in page) == (not header)
            assert "aid to a competent person" in page
    assert before == (row_counts(), Loop.objects.values().get())


def test_a_preview_of_what_cannot_be_judged_yet(designer: Any, typed: dict[str, str]) -> None:
    typed["circuits.0.cables.0.length_m"] = "300"
    assert designer.post("/loops/new/", typed | {"_preview": "1"}).status_code == 400
    panel = designer.post("/loops/new/", typed | {"_preview": "live"}, HTTP_HX_REQUEST="true")
    assert panel.status_code == 200
    assert "cannot be judged yet" in panel.content.decode()
    assert 'href="#f-circuits-0-cables-0-length_m"' in panel.content.decode()


# -------------------------------------------------------------------------------------------------------------- fuzz

KEYS = st.sampled_from(
    [
        "site", "tag", "service", "load_ohm", "notes", "circuits", "circuits.0", "circuits.0.name", "circuits.0.id",
        "circuits.0.fisco", "circuits.0.interconnection", "circuits.0.members", "circuits.0.members.0.tag",
        "circuits.0.members.0.id", "circuits.0.members.0.terminals", "circuits.0.members.0.area",
        "circuits.0.members.0.made_on", "circuits.0.members.0.made_on.0", "circuits.0.members.1.role",
        "circuits.0.members.1.role.x", "circuits.0.members.7.tag", "circuits.0.cables.0.length_m",
        "circuits.0.cables.0.length_m.0", "circuits.0.cables.0.cable_type", "circuits.0.cables.0.separation",
        "circuits.1.members.0.role", "circuits.99999.name", "circuits.x", "tag.0.0", "site.0", "id", "archived_at",
        "state", "letter", "owner", "a.b.c.d.e.f.g.h.i.j", "..", "_version", "_revision", "_reason",
    ]
)  # fmt: skip
VALUES = st.one_of(
    st.sampled_from(["", "0", "-1", "1", "9" * 5000, "300 m", "1e999 m", "not stated", "NaN", "2026-02-30", "true"]),
    st.text(max_size=80),
)
COMMANDS = st.sampled_from(["", "", "", "_preview", "_add", "_remove", "_duplicate", "_chain"])


@settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(changes=st.dictionaries(KEYS, VALUES, max_size=6), command=COMMANDS, target=VALUES | KEYS)
def test_whatever_is_sent_is_answered_and_never_half_saved(
    designer: Any, loop: Loop, typed: dict[str, str], changes: dict[str, str], command: str, target: str
) -> None:
    fields = typed | changes | ({command: target} if command else {})
    for address in ("/loops/new/", f"/loops/{loop.pk}/edit/"):
        loops, revisions = Loop.objects.count(), Revision.objects.count()
        response = designer.post(address, fields)
        assert response.status_code in {200, 302, 400, 403, 409}
        saved = response.status_code == 302
        assert saved or (Loop.objects.count(), Revision.objects.count()) == (loops, revisions)
        assert not (command and saved)
        for stored in Loop.objects.all():
            assert stored.verification is not None
            assert (
                stored.verification.revision.number == Revision.objects.filter(record_id=stored.pk, kind="loop").count()
            )
            assert Member.objects.filter(circuit__loop=stored, role="source").exists()


def test_every_field_of_the_page_has_a_label(designer: Any, loop: Loop) -> None:
    page = designer.get(f"/loops/{loop.pk}/edit/").content.decode()
    page = re.sub(r"<template.*?</template>", "", page, flags=re.S)
    fields = re.findall(r'<(?:input|select|textarea)[^>]*\bid="([^"]+)"', page)
    labels = re.findall(r'<label[^>]*\bfor="([^"]+)"', page)
    assert len(fields) == len(set(fields))
    assert set(fields) <= set(labels)


def test_a_new_loop_begins_at_its_tag_with_areas_of_the_one_site(
    designer: Any, area: Any, people: Any, site: Any
) -> None:
    page = designer.get("/loops/new/").content.decode()
    assert re.search(r'name="tag"[^>]*autofocus', page)
    assert f'<option value="{site.code}: {area.name}">{area.name} (' in page
    assert len(re.findall(r'data-follows="area"', page)) == 2  # the row that is there and the template of a new one
    assert len(re.findall(r'data-follows="to_point"', page)) == 2


def test_a_stored_loop_is_judged_as_its_editor_opens(designer: Any, loop: Any) -> None:
    assert 'hx-trigger="load, input' in designer.get(f"/loops/{loop.pk}/edit/").content.decode()
    assert 'hx-trigger="input' in designer.get("/loops/new/").content.decode()


def test_a_save_that_does_not_comply_is_no_success(designer: Any, loop_data: Callable[..., Any]) -> None:
    sent = sent_text(loop_data(tag="PT-8", length="1000 m"))
    page = designer.post("/loops/new/", sent, follow=True).content.decode()
    assert re.search(r'message-warning">(?:(?!<li).)*PT-8 was saved and judged: does not comply', page, re.S)


def test_what_is_not_in_the_register_is_named_with_its_cure(designer: Any, typed: dict[str, str]) -> None:
    wrong = typed | {"circuits.0.members.0.terminals": "switch", "circuits.0.members.1.terminals": ""}
    page = designer.post("/loops/new/", wrong).content.decode()
    assert (
        "There is no set of terminals called “switch” in the register: choose a whole name, or add it there first."
        in page
    )
    assert "This is required: choose one that is in the register." in page


AREA = "circuits.0.members.1.area"


def test_where_a_new_device_stands_must_be_chosen(designer: Any, typed: dict[str, str]) -> None:
    fresh = form_of(designer.get("/loops/new/"))
    assert (fresh["circuits.0.members.0.area"], fresh[AREA]) == ("", "?")
    before = row_counts()
    response = designer.post("/loops/new/", typed | {AREA: fresh[AREA]})
    assert response.status_code == 400
    assert row_counts() == before
    page = response.content.decode()
    assert "Choose the area that this device stands in" in page
    assert form_of(response)[AREA] == "?"
    assert form_of(response)["circuits.0.members.1.tag"] == typed["circuits.0.members.1.tag"]
    response = designer.post("/loops/new/", typed | {AREA: ""}, follow=True)
    assert response.status_code == 200
    assert Member.objects.get(circuit__loop__tag="PT-7", role="device").area is None
    # What was chosen once is what the form shows again.
    loop = Loop.objects.get(tag="PT-7")
    assert form_of(designer.get(f"/loops/{loop.pk}/edit/"))[AREA] == ""


def test_a_row_of_which_nothing_but_the_open_question_is_filled_is_no_row(designer: Any, typed: dict[str, str]) -> None:
    fields = form_of(designer.post("/loops/new/", typed | {AREA: "", "_add": "circuits.0.members:device"}))
    assert fields["circuits.0.members.2.area"] == "?"
    designer.post("/loops/new/", fields | {"_reason": "First entry"})
    assert Member.objects.filter(circuit__loop__tag="PT-7").count() == 2


def test_the_safe_area_may_be_said_in_words(loop_data: Callable[..., dict[str, Any]], author_as: Any) -> None:
    data = loop_data(tag="PT-8")
    for text in ("Safe area", " safe  AREA "):
        data["circuits"][0]["members"][1]["area"] = text
        loop = save_loop(data | {"tag": f"PT-{len(text)}"}, author_as("designer"))
        assert [row.area for row in loop.circuits.get().members.all()] == [None, None]
