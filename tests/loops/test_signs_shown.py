"""Pages show the signs of units; forms, files, the API and what is stored hold what was typed."""

from __future__ import annotations

import re
from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from django.urls import reverse
from django.utils import translation
from pint import UnitRegistry

from loops.basis_words import changes_said
from loops.services import approvals, basis
from registry.models import Notice, NoticeKind
from registry.signs import with_signs
from registry.stored import said
from reports.services import issue
from tests.loops.pages import FormReader

pytestmark = pytest.mark.django_db

TYPED = re.compile(r"\d[ \u00a0](?:[kMm]?ohm|degC|u[AFHVWs])\b")
"""A quantity with its unit as a keyboard gives it."""


def text_of(page: str) -> str:
    """What a reader sees of a page, and what is read to those who do not see it: no form fields, no scripts."""
    page = re.sub(r"<(script|style|textarea|datalist)\b.*?</\1>", " ", page, flags=re.DOTALL)
    told = re.findall(r'(?:aria-label|alt|data-label)="([^"]*)"', page)
    return unescape(" ".join([re.sub(r"<[^>]*>", "\n", page), *told]))


def units_as(text: str, typed: str) -> bool:
    """Whether a general library of units reads a shown quantity as the typed one."""
    units: Any = UnitRegistry(non_int_type=Decimal)
    (number, unit), (was, unit_typed) = text.split(" "), typed.split(" ")
    return bool(units.Quantity(Decimal(number), unit) == units.Quantity(Decimal(was), unit_typed))


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("which", ["loop", "failing_loop"])
def test_no_page_of_a_loop_shows_a_unit_as_typed(which: str, language: str, client_as: Any, request: Any) -> None:
    loop = request.getfixturevalue(which)
    client = client_as("designer")
    member = loop.circuits.get().members.get(role="device")
    addresses = {
        "loop": reverse("loop", args=[loop.pk]),
        "what if": reverse("loop_studies", args=[loop.pk]),
        "list": reverse("loop_list"),
        "areas": reverse("area_list"),
        "equipment": reverse("equipment", args=[member.terminals.equipment_id]),
        "candidates": reverse("suits_item", args=[loop.pk, member.pk]),
        "one candidate": reverse("suits_check", args=[loop.pk, member.pk, member.terminals_id]),
        "search": f"{reverse('search')}?q={loop.tag[:-2]}",
        "home": reverse("home"),
    }
    for name, address in addresses.items():
        page = client.get(address, HTTP_ACCEPT_LANGUAGE=language)
        assert page.status_code == 200, name
        assert not TYPED.findall(text_of(page.content.decode())), name


def test_quantities_of_a_loop_page_and_its_drawings(loop: Any, client_as: Any) -> None:
    """300 m of 0.65 mH/km and 10 µH of the device: 205 µH. The area reaches 40 °C."""
    client = client_as("designer")
    shown = text_of(client.get(reverse("loop", args=[loop.pk])).content.decode())
    assert "205 µH of 4.2 mH" in shown and "205 uH" in str(loop.verification.results)
    assert units_as("205 µH", "0.205 mH")
    assert "-20 °C to 40 °C" in shown
    chart = client.get(reverse("reports:ignition", args=[loop.pk, 1])).content.decode()
    assert "µF" in chart and "uF" not in chart


def test_the_chart_has_the_decimal_mark_of_its_reader_and_no_older_picture_is_kept(loop: Any, client_as: Any) -> None:
    client, address = client_as("designer"), reverse("reports:ignition", args=[loop.pk, 1])
    english = client.get(address, HTTP_ACCEPT_LANGUAGE="en")
    german = client.get(address, HTTP_ACCEPT_LANGUAGE="de", HTTP_IF_NONE_MATCH=english["ETag"])
    assert german.status_code == 200 and english["ETag"] != german["ETag"]
    assert not re.search(r">[^<]*\d\.\d+ [a-zµ]?[VAF]\b", german.content.decode())
    again = client.get(address, HTTP_ACCEPT_LANGUAGE="de", HTTP_IF_NONE_MATCH=german["ETag"])
    assert again.status_code == 304


def test_the_glossary_says_ranges_with_signs_and_examples_as_one_types_them(client_as: Any) -> None:
    page = text_of(client_as("designer").get(reverse("parameters")).content.decode())
    assert "The standard range begins at -20 °C." in page and "55 uH/ohm" in page


def test_forms_hold_what_was_typed(loop: Any, area: Any, client_as: Any, people: Any) -> None:
    for language in ("en", "de"):
        page = client_as("designer").get(reverse("loop_edit", args=[loop.pk]), HTTP_ACCEPT_LANGUAGE=language)
        form = FormReader("loop-form")
        form.feed(page.content.decode())
        assert form.sent["load_ohm"] == "250 ohm"
        page = client_as("designer").get(reverse("area_edit", args=[area.pk]), HTTP_ACCEPT_LANGUAGE=language)
        assert 'value="40 degC"' in page.content.decode()


def test_names_that_people_gave_stay(
    loop: Any, device: Any, device_data: Any, cable_type: Any, save: Any, client_as: Any
) -> None:
    """A cable is called by its cross-section, and a function may say 300 ohm."""
    save("equipment", device_data | {"function": "Head transmitter, 300 ohm"}, record_id=device.pk)
    save("cable_type", {"name": "Pair 59 uH/ohm", "maker": "Larkfield Cables"})
    client = client_as("designer")
    assert "Pair 1.5 mm2" in client.get(reverse("loop", args=[loop.pk])).content.decode()
    assert "Head transmitter, 300 ohm" in client.get(reverse("equipment", args=[device.pk])).content.decode()
    assert "Pair 59 uH/ohm" in client.get(reverse("cable_type_list")).content.decode()


def test_files_and_programs_get_what_is_stored(loop: Any, area: Any, client_as: Any) -> None:
    client = client_as("designer")
    case = client.get(reverse("api_loop_case", args=[loop.pk])).content.decode()
    answer = client.get(f"/api/v1/loops/{loop.pk}/").content.decode()
    table = client.get(reverse("loop_seen", args=["csv"]), HTTP_ACCEPT_LANGUAGE="de").content.decode()
    areas = client.get(reverse("area_export", args=["csv"])).content.decode()
    assert '"10 uH"' in case and "250 ohm" in answer and "40 degC" in areas
    for text in (case, answer, table, areas):
        assert not set("µΩ°") & set(text)


# ------------------------------------------------------------------------------------------------ reasons of the basis


def test_a_reason_names_its_fields_in_the_words_of_its_reader(
    loop: Any, source: Any, source_data: Any, device: Any, device_data: Any, area: Any, save: Any, people: Any,
    client_as: Any, password: str,
) -> None:  # fmt: skip
    approvals.submit(loop.pk, people["designer"])
    issue(loop.pk, people["approver"], password, None)
    Notice.objects.all().delete()
    rows = source_data["terminals"][0]["permitted"]
    rows[0]["lo_h"] = "150.5 uH"
    save("equipment", source_data, record_id=source.pk)
    device_data["terminals"][0]["gas_group"] = "IIB"
    save("equipment", device_data, record_id=device.pk)
    reasons = list(loop.approvals.get().basis_changes.order_by("pk").values_list("reason", flat=True))
    assert "150.5 uH" in reasons[0] and "Gas group IIC → IIB" in reasons[1], "what is stored is English, as typed"
    client = client_as("designer")
    address = reverse("loop", args=[loop.pk])
    german, english = (
        text_of(client.get(address, HTTP_ACCEPT_LANGUAGE=language).content.decode()) for language in ("de", "en")
    )
    assert "Zulässig IIC Lo 4,2 mH → 150,5 µH." in german and "Permitted IIC Lo 4.2 mH → 150.5 µH." in english
    assert "Gasgruppe IIC → IIB." in german and "Gas group IIC → IIB." in english
    assert "Mit dem jetzigen Verzeichnis beurteilt: nicht erfüllt." in german
    notices = client_as("designer").get(reverse("notices"), HTTP_ACCEPT_LANGUAGE="de").content.decode()
    assert Notice.objects.filter(kind=NoticeKind.BASIS).exists()
    assert "→ 150,5 µH." in notices and "Gasgruppe IIC → IIB." in notices
    query = {"columns": "state,what-changed-in-its-basis"}
    table = client.get(reverse("loop_list"), query, HTTP_ACCEPT_LANGUAGE="de").content.decode()
    assert "150,5 µH" in table and "Gasgruppe" in table
    file = client.get(reverse("loop_seen", args=["csv"]), query, HTTP_ACCEPT_LANGUAGE="de").content.decode()
    assert "150.5 uH" in file and "Gas group IIC" in file
    assert basis.latest_against_register(loop) is not None


@pytest.mark.parametrize(
    "stored, german",
    [
        ("Ta max 40 degC → 60.5 degC", "Ta max 40 degC → 60,5 degC"),
        ("Terminals 3-4 Isolation Isolated from earth (500 V) → Connected to earth",
         "Klemmen 3-4 Trennung Von Erde getrennt (500 V) → Mit Erde verbunden"),
        ("Terminals 5-6 unknown → present; Terminals 3-4 Permitted IIB present → removed; 2 more",
         "Klemmen 5-6 unbekannt → vorhanden; Klemmen 3-4 Zulässig IIB vorhanden → entfernt; 2 weitere"),
        ("Record in use → archived.", "Eintrag in Gebrauch → archiviert."),
        ("Specific conditions Keep dry; see B → Keep wet; see C",
         "Besondere Bedingungen Keep dry; see B → Keep wet; see C"),
        ("Terminals Type 7 and Ui Ui 30 V → 28.5 V", None),
        ("Terminals Kind 7 Ui 30 V → 28.5 V", "Klemmen Kind 7 Ui 30 V → 28,5 V"),
        ("Pump → valve", None),
        ("No arrow", None),
    ],
)  # fmt: skip
def test_changes_in_german(stored: str, german: str | None) -> None:
    with translation.override("de"):
        assert german is None or changes_said(stored) == german
        assert german is not None or stored.startswith("Terminals") or changes_said(stored) is None
    with translation.override("en"):
        assert said(stored) == stored


@pytest.mark.parametrize("language", ["de", "en"])
def test_the_way_there_and_back(language: str, loop: Any, source: Any, source_data: Any, save: Any) -> None:
    """What a change is called when it is said at once is what its stored words are said as."""
    from loops.services.essentials import in_words
    from registry.models import Revision

    terminals = source_data["terminals"][0]
    terminals |= {"isolation": "", "um_v": "125 V", "level": "ib", "uo_v": ""}
    terminals["permitted"].append({"group": "IIB", "co_f": "650 nF"})
    save("equipment", source_data | {"marking": "[Ex ib Gb] IIC"}, record_id=source.pk)
    old, new = Revision.objects.filter(kind="equipment", record_id=source.pk).order_by("number")
    with translation.override("en"):
        stored = in_words("equipment", old.snapshot, new.snapshot)
    with translation.override(language):
        assert [said(text) for text in stored] == in_words("equipment", old.snapshot, new.snapshot)
    assert len(stored) >= 5


def test_signs_are_set_once() -> None:
    assert with_signs(with_signs("84.5 uH of 12.1 ohm/km")) == "84.5 µH of 12.1 Ω/km"
