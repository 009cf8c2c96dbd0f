"""Forms of the register: what is typed is saved, or comes back with a message; nothing is lost, nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse

from registry.models import Certificate, Equipment, HazardousArea, Revision
from registry.services.records import Author, save_text, set_archived
from tests.registry.pages import form_of, ids_of

pytestmark = pytest.mark.django_db


def url(kind: str, view: str = "", pk: int = 0) -> str:
    return reverse(f"{kind}_{view}" if view else kind, args=[pk] if pk else [])


def summary(answer: Any) -> list[str]:
    """The messages on top of a page."""
    return [f"{error['label']}: {error['text']}" for error in answer.context["errors"]]


# ------------------------------------------------------------------------------------------------ add, edit, duplicate


@pytest.mark.parametrize("kind", ["equipment", "certificate", "cable_type", "area", "site"])
def test_saving_a_form_as_it_was_opened_changes_nothing(
    kind: str, source: Any, certificate: Any, cable_type: Any, area: Any, site: Any, client_as: Callable[[str], Any]
) -> None:
    record = {r.record_kind: r for r in (source, certificate, cable_type, area, site)}[kind]
    client = client_as("administrator")
    form = form_of(client.get(url(kind, "edit", record.pk))) | {"_reason": "looked"}
    answer = client.post(url(kind, "edit", record.pk), form, follow=True)
    assert "Nothing differs from revision 1" in answer.content.decode()
    assert Revision.objects.filter(kind=kind, record_id=record.pk).count() == 1


def test_an_edit_becomes_a_revision_with_author_and_reason(source: Any, people: Any, client_as: Any) -> None:
    client = client_as("designer")
    form = form_of(client.get(url("equipment", "edit", source.pk)))
    form |= {"terminals.0.uo_v": "27 V", "terminals.0.permitted.0.lo_h": "not stated", "_reason": "Issue 2"}
    answer = client.post(url("equipment", "edit", source.pk), form, follow=True)
    assert answer.redirect_chain == [(url("equipment", "", source.pk), 302)]
    assert "Saved as revision 2" in answer.content.decode()
    revision = Revision.objects.get(kind="equipment", record_id=source.pk, number=2)
    assert (revision.author, revision.reason, revision.origin) == (people["designer"], "Issue 2", "page")
    terminals = source.terminals.get()
    assert (terminals.uo_v_text, terminals.permitted.get().lo_h_text) == ("27 V", "not stated")


def test_an_edit_without_a_reason_is_asked_for_one_and_keeps_the_text(source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "edit", source.pk))) | {"terminals.0.uo_v": "27", "function": "Kept"}
    answer = client.post(url("equipment", "edit", source.pk), form)
    assert answer.status_code == 400
    assert len(summary(answer)) == 2, "the missing reason and the missing unit are told at once"
    assert form_of(answer) == form


@pytest.mark.parametrize("start", ["", "source", "field_device", "simple_apparatus", "inline", "nonsense"])
def test_a_new_item_may_begin_as_any_kind(start: str, people: Any, client_as: Any) -> None:
    answer = client_as("keeper").get(url("equipment", "new"), {"kind": start})
    form = form_of(answer)
    side = {"source": "source", "": "", "nonsense": ""}.get(start, "device")
    assert form["terminals.0.side"] == side
    assert form["kind"] == (start if start != "nonsense" else "")


def test_a_source_with_several_certificates_and_groups_is_added_by_the_page(certificate: Any, client_as: Any) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "new"), {"kind": "source"}))
    form |= {"maker": "Brindle", "type_name": "BR-9", "terminals.0.name": "1-2", "terminals.0.uo_v": "25.2 V"}
    form |= {"terminals.0.output": "linear", "terminals.0.certificate": str(certificate)}
    form |= {"terminals.0.permitted.0.group": "IIC", "terminals.0.permitted.0.co_f": "107 nF"}
    form |= {"terminals.0.permitted.1.group": "IIB", "terminals.0.permitted.1.together": "on"}
    answer = client.post(url("equipment", "new"), form)
    record = Equipment.objects.get(type_name="BR-9")
    assert answer.headers["Location"] == url("equipment", "", record.pk)
    terminals = record.terminals.get()
    assert terminals.certificate == certificate
    assert [(row.group, row.co_f_text, row.together) for row in terminals.permitted.all()] == [
        ("IIC", "107 nF", False),
        ("IIB", "", True),
    ]


def test_a_duplicate_is_a_new_record_and_the_original_stays(source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    page = client.get(url("equipment", "duplicate", source.pk))
    form = form_of(page)
    assert form["type_name"] == "NB-28 (copy)"
    assert not [name for name in form if name.endswith(".id")]
    assert "data-unsaved" in page.content.decode()
    client.post(url("equipment", "new"), form | {"type_name": "NB-30"})
    copy = Equipment.objects.get(type_name="NB-30")
    assert copy.terminals.get().permitted.get().co_f_text == "83 nF"
    assert source.terminals.count() == 1
    again = client.post(url("equipment", "new"), form | {"type_name": "NB-30"})
    assert again.status_code == 400
    assert "There is already" in summary(again)[0]


def test_the_natural_key_is_kept_unique_with_a_message_at_its_field(certificate: Any, client_as: Any) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("certificate", "new")))
    form |= {"scheme": "ATEX", "number": "EXA 21  ATEX 0101", "issue": "0"}
    answer = client.post(url("certificate", "new"), form)
    assert answer.status_code == 400
    assert answer.context["errors"][0]["id"] == "f-number"
    assert form_of(answer)["number"] == "EXA 21  ATEX 0101"
    assert client.post(url("certificate", "new"), form | {"issue": "1"}).status_code == 302


def test_a_number_that_is_also_a_key_names_the_record_so_called(site: Any, superuser: Any, people: Any) -> None:
    """A site whose code is the key of another site: what is typed is a name, what is stored is a key."""
    from registry.reading import RecordField
    from registry.selectors import record_text
    from tests.conftest import make_site

    other = make_site(superuser, str(site.pk), "Confusing")
    reader = RecordField(lambda: type(site).objects.all(), "code")
    assert reader.clean(str(site.pk)) == other
    assert reader.clean(site.pk) == site
    text = {"name": "Here", "zone": "1", "group": "IIC", "temperature_class": "T4", "site": "NORTH"}
    area = save_text("area", text, Author(people["designer"]))
    again = save_text("area", record_text(area), Author(people["designer"]), record_id=area.pk)
    assert again.site == site  # type: ignore[attr-defined]


# ------------------------------------------------------------------------------------------------------------ bad input

BAD = {
    "a number without a unit": ("terminals.0.uo_v", "28", "Add the unit"),
    "two meanings": ("terminals.0.uo_v", "1,500 V", "can mean two things"),
    "another quantity": ("terminals.0.uo_v", "28 mA", "28 mA"),
    "an expression": ("terminals.0.po_w", "9**9**9 W", "W"),
    "zero": ("terminals.0.uo_v", "0 V", "cannot be zero"),
    "too long": ("maker", "x" * 81, "at most 80"),
    "blank": ("type_name", "   ", "required"),
    "no such choice": ("terminals.0.side", "both", "valid choice"),
    "no such record": ("terminals.0.certificate", "NOBODY 1", "There is no certificate"),
    "a hidden character": ("maker", "North\u202elight", "hidden character"),
    "a NUL": ("maker", "North\x00light", "U+0000"),
    "the wrong side": ("terminals.0.ui_v", "30 V", "These terminals give energy"),
    "an upside-down range": ("terminals.0.ambient_min_degc", "80 degC", "above the highest"),
    "a bad row": ("terminals.0.permitted.0.co_f", "83", "Add the unit"),
    "a bad class": ("terminals.0.temperature_classes.0.temperature_class", "T9", "temperature class"),
}


@pytest.mark.parametrize("fault", BAD)
def test_bad_input_comes_back_as_typed_with_a_message_at_its_field(fault: str, source: Any, client_as: Any) -> None:
    name, value, words = BAD[fault]
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "edit", source.pk))) | {"_reason": "try", "notes": "typed\nbefore"}
    form[name] = value
    answer = client.post(url("equipment", "edit", source.pk), form)
    assert answer.status_code == 400
    page = answer.content.decode()
    error = next(error for error in answer.context["errors"] if error["path"] == name)
    assert words in error["text"]
    assert error["id"] in ids_of(answer), "the summary links to the field"
    assert f'href="#{error["id"]}"' in page
    assert 'aria-invalid="true"' in page
    back = form_of(answer)
    assert back[name].replace("\ufffd", "\x00") == value or value in page
    kept = {key: text for key, text in back.items() if key in form}
    assert kept | {name: value} == form
    source.refresh_from_db()
    assert (source.version, Revision.objects.filter(kind="equipment").count()) == (1, 1), "nothing is half-saved"


def test_a_source_needs_a_side_that_gives_energy_and_a_name_only_once(source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "edit", source.pk))) | {"_reason": "x"}
    twice = {key.replace(".0.", ".1.", 1): value for key, value in form.items() if key.startswith("terminals.0.")}
    twice.pop("terminals.1.id")
    answer = client.post(url("equipment", "edit", source.pk), form | twice)
    assert summary(answer) == [
        "Terminals 1-2, Terminals: Two sets of terminals have this name: name each as it is marked."
    ]


def test_an_entry_without_terminals_shows_a_place_to_begin(people: Any, client_as: Any) -> None:
    answer = client_as("keeper").post(url("equipment", "new"), {"kind": "source", "maker": "A", "type_name": "B"})
    assert answer.status_code == 400
    assert "Give at least one set of terminals" in summary(answer)[0]
    assert "f-terminals" in ids_of(answer)


def test_what_cannot_be_true_of_an_area_is_said(people: Any, site: Any, client_as: Any) -> None:
    client = client_as("designer")
    form = form_of(client.get(url("area", "new")))
    assert form["site"] == "NORTH", "the only site at which this person may add areas"
    form |= {"name": "Silo", "zone": "21", "group": "IIC", "temperature_class": "135 degC"}
    answer = client.post(url("area", "new"), form)
    assert answer.status_code == 400
    assert "takes a group of IIIA" in summary(answer)[0]
    assert client.post(url("area", "new"), form | {"group": "IIIC"}).status_code == 302
    assert HazardousArea.objects.get().group == "IIIC"


def test_an_area_at_a_site_of_others_is_refused(people: Any, other_site: Any, client_as: Any) -> None:
    client = client_as("designer")
    form = {"site": "SOUTH", "name": "X", "zone": "1", "group": "IIC", "temperature_class": "T4"}
    answer = client.post(url("area", "new"), form)
    assert answer.status_code == 403
    assert not HazardousArea.objects.exists()


# ----------------------------------------------------------------------------------------------------------------- rows


def press(client: Any, address: str, form: dict[str, str], button: str, value: str) -> dict[str, str]:
    answer = client.post(address, form | {button: value})
    assert answer.status_code == 200
    assert "data-unsaved" in answer.content.decode()
    return form_of(answer)


def test_rows_are_added_duplicated_and_removed_without_scripts(source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    address = url("equipment", "edit", source.pk)
    form = form_of(client.get(address)) | {"_reason": "rows", "maker": "Typed meanwhile"}
    form = press(client, address, form, "_add", "terminals.0.permitted")
    form |= {"terminals.0.permitted.1.group": "IIB", "terminals.0.permitted.1.co_f": "650 nF"}
    form = press(client, address, form, "_duplicate", "terminals.0.permitted.1")
    assert form["terminals.0.permitted.2.co_f"] == "650 nF"
    assert "terminals.0.permitted.2.id" not in form
    form["terminals.0.permitted.2.group"] = "IIA"
    form = press(client, address, form, "_duplicate", "terminals.0")
    assert form["terminals.1.permitted.0.co_f"] == "83 nF"
    form["terminals.1.name"] = "3-4"
    form = press(client, address, form, "_remove", "terminals.0.permitted.0")
    form = press(client, address, form, "_add", "terminals")
    assert form["maker"] == "Typed meanwhile"
    assert Equipment.objects.get().version == 1, "row buttons save nothing"
    assert client.post(address, form).status_code == 302
    rows = {row.name: [p.group for p in row.permitted.all()] for row in source.terminals.all()}
    assert rows == {"1-2": ["IIB", "IIA"], "3-4": ["IIC", "IIB", "IIA"]}, "the blank set was left out"


@pytest.mark.parametrize(
    "button, value",
    [
        ("_add", "nothing"),
        ("_add", "terminals.7.permitted"),
        ("_add", "terminals.0.permitted.0"),
        ("_remove", "terminals.9"),
        ("_remove", "terminals"),
        ("_remove", "terminals.x"),
        ("_remove", "terminals.²"),
        ("_duplicate", "terminals.99999999999"),
        ("_duplicate", ""),
    ],
)
def test_a_row_button_for_nothing_changes_nothing(button: str, value: str, source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    address = url("equipment", "edit", source.pk)
    form = form_of(client.get(address))
    assert press(client, address, form, button, value) == form


def test_two_sets_of_terminals_exchange_their_names_in_one_save(source_data: Any, save: Any, client_as: Any) -> None:
    source_data["terminals"].append(source_data["terminals"][0] | {"name": "3-4", "uo_v": "20 V"})
    record = save("equipment", source_data)
    keys = {row.name: row.pk for row in record.terminals.all()}
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "edit", record.pk))) | {"_reason": "exchanged"}
    form |= {"terminals.0.name": "3-4", "terminals.1.name": "1-2"}
    assert client.post(url("equipment", "edit", record.pk), form).status_code == 302
    found = {row.pk: (row.name, row.uo_v_text) for row in record.terminals.all()}
    assert found == {keys["1-2"]: ("3-4", "28 V"), keys["3-4"]: ("1-2", "20 V")}


def test_terminals_in_use_cannot_be_removed(loop: Any, source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    address = url("equipment", "edit", source.pk)
    form = form_of(client.get(address)) | {"_reason": "away"}
    form = press(client, address, form, "_duplicate", "terminals.0")
    form = press(client, address, form, "_remove", "terminals.0") | {"terminals.0.name": "9-10"}
    answer = client.post(address, form)
    assert answer.status_code == 400
    assert "in use" in summary(answer)[0]
    assert [row.name for row in source.terminals.all()] == ["1-2"]


def test_text_without_row_keys_continues_the_rows_of_the_same_name_group_and_class(
    source: Any, source_data: Any, device: Any, device_data: Any, people: Any
) -> None:
    for record, data in ((source, source_data), (device, device_data)):
        save_text("equipment", data, Author(people["keeper"]), record_id=record.pk)
        assert Revision.objects.filter(kind="equipment", record_id=record.pk).count() == 1, "nothing changed"


# ---------------------------------------------------------------------------------------------------------------- stale


def test_a_stale_edit_shows_three_columns_and_keeps_both_changes(
    source: Any, source_data: Any, people: Any, client_as: Any
) -> None:
    client = client_as("keeper")
    address = url("equipment", "edit", source.pk)
    form = form_of(client.get(address)) | {"_reason": "mine", "terminals.0.io_a": "90 mA", "maker": "Mine"}
    source_data["maker"] = "Theirs"
    source_data["terminals"][0] |= {"uo_v": "27 V"}
    save_text("equipment", source_data, Author(people["designer"], reason="theirs"), record_id=source.pk)
    answer = client.post(address, form)
    assert answer.status_code == 409
    rows = {row["label"]: row for row in answer.context["stale_rows"]}
    assert set(rows) == {"Maker", "Terminals 1-2, Uo", "Terminals 1-2, Io"}
    maker = rows["Maker"]
    assert (maker["original"], maker["theirs"], maker["yours"], maker["conflict"]) == (
        "Northlight Barriers",
        "Theirs",
        "Mine",
        True,
    )
    assert not rows["Terminals 1-2, Uo"]["conflict"]
    page = answer.content.decode()
    assert "The designer" in page and "theirs" in page
    back = form_of(answer)
    assert (back["maker"], back["terminals.0.io_a"], back["terminals.0.uo_v"]) == ("Mine", "90 mA", "27 V")
    assert (back["_reason"], back["_version"], back["_revision"]) == ("mine", "2", "2")
    assert client.post(address, back).status_code == 302
    source.refresh_from_db()
    assert (source.maker, source.version) == ("Mine", 3)
    assert source.terminals.get().uo_v_text == "27 V", "their change is not undone"


@pytest.mark.parametrize("version", ["", "0", "-1", "x", "9" * 50, "²"])
def test_a_form_that_does_not_say_what_it_was_opened_with_is_stale(version: str, source: Any, client_as: Any) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "edit", source.pk)))
    form |= {"_reason": "x", "maker": "Mine", "_version": version, "_revision": version}
    answer = client.post(url("equipment", "edit", source.pk), form)
    assert answer.status_code == 409
    assert form_of(answer)["maker"] == "Mine"
    assert Equipment.objects.get().maker == "Northlight Barriers"


def test_a_faulty_stale_edit_tells_its_faults_first(source: Any, source_data: Any, people: Any, client_as: Any) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "edit", source.pk))) | {"_reason": "x", "terminals.0.io_a": "90"}
    save_text("equipment", source_data | {"maker": "Theirs"}, Author(people["designer"]), record_id=source.pk)
    answer = client.post(url("equipment", "edit", source.pk), form)
    assert answer.status_code == 400
    form = form_of(answer) | {"terminals.0.io_a": "90 mA"}
    assert client.post(url("equipment", "edit", source.pk), form).status_code == 409


# -------------------------------------------------------------------------------------------------------------- archive


@pytest.mark.parametrize("kind", ["equipment", "certificate", "cable_type", "area", "site"])
def test_archive_and_bring_back(
    kind: str, source: Any, certificate: Any, cable_type: Any, area: Any, site: Any, client_as: Any
) -> None:
    record = {r.record_kind: r for r in (source, certificate, cable_type, area, site)}[kind]
    client = client_as("administrator")
    for view, archived in (("archive", True), ("restore", False)):
        address = url(kind, view, record.pk)
        form = form_of(client.get(address))
        answer = client.post(address, form)
        assert answer.status_code == 400, "it asks why"
        record.refresh_from_db()
        assert record.is_archived is not archived, "looking and asking changes nothing"
        assert client.post(address, form | {"_reason": "No more made"}).headers["Location"] == url(kind, "", record.pk)
        record.refresh_from_db()
        assert record.is_archived is archived
        assert Revision.objects.filter(kind=kind, record_id=record.pk).first().reason == "No more made"  # type: ignore[union-attr]
        assert client.get(address).status_code == 302, "a second time there is nothing to ask"
    assert type(record).objects.filter(pk=record.pk).exists()


def test_archiving_what_somebody_saved_meanwhile_asks_again(
    source: Any, source_data: Any, people: Any, client_as: Any
) -> None:
    client = client_as("keeper")
    form = form_of(client.get(url("equipment", "archive", source.pk))) | {"_reason": "x"}
    save_text("equipment", source_data | {"maker": "Theirs"}, Author(people["designer"]), record_id=source.pk)
    answer = client.post(url("equipment", "archive", source.pk), form)
    assert answer.status_code == 409
    assert not Equipment.objects.get().is_archived
    assert client.post(url("equipment", "archive", source.pk), form_of(answer) | {"_reason": "x"}).status_code == 302


def test_an_archived_record_is_not_edited_but_nothing_typed_is_lost(source: Any, people: Any, client_as: Any) -> None:
    client = client_as("keeper")
    address = url("equipment", "edit", source.pk)
    form = form_of(client.get(address)) | {"_reason": "x", "maker": "Mine"}
    set_archived(source, True, Author(people["keeper"]))
    assert client.get(address).status_code == 302
    answer = client.post(address, form)
    assert answer.status_code == 400
    assert "bring it back first" in summary(answer)[0]
    assert form_of(answer)["maker"] == "Mine"
    assert Equipment.objects.get().maker == "Northlight Barriers"


def test_an_archived_certificate_is_offered_no_more_but_stays_where_it_is(
    source: Any, certificate: Any, people: Any, client_as: Any
) -> None:
    set_archived(certificate, True, Author(people["keeper"]))
    client = client_as("keeper")
    assert str(certificate) not in client.get(url("equipment", "new")).content.decode()
    form = form_of(client.get(url("equipment", "edit", source.pk)))
    assert form["terminals.0.certificate"] == str(certificate)


def test_the_form_echoes_how_a_value_was_read(source_data: Any, save: Any, client_as: Any) -> None:
    source_data["terminals"][0] |= {"io_a": "0,093 A", "po_w": "not stated"}
    record = save("equipment", source_data)
    page = client_as("keeper").get(url("equipment", "edit", record.pk)).content.decode()
    assert re.search(r'id="f-terminals-0-io_a-read"[^>]*>Read as 93 mA<', page)
    assert re.search(r'id="f-terminals-0-po_w-read"[^>]*>Read as not stated by the certificate<', page)
    assert re.search(r'id="f-terminals-0-uo_v-read"[^>]*><', page), "28 V reads as it is typed"


def test_with_very_many_certificates_the_name_is_typed(source: Any, client_as: Any) -> None:
    Certificate.objects.bulk_create(Certificate(scheme="NQ", number=f"NQ {n}", issue="0") for n in range(70))
    client = client_as("keeper")
    page = client.get(url("equipment", "edit", source.pk))
    assert 'list="f-terminals-0-certificate-list"' in page.content.decode()
    form = form_of(page) | {"terminals.0.certificate": "NQ 7 issue 0", "_reason": "x"}
    assert client.post(url("equipment", "edit", source.pk), form).status_code == 302
    assert source.terminals.get().certificate.number == "NQ 7"
