"""The pages of the register: who may open them and what they show."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from registry.models import Certificate, Equipment
from registry.services.records import Author, save_text
from registry.showing import end_words

pytestmark = pytest.mark.django_db
KINDS = ("equipment", "certificate", "cable_type", "site", "area")
VIEWS = ("", "edit", "duplicate", "archive", "history")
ROLES = ("reader", "designer", "approver", "planner", "keeper", "administrator", "superuser", "outsider")
EDITORS = {
    "equipment": {"designer", "keeper", "administrator"},
    "certificate": {"designer", "keeper", "administrator"},
    "cable_type": {"designer", "keeper", "administrator"},
    "site": {"administrator", "superuser"},
    "area": {"designer", "administrator"},
}
ADDERS = EDITORS | {"site": {"superuser"}}


@pytest.fixture
def records(source: Any, certificate: Any, cable_type: Any, site: Any, area: Any) -> dict[str, Any]:
    return {"equipment": source, "certificate": certificate, "cable_type": cable_type, "site": site, "area": area}


def url(kind: str, view: str = "", pk: int = 0) -> str:
    name = f"{kind}_{view}" if view else kind
    return reverse(name, args=[pk] if pk else [])


# -------------------------------------------------------------------------------------------------------------- access


@pytest.mark.parametrize("kind", KINDS)
def test_who_may_open_what(kind: str, records: dict[str, Any], client_as: Callable[[str], Any]) -> None:
    pk = records[kind].pk
    for role in ROLES:
        client = client_as(role)
        looks = 403 if role == "outsider" else 200
        edits = 200 if role in EDITORS[kind] else 403
        adds = 200 if role in ADDERS[kind] else 403
        assert client.get(url(kind, "list")).status_code == looks, role
        assert client.get(url(kind, "", pk)).status_code == looks, role
        assert client.get(url(kind, "history", pk)).status_code == looks, role
        assert client.get(url(kind, "edit", pk)).status_code == edits, role
        assert client.get(url(kind, "archive", pk)).status_code == edits, role
        assert client.get(url(kind, "new")).status_code == adds, role
        assert client.get(url(kind, "duplicate", pk)).status_code == adds, role


@pytest.mark.parametrize("kind", KINDS)
def test_who_may_not_edit_changes_nothing_and_reads_why(
    kind: str, records: dict[str, Any], client_as: Callable[[str], Any]
) -> None:
    record = records[kind]
    answer = client_as("reader").post(url(kind, "edit", record.pk), {"_version": str(record.version), "_reason": "x"})
    assert answer.status_code == 403
    assert "may do this" in answer.content.decode()
    assert client_as("reader").post(url(kind, "new"), {}).status_code == 403
    assert client_as("reader").post(url(kind, "archive", record.pk), {"_reason": "x"}).status_code == 403
    record.refresh_from_db()
    assert (record.version, record.archived_at) == (1, None)


def test_nobody_sees_anything_without_logging_in(records: dict[str, Any], client_as: Callable[[str], Any]) -> None:
    client = client_as("")
    for kind, record in records.items():
        for address in (url(kind, "list"), url(kind, "new"), *(url(kind, view, record.pk) for view in VIEWS)):
            assert client.get(address).headers["Location"].startswith("/login/?next=")


def test_sites_and_areas_of_others_are_not_there(records: dict[str, Any], client_as: Callable[[str], Any]) -> None:
    client = client_as("neighbour")
    for kind in ("site", "area"):
        pk = records[kind].pk
        assert client.get(url(kind, "", pk)).status_code == 404
        assert client.get(url(kind, "edit", pk)).status_code == 404
        assert records[kind].name not in client.get(url(kind, "list")).content.decode()
    assert "NORTH" not in client.get(url("area", "new")).content.decode()
    assert "NORTH" not in client.get("/pick/AreaEntry.site/").content.decode()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("pk", [999_999, 10**30])
def test_what_is_not_there_is_404(kind: str, pk: int, client_as: Callable[[str], Any]) -> None:
    client = client_as("administrator")
    for view in (*VIEWS, "restore"):
        assert client.get(url(kind, view, pk)).status_code == 404


@pytest.mark.parametrize("kind", KINDS)
def test_wrong_methods_are_refused(kind: str, records: dict[str, Any], client_as: Callable[[str], Any]) -> None:
    client = client_as("administrator")
    for address in (url(kind, "list"), *(url(kind, view, records[kind].pk) for view in VIEWS)):
        for method in ("put", "patch", "delete"):
            assert getattr(client, method)(address).status_code == 405
    for address in (url(kind, "list"), url(kind, "", records[kind].pk), url(kind, "history", records[kind].pk)):
        assert client.post(address).status_code == 405


# ------------------------------------------------------------------------------------------------------------- records


def test_a_source_shows_every_value_in_its_state(
    source_data: dict[str, Any], save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    terminals = source_data["terminals"][0]
    terminals |= {"po_w": "not stated", "ro_ohm": "", "io_a": "0,093 A"}
    terminals["permitted"] = [{"group": "IIC", "co_f": "83 nF", "lo_h": "not stated"}]
    record = save("equipment", source_data)
    page = client_as("reader").get(url("equipment", "", record.pk)).content.decode()
    rows = {
        row.split("</th>")[0].rsplit(">", 1)[-1]: row.split("</th>")[1]
        for row in page.split("<tr")[1:]
        if "</th>" in row
    }
    assert "28 V" in rows["maximum output voltage"]
    assert "93 mA" in rows["maximum output current"] and "0,093 A" in rows["maximum output current"]
    assert "not stated" in rows["maximum output power"]
    assert "unknown" in rows["output resistance"]
    assert "83 nF" in rows["IIC"] and "not stated" in rows["IIC"] and "unknown" in rows["IIC"]


def test_zero_is_a_value(
    device_data: dict[str, Any], save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    device_data["terminals"][0] |= {"ci_f": "0 F", "li_h": ""}
    record = save("equipment", device_data)
    page = client_as("reader").get(url("equipment", "", record.pk)).content.decode()
    assert "0 F" in page
    assert "0 H" not in page


def test_a_record_says_in_which_loops_it_is_and_hides_those_of_other_sites(
    loop: Any, records: dict[str, Any], client_as: Callable[[str], Any]
) -> None:
    for kind in ("equipment", "certificate", "cable_type", "area", "site"):
        page = client_as("reader").get(url(kind, "", records[kind].pk)).content.decode()
        assert loop.tag in page, kind
        assert f"/loops/{loop.pk}/" in page, kind
    for kind in ("equipment", "certificate", "cable_type"):
        page = client_as("neighbour").get(url(kind, "", records[kind].pk)).content.decode()
        assert loop.tag not in page
        assert "In 1 loop at sites that you are not a member of" in page


@pytest.mark.parametrize(
    "days, words",
    [
        (None, "No end date"),
        (-1, "Ran out 1 day ago"),
        (0, "Ends today"),
        (1, "1 day from now"),
        (400, "13 months from now"),
        (-800, "Ran out 2 years ago"),
    ],
)
def test_the_end_of_a_certificate_in_words(days: int | None, words: str) -> None:
    today = dt.date(2026, 3, 1)
    end = None if days is None else today + dt.timedelta(days)
    found = end_words(Certificate(valid_to=end), today)
    assert words in found
    assert ("no longer valid" in found) == (days is not None and days < 0)


def test_a_certificate_that_ran_out_is_shown_so_on_its_equipment(
    source: Any, certificate: Any, save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    yesterday = timezone.localdate() - dt.timedelta(1)
    text = {"scheme": "ATEX", "number": certificate.number, "issue": "0", "valid_to": yesterday.isoformat()}
    save("certificate", text, record_id=certificate.pk)
    client = client_as("reader")
    assert "Ran out 1 day ago" in client.get(url("equipment", "", source.pk)).content.decode()
    assert "Ran out 1 day ago" in client.get(url("certificate", "", certificate.pk)).content.decode()
    assert "run out" in client.get(url("equipment", "list")).content.decode()


def test_the_history_tells_field_before_after_who_and_why(
    source: Any, source_data: dict[str, Any], people: Any, client_as: Callable[[str], Any]
) -> None:
    source_data["terminals"][0] |= {"uo_v": "27 V", "po_w": "not stated"}
    save_text("equipment", source_data, Author(people["designer"], reason="Issue 2 read"), record_id=source.pk)
    page = client_as("reader").get(url("equipment", "history", source.pk)).content.decode()
    newest = page[page.index('id="revision-2"') : page.index('id="revision-1"')]
    for text in (
        "Terminals 1-2, Uo",
        "<del>28 V</del>",
        "<ins>27 V</ins>",
        "not stated",
        "The designer",
        "Issue 2 read",
    ):
        assert text in newest
    assert "The record was made" in page


def test_a_long_history_is_paged_and_complete(cable_type: Any, people: Any, client_as: Callable[[str], Any]) -> None:
    for number in range(2, 46):
        text = {
            "name": "Pair 1.5 mm2",
            "description": f"step {number}",
            "inductance_is": "loop",
            "resistance_is": "loop",
        }
        save_text("cable_type", text, Author(people["keeper"]), record_id=cable_type.pk)
    client = client_as("reader")
    seen: list[int] = []
    for page in (1, 2, 3):
        answer = client.get(url("cable_type", "history", cable_type.pk), {"page": page})
        entries = answer.context["entries"]
        assert all(entry["changes"] for entry in entries if entry["revision"].number > 1)
        seen += [entry["revision"].number for entry in entries]
    assert seen == list(range(45, 0, -1))
    for odd in ("0", "-1", "x", "9" * 40, "²", ""):
        assert client.get(url("cable_type", "history", cable_type.pk), {"page": odd}).status_code == 200


def test_hostile_text_is_shown_as_text(
    source_data: dict[str, Any], save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    attack = "<script>alert(1)</script>\"'><img src=x>"
    source_data |= {"maker": attack[:40], "function": attack, "notes": attack, "marking": attack}
    source_data["terminals"][0]["name"] = attack[:30]
    record = save("equipment", source_data)
    client = client_as("keeper")
    for address in (
        "/equipment/",
        url("equipment", "", record.pk),
        url("equipment", "edit", record.pk),
        url("equipment", "history", record.pk),
        url("equipment", "archive", record.pk),
        "/search/?q=%3Cscript%3E",
    ):
        page = client.get(address).content.decode()
        assert "<script>alert" not in page, address
        assert "<img src" not in page, address


def test_equipment_that_is_doubted_says_so(
    source_data: dict[str, Any], save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    source_data["terminals"][0] |= {"po_w": "6.5 W", "level": "ib", "gas_group": "IIB"}
    record = save("equipment", source_data)
    page = client_as("reader").get(url("equipment", "", record.pk)).content.decode()
    assert "no source gives that" in page
    assert "The level ib is not that of the marking, ia" in page
    assert "The group IIB is not that of the marking, IIC" in page
    assert Equipment.objects.get(pk=record.pk).terminals.get().po_w_text == "6.5 W", "warned, never corrected"


def test_a_certificate_shows_all_of_its_issues_in_order(certificate: Any, save: Any, client_as: Any) -> None:
    """By number: issue 10 follows issue 2."""
    text = {"scheme": "ATEX", "number": certificate.number, "status": "superseded"}
    for issue in ("10", "2"):
        save("certificate", text | {"issue": issue})
    page = client_as("reader").get(f"/certificates/{certificate.pk}/").content.decode()
    section = page[page.index('id="issues"') :]
    places = [section.index(f"Issue {issue}<") for issue in ("0", "2", "10")]
    assert places == sorted(places)


def test_an_item_shows_what_its_way_of_working_needs(
    client_as: Callable[..., Any], save: Callable[..., Any], device_data: dict[str, Any]
) -> None:
    """A solenoid is not asked for a voltage at 4 mA, nor a transmitter for its coil; what is typed always shows."""
    transmitter = client_as("reader").get(f"/equipment/{save('equipment', device_data).pk}/").content.decode()
    assert "Lowest voltage at 4 mA" in transmitter and "Pull-in current" not in transmitter
    coil = {"needs_kind": "solenoid", "pull_in_a": "37 mA", "coil_ohm": "270 ohm"}
    device_data["type_name"] = "SV-1"
    device_data["terminals"][0] |= {"needs_v": "", "needs_max_a": "", "drop_v": "0.7 V"} | coil
    device_data["terminals"][0]["temperature_classes"][0] |= {"pi_w": "0.5 W"}
    valve = client_as("reader").get(f"/equipment/{save('equipment', device_data).pk}/").content.decode()
    assert "Lowest voltage at 4 mA" not in valve and "Highest temperature of the coil" in valve
    assert "Fixed voltage drop" in valve and "Solenoid" in valve and "Pi 500 mW" in valve


def test_a_certificate_leads_to_new_equipment_under_it(certificate: Any, client_as: Callable[[str], Any]) -> None:
    keeper = client_as("keeper")
    page = keeper.get(url("certificate", pk=certificate.pk)).content.decode()
    link = re.search(r'href="(/equipment/new/\?certificate=[^"]+)"', page)
    assert link is not None
    assert f'value="{certificate.number} issue {certificate.issue}" selected' in keeper.get(link[1]).content.decode()
    assert "/equipment/new/" not in client_as("reader").get(url("certificate", pk=certificate.pk)).content.decode()
