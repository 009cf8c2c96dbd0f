"""From a certificate's text or a nameplate file into a form: shown beside its line, saved by a person alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from loops.models import Verification
from registry.exchange.aas_writing import as_json
from registry.exchange.nameplate import read_nameplates
from registry.exchange.nameplate_export import nameplate_environment
from registry.models import Certificate, Equipment, Revision
from registry.selectors import record_text
from registry.views.taking import certificate_of
from tests.registry.pages import Form, form_of

pytestmark = pytest.mark.django_db

TEXT = "Terminals 1-2\nUi = 30 V, Li = negligible\nPi: 0,9 W\nPi for T6: 0,2 apples"


def taking_form(answer: Any) -> dict[str, str]:
    """What a browser would send when a person presses “take over”."""
    page = Form()
    page.feed(answer.content.decode().replace('checkbox"', 'ticked"'))
    ticked = [fields for fields in page.forms if any(name.startswith("place.") for name in fields) or "kind" in fields]
    return dict(ticked[0])


def test_pasting_shows_values_with_their_lines_and_saves_nothing(client_as: Callable[[str], Any]) -> None:
    answer = client_as("keeper").post(reverse("equipment_paste"), {"text": TEXT})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert 'name="terminals.0.ui_v" value="30 V" checked' in page
    assert "Pi: 0,9 W" in page
    assert "apples" in page
    assert not Equipment.objects.exists()


def test_a_word_that_was_interpreted_is_not_ticked_for_anybody(client_as: Callable[[str], Any]) -> None:
    page = client_as("keeper").post(reverse("equipment_paste"), {"text": TEXT}).content.decode()
    field = page[page.index('name="terminals.0.li_h"') :][:80]
    assert 'value="0 H"' in field
    assert "checked" not in field


def test_chosen_values_stand_in_the_form_of_a_new_item(client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    sent = {
        "kind": "field_device",
        "terminals.0.name": "1-2",
        "terminals.0.side": "device",
        "terminals.0.pi_w": "0,9 W",
        "place.terminals.0.pi_w": "line 3: Pi: 0,9 W",
    }
    answer = client.post(reverse("equipment_take"), sent)
    form = form_of(answer)
    assert answer.status_code == 200
    assert (form["terminals.0.pi_w"], form["terminals.0.ui_v"], form["kind"]) == ("0,9 W", "", "field_device")
    assert "taken from line 3: Pi: 0,9 W" in answer.content.decode()
    assert not Equipment.objects.exists()


CERTIFIED = (
    "EU-TYPE EXAMINATION CERTIFICATE EXA 21 ATEX 0101{issue}\n-20 °C ≤ Ta ≤ +60 °C\nTerminals 1-2\n"
    "Uo = 28 V, Io = 93 mA (linear characteristic)\nGroup\tIIC\tIIB\nCo [nF]\t83\t650"
)


def test_the_certificate_that_a_text_names_is_chosen_in_each_set(
    client_as: Callable[[str], Any], certificate: Any
) -> None:
    client = client_as("keeper")
    page = client.post(reverse("equipment_paste"), {"text": CERTIFIED.format(issue=" Issue 0")})
    sent = taking_form(page)
    assert sent["certificate"] == str(certificate)
    form = form_of(client.post(reverse("equipment_take"), sent))
    assert (form["kind"], form["terminals.0.certificate"]) == ("source", str(certificate))
    # One set, with the ambient range that stands before it, and what a heading gives the unit of.
    assert (form["terminals.0.ambient_min_degc"], form["terminals.0.permitted.1.co_f"]) == ("-20 degC", "650 nF")
    assert "terminals.1.name" not in form


def test_a_certificate_that_the_register_does_not_have_is_offered_to_be_added(
    client_as: Callable[[str], Any], certificate: Any
) -> None:
    client = client_as("keeper")
    page = client.post(reverse("equipment_paste"), {"text": CERTIFIED.format(issue=" Issue 3")}).content.decode()
    address = f"{reverse('certificate_new')}?scheme=ATEX&amp;number=EXA+21+ATEX+0101&amp;issue=3"
    assert "issue 3 is not in the register" in page and address in page
    assert 'name="certificate"' not in page
    form = form_of(client.get(address.replace("&amp;", "&")))
    assert (form["number"], form["issue"]) == ("EXA 21 ATEX 0101", "3")


def test_a_number_with_several_issues_is_left_to_be_chosen(
    client_as: Callable[[str], Any], certificate: Any, save: Callable[..., Any]
) -> None:
    save("certificate", {"scheme": "ATEX", "number": certificate.number, "issue": "1", "status": "current"})
    page = client_as("keeper").post(reverse("equipment_paste"), {"text": CERTIFIED.format(issue="")}).content.decode()
    assert "in the register in issues 0, 1" in page and 'name="certificate"' not in page


def test_values_taken_into_a_stored_item_leave_all_else_as_it_stands(
    client_as: Callable[[str], Any], device: Any
) -> None:
    sent = {"into": str(device.pk), "terminals.0.side": "device", "terminals.0.pi_w": "0.7 W"}
    answer = client_as("keeper").post(reverse("equipment_take"), sent)
    form = form_of(answer)
    assert (form["terminals.0.pi_w"], form["terminals.0.ui_v"], form["terminals.0.name"]) == ("0.7 W", "30 V", "+/-")
    assert "terminals.1.name" not in form
    assert form["_version"] == str(device.version)
    device.refresh_from_db()
    assert device.terminals.get().pi_w_text == "1 W"


def test_a_set_of_another_name_becomes_a_further_one(client_as: Callable[[str], Any], device: Any) -> None:
    sent = {"into": str(device.pk), "terminals.0.name": "3-4", "terminals.0.side": "device", "terminals.0.ui_v": "9 V"}
    form = form_of(client_as("keeper").post(reverse("equipment_take"), sent))
    assert (form["terminals.0.ui_v"], form["terminals.1.name"], form["terminals.1.ui_v"]) == ("30 V", "3-4", "9 V")


@pytest.mark.parametrize("name", ["equipment_paste", "equipment_nameplate", "equipment_take"])
def test_a_reader_may_not(client_as: Callable[[str], Any], name: str) -> None:
    assert client_as("reader").post(reverse(name), {"text": TEXT}).status_code == 403


@pytest.mark.parametrize(
    "sent", [{"terminals.0": "x"}, {"terminals.x.name": "y"}, {"terminals.0.permitted.0": "z"}, {}]
)
def test_a_form_that_no_page_sends_harms_nothing(client_as: Callable[[str], Any], sent: dict[str, str]) -> None:
    assert client_as("keeper").post(reverse("equipment_take"), sent).status_code == 200


@pytest.mark.parametrize("content", [b"", b"{", b"PK\x03\x04", b"%PDF-1.7 broken"])
@pytest.mark.parametrize("name", ["equipment_paste", "equipment_nameplate"])
def test_files_that_cannot_be_read_are_refused_with_a_sentence(
    client_as: Callable[[str], Any], name: str, content: bytes
) -> None:
    answer = client_as("keeper").post(reverse(name), {"file": SimpleUploadedFile("file", content)})
    assert answer.status_code == 400
    assert 'class="error-summary' in answer.content.decode()


# ----------------------------------------------------------------------------------------------------------- nameplate


def plate_of(device: Any) -> bytes:
    """The nameplate file of a device, under another type."""
    text = record_text(device) | {"type_name": "SP-200"}
    certificate = device.terminals.get().certificate
    return as_json(nameplate_environment(text, {certificate.pk: record_text(certificate)}))


def test_a_nameplate_file_becomes_an_unconfirmed_record_in_three_clicks(
    client_as: Callable[[str], Any], device: Any
) -> None:
    client = client_as("keeper")
    read = client.post(reverse("equipment_nameplate"), {"file": SimpleUploadedFile("a.json", plate_of(device))})
    assert read.status_code == 200
    taken = client.post(reverse("equipment_take"), taking_form(read))
    assert taken.status_code == 200
    saved = client.post(reverse("equipment_new"), form_of(taken))
    assert saved.status_code == 302, saved.content.decode()
    item = Equipment.objects.get(type_name="SP-200")
    terminals = item.terminals.get()
    assert terminals.unconfirmed
    assert terminals.ui_v == 30
    page = client.get(reverse("equipment", args=[item.pk]))
    assert "I compared these with the certificate" in page.content.decode()
    confirmed = client.post(reverse("equipment_confirm", args=[item.pk]), {"_version": str(item.version)})
    assert confirmed.status_code == 302
    terminals.refresh_from_db()
    assert not terminals.unconfirmed
    last = Revision.objects.filter(kind="equipment", record_id=item.pk).latest("number")
    assert "compared with the certificate by" in last.reason


def test_the_nameplate_of_an_item_of_the_register_goes_into_its_form(
    client_as: Callable[[str], Any], device: Any, save: Callable[..., Any]
) -> None:
    text = record_text(device) | {"notes": "In cabinet 4", "description": "Ours"}
    save("equipment", text, record_id=device.pk)
    certificate = device.terminals.get().certificate
    theirs = record_text(device) | {"type_name": "sp-100", "description": "Theirs"}
    theirs["terminals"][0]["ui_v"] = "29 V"
    content = as_json(nameplate_environment(theirs, {certificate.pk: record_text(certificate)}))
    client = client_as("keeper")
    read = client.post(reverse("equipment_nameplate"), {"file": SimpleUploadedFile("a.json", content)})
    assert "is in the register already" in read.content.decode()
    form = form_of(client.post(reverse("equipment_take"), taking_form(read)))
    assert form["type_name"] == "SP-100" and form["description"] == "Ours"
    assert form["notes"].startswith("In cabinet 4") and "unconfirmed" in form["notes"]
    assert (form["terminals.0.ui_v"], form["terminals.0.certificate"]) == ("29 V", str(certificate))
    assert "terminals.1.name" not in form


def test_a_confirmation_of_a_page_that_is_out_of_date_confirms_nothing(
    client_as: Callable[[str], Any], device_data: dict[str, Any], save: Callable[..., Any]
) -> None:
    device_data["terminals"][0]["unconfirmed"] = "on"
    item = save("equipment", device_data)
    client_as("keeper").post(reverse("equipment_confirm", args=[item.pk]), {"_version": str(item.version - 1)})
    assert item.terminals.get().unconfirmed


@pytest.mark.parametrize(("unconfirmed", "verdict"), [("", "complies"), ("on", "incomplete")])
@pytest.mark.parametrize("side", ["source", "device"])
def test_unconfirmed_values_count_as_unknown(
    source: Any,
    device: Any,
    save: Callable[..., Any],
    make_loop: Callable[..., Any],
    people: Any,
    side: str,
    unconfirmed: str,
    verdict: str,
) -> None:
    from registry.services.records import Author, save_text

    item = source if side == "source" else device
    text = record_text(item)
    text["terminals"][0]["unconfirmed"] = unconfirmed
    save_text("equipment", text, Author(people["keeper"]), record_id=item.pk)
    loop = make_loop()
    assert Verification.objects.filter(loop=loop).latest("pk").verdict == verdict


def test_a_record_leaves_as_a_nameplate_without_what_is_unconfirmed(
    client_as: Callable[[str], Any], device: Any, people: Any
) -> None:
    from registry.services.records import Author, save_text

    client = client_as("reader")
    address = reverse("equipment_nameplate_file", args=[device.pk])
    content = client.get(address).content
    (found,) = read_nameplates(content)
    assert b'"30"' in content
    assert found.equipment["terminals"][0]["ui_v"] == "30 V"
    text = record_text(device)
    text["terminals"][0]["unconfirmed"] = "on"
    save_text("equipment", text, Author(people["keeper"]), record_id=device.pk)
    assert b'"30"' not in client.get(address).content


MARKED = "EXA 21 ATEX 0101 X\nII 1 G Ex ia IIC T4 Ga\n-20 °C <= Ta <= +60 °C\nUi = 30 V, Ii = 100 mA, Pi = 0.9 W"


def taken_from(client: Any, text: str, **changed: str) -> Any:
    """The form after a text was pasted and all that is ticked was taken over."""
    fields = taking_form(client.post(reverse("equipment_paste"), {"text": text}))
    return client.post(reverse("equipment_take"), fields | changed)


def test_a_marking_in_the_text_fills_what_the_text_leaves_open(client_as: Callable[[str], Any]) -> None:
    answer = taken_from(client_as("keeper"), MARKED)
    form = form_of(answer)
    assert form["marking"] == "II 1 G Ex ia IIC T4 Ga"
    assert (form["terminals.0.level"], form["terminals.0.gas_group"]) == ("ia", "IIC")
    assert form["terminals.0.temperature_classes.0.temperature_class"] == "T4"
    assert any("level of protection ia" in sentence for sentence in answer.context["marking_taken"].filled)
    assert answer.context["marking_taken"].differs == ()
    assert not Equipment.objects.exists()


def test_a_marking_that_differs_from_what_is_taken_over_is_told(client_as: Callable[[str], Any]) -> None:
    answer = taken_from(client_as("keeper"), MARKED, **{"terminals.0.gas_group": "IIB", "terminals.0.level": "ib"})
    differs = " ".join(answer.context["marking_taken"].differs)
    assert "the gas group typed is IIB, the marking says IIC" in differs
    assert "the level of protection typed is ib, the marking says ia" in differs
    assert form_of(answer)["terminals.0.gas_group"] == "IIB", "what was taken over stays"


def test_a_marking_that_cannot_be_read_is_a_fault_of_its_field(client_as: Callable[[str], Any]) -> None:
    answer = taken_from(client_as("keeper"), MARKED, marking="Ex apples IIC")
    assert answer.status_code == 200
    assert [error["id"] for error in answer.context["errors"]] == ["f-marking"]
    assert form_of(answer)["marking"] == "Ex apples IIC"


def test_co_of_a_nameplate_names_the_group_that_it_holds_for(source: Any, client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    file = client.get(reverse("equipment_nameplate_file", args=[source.pk])).content
    answer = client.post(reverse("equipment_nameplate"), {"file": SimpleUploadedFile("plate.json", file)})
    shown = {(row["value"].symbol, row["value"].group) for row in answer.context["plates"][0]["values"]}
    # The fixture `source` permits 83 nF for IIC.
    assert ("Co", "IIC") in shown


def test_a_certificate_that_is_missing_is_added_under_the_one_scheme_of_its_number(client_as: Any, site: Any) -> None:
    """The forms of numbers are those of the usual schemes (registry/migrations/0014_usual_schemes.py)."""
    for number, scheme in (("EXA 24 ATEX 0410 X", "ATEX"), ("IECEx EXA 21.0034X", "IECEx"), ("ZZ-1", None)):
        asked = parse_qs(certificate_of(number)["add_url"].partition("?")[2])
        assert (asked["number"], asked.get("scheme")) == ([number], [scheme] if scheme else None)
        page = client_as("keeper").get(certificate_of(number)["add_url"]).content.decode()
        assert (f'<option value="{scheme}" selected' in page) is bool(scheme)


NAMED = (
    "EXA 24 ATEX 0410 X\n(4) Type: SP-300\n(5) Manufacturer: Vessarik GmbH\n1 Example Road\nApplicant: Vessarik Ltd\n"
    "Ui = 30 V\n17 Specific conditions of use\n1. Keep the window\ndry.\n2. Shield it from impact.\n"
)
CONDITIONS = "Keep the window dry.\nShield it from impact."


def certificate_form(client: Any, text: str, **changed: str) -> Any:
    """The form of a certificate after a text was pasted and its button was pressed with all that is ticked."""
    fields = taking_form(client.post(reverse("equipment_paste"), {"text": text}))
    return client.post(reverse("certificate_take"), fields | changed)


def test_maker_and_type_of_a_text_stand_in_the_form(client_as: Callable[[str], Any]) -> None:
    form = form_of(taken_from(client_as("keeper"), NAMED))
    assert (form["maker"], form["type_name"], form["terminals.0.ui_v"]) == ("Vessarik GmbH", "SP-300", "30 V")


def test_holder_and_conditions_of_a_text_stand_in_the_form_of_its_certificate(client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    answer = certificate_form(client, NAMED)
    form = form_of(answer)
    assert (form["number"], form["scheme"], form["holder"]) == ("EXA 24 ATEX 0410 X", "ATEX", "Vessarik Ltd")
    assert form["specific_conditions"].replace("\r\n", "\n").strip() == CONDITIONS
    assert "taken from line 8: 1. Keep the window" in answer.content.decode()
    assert not Certificate.objects.exists()
    assert client.post(reverse("certificate_new"), form | {"status": "current"}).status_code == 302
    assert Certificate.objects.get().specific_conditions.replace("\r\n", "\n") == CONDITIONS


def test_doubtful_conditions_are_not_ticked_for_anybody(client_as: Callable[[str], Any]) -> None:
    client = client_as("keeper")
    page = client.post(reverse("equipment_paste"), {"text": NAMED.replace("2. Shield", "3. Shield")}).content.decode()
    field = page[page.index('name="certificate.specific_conditions"') :][:120]
    assert "checked" not in field
    assert "The numbers are not in sequence. Tick it only if you agree." in page


def test_a_number_with_x_without_conditions_is_told(client_as: Callable[[str], Any]) -> None:
    page = client_as("keeper").post(reverse("equipment_paste"), {"text": MARKED}).content.decode()
    assert "The number ends with X, but no specific conditions of use were read" in page


@pytest.mark.parametrize(
    ("stored", "told"), [(CONDITIONS, False), ("1. keep the window dry.\n2) Shield it from impact.", False), ("", True),
                         ("Keep the window dry.", True)]
)  # fmt: skip
def test_conditions_of_the_register_that_differ_from_the_text_are_told(
    client_as: Callable[[str], Any], save: Callable[..., Any], stored: str, told: bool
) -> None:
    data = {"scheme": "ATEX", "number": "EXA 24 ATEX 0410 X", "issue": "0", "status": "current"}
    save("certificate", data | {"specific_conditions": stored})
    page = client_as("keeper").post(reverse("equipment_paste"), {"text": NAMED}).content.decode()
    assert ("The register says something else than this text" in page) is told
    assert 'name="certificate.specific_conditions"' not in page


def test_conditions_of_several_certificates_are_left_to_the_person(client_as: Callable[[str], Any]) -> None:
    page = client_as("keeper").post(reverse("equipment_paste"), {"text": f"EXA 24 ATEX 0411\n{NAMED}"}).content.decode()
    assert 'name="certificate.specific_conditions"' not in page
    assert "Keep the window dry.<br>Shield it from impact." in page
