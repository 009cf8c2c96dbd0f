"""What the editor offers to pick: by type, maker, marking, certificate, value and tag; and how its rows are moved."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from loops.entries import MemberEntry
from loops.picks import MOST, facts_by_name, find_cables, find_terminals
from loops.views.editor_rows import row_command, without_blank_rows
from registry.models import Terminals
from registry.querysets import MAX_TEXT
from registry.views.forms import closed_path, flatten
from tests.loops.pages import form_of

pytestmark = pytest.mark.django_db
SOURCE, DEVICE = Terminals.Side.SOURCE, Terminals.Side.DEVICE
BARRIER, TRANSMITTER = "Northlight Barriers NB-28, 1-2", "Sandpiper Instruments SP-100, +/-"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "nb-28",
        "barriers north",
        BARRIER,
        "NB-28, 1",
        "28 V",
        "Uo 28V Io=93 mA",
        "0.65 W NB",
        "650mW",
        "EXA 21 ATEX 0101",
        "PT-1101-B",
        "transmitter supply",
    ],
)
def test_a_source_is_found(text: str, loop: Any, people: Any) -> None:
    assert [pick.name for pick in find_terminals(people["designer"], SOURCE, text)] == [BARRIER]


@pytest.mark.parametrize(
    "text",
    ["24 V", "SP-100", "NB-28, 3", "93 mA 24 V", "PT-110", "zzz", "\x00", "%", "9" * 2 * MAX_TEXT, ", "],
)
def test_what_is_no_source_is_not(text: str, loop: Any, people: Any) -> None:
    found = [pick.name for pick in find_terminals(people["designer"], SOURCE, text)]
    assert found == ([BARRIER] if text in {"\x00", ", "} else [])


def test_devices_by_their_own_values_and_with_them(loop: Any, people: Any) -> None:
    found = find_terminals(people["designer"], DEVICE, "Ci 5 nF")
    assert [pick.name for pick in found] == [TRANSMITTER]
    assert found[0].facts == "Ui 30 V · Ii 100 mA · Pi 1 W · Ci 5 nF · Li 10 µH · ia IIC"
    source = find_terminals(people["designer"], SOURCE, "NB")[0]
    assert "Uo 28 V" in source.facts and "IIC: Co 83 nF, Lo 4.2 mH" in source.facts
    assert find_cables("1.5 larkfield")[0].facts == "C 110 nF/km · L 0.65 mH/km · L/R 25 µH/Ω"
    assert facts_by_name([BARRIER, ""], ["Pair 1.5 mm2"]).keys() == {BARRIER, "Pair 1.5 mm2"}


def test_what_is_alike_is_told_apart_by_what_it_is_and_its_certificate(
    loop: Any, people: Any, save: Callable[..., Any], client_as: Callable[[str], Any]
) -> None:
    terminals = Terminals.objects.get(side=SOURCE)
    item, certificate = terminals.equipment, terminals.certificate
    item.description, certificate.status = "Shunt-diode barrier", "withdrawn"
    item.save()
    certificate.save()
    assert (
        find_terminals(people["designer"], SOURCE, "NB")[0].what
        == f"Shunt-diode barrier · {certificate.number} (Withdrawn)"
    )
    page = client_as("designer").get("/loops/pick/source/", {"q": "NB"}).content.decode()
    assert "Shunt-diode barrier" in page and "(Withdrawn)" in page


def test_a_full_list_says_that_there_may_be_more(
    save: Callable[..., Any], source_data: dict[str, Any], client_as: Callable[[str], Any]
) -> None:
    client, terminals = client_as("designer"), source_data["terminals"][0]
    for last, told in ((MOST - 1, False), (MOST, True)):
        data = source_data | {"terminals": [terminals | {"name": f"channel {number}"} for number in range(last)]}
        item = Terminals.objects.filter(side=SOURCE).values_list("equipment_id", flat=True).first()
        save("equipment", data, **({"record_id": item} if item else {}))
        assert ("No more than 12" in client.get("/loops/pick/source/").content.decode()) is told


def test_a_tag_of_a_site_that_one_does_not_see_finds_nothing(loop: Any, people: Any) -> None:
    assert find_terminals(people["neighbour"], SOURCE, "PT-1101-B") == []


def test_what_is_archived_is_not_offered(source: Any, author_as: Callable[..., Any], people: Any) -> None:
    from registry.services.records import set_archived

    assert find_terminals(people["designer"], SOURCE, "NB-28")
    set_archived(source, True, author_as("keeper"))
    assert find_terminals(people["designer"], SOURCE, "NB-28") == []


@pytest.mark.parametrize("name", [BARRIER, TRANSMITTER])
def test_a_name_is_read_wherever_its_commas_and_spaces_stand(
    name: str, save: Callable[..., Any], source_data: dict[str, Any], device: Any
) -> None:
    source_data["terminals"].append(source_data["terminals"][0] | {"name": "3, 4 and 5"})
    item = save("equipment", source_data | {"type_name": "NB-28 A, with cover"})
    save("equipment", source_data | {"type_name": "NB-28"})
    reader = MemberEntry.base_fields["terminals"]
    for terminals in item.terminals.all():
        assert reader.clean(str(terminals)) == terminals
    assert str(reader.clean(name)) == name


def test_the_address_answers_with_options_and_escapes_them(client_as: Callable[[str], Any], loop: Any) -> None:
    client = client_as("designer")
    page = client.get("/loops/pick/device/", {"q": "sp"}).content.decode()
    assert f'data-value="{TRANSMITTER}"' in page and 'role="option"' in page
    assert "Nothing in the register" in client.get("/loops/pick/source/", {"q": "<b>"}).content.decode()
    assert "Pair 1.5 mm2" in client.get("/loops/pick/cable/", {"q": "pair"}).content.decode()
    assert client.get("/loops/pick/anything/").status_code == 404


def test_rows_that_a_script_numbered_are_meant_by_their_buttons() -> None:
    names = ["tag", "circuits.0.cables.0.tag", "circuits.0.cables.2003.tag", "circuits.0.cables.2001.tag", "circuits.0"]
    assert closed_path(names, "circuits.0.cables.2003") == "circuits.0.cables.2"
    assert closed_path(names, "circuits.0.cables.2001") == "circuits.0.cables.1"
    assert closed_path(names, "circuits.0.cables") == "circuits.0.cables"
    assert closed_path(names, "circuits.0.cables.7") == "circuits.0.cables.7"


def test_a_row_that_a_script_added_is_removed_by_its_button(
    client_as: Callable[[str], Any], loop_data: Callable[..., Any]
) -> None:
    from registry.views.forms import flatten

    fields = flatten(loop_data(tag="PT-7")) | {"circuits.0.cables.2001.tag": "W-9", "_remove": "circuits.0.cables.2001"}
    shown = form_of(client_as("designer").post("/loops/new/", fields))
    assert [text for name, text in shown.items() if ".cables." in name and name.endswith(".tag")] == ["W-PT-7"]


def test_a_row_moves_up_among_its_like() -> None:
    rows = [{"role": role, "tag": tag} for role, tag in (("device", "A"), ("source", "S"), ("device", "B"))]
    data: dict[str, Any] = {"circuits": [{"members": rows, "cables": [{"tag": "W1"}, {"tag": "W2"}]}]}
    assert row_command(data, "_up", "circuits.0.members.2") == "circuits.0.members.0.tag"
    assert [row["tag"] for row in data["circuits"][0]["members"]] == ["B", "S", "A"]
    assert row_command(data, "_up", "circuits.0.members.1") == "circuits.0.members.1.tag"
    assert row_command(data, "_up", "circuits.0.cables.1") == "circuits.0.cables.0.tag"
    assert [row["tag"] for row in data["circuits"][0]["cables"]] == ["W2", "W1"]
    assert row_command(data, "_up", "circuits.0.cables.9") == ""
    assert row_command(data, "_up", "x.y") == ""


def test_an_added_row_goes_on_where_the_one_before_it_ends() -> None:
    members = [{"role": "source", "area": ""}, {"role": "device", "tag": "PT-1", "area": "S: Unit 1"}]
    data: dict[str, Any] = {"circuits": [{"members": members, "cables": [{"tag": "W1", "to_point": "JB-1"}]}]}
    row_command(data, "_add", "circuits.0.members:device")
    row_command(data, "_add", "circuits.0.members:source")
    row_command(data, "_add", "circuits.0.cables")
    assert members[2:] == [{"role": "device", "area": "S: Unit 1"}, {"role": "source"}]
    assert data["circuits"][0]["cables"][1] == {"from_point": "JB-1"}


def test_a_row_that_holds_only_what_it_took_over_is_no_row() -> None:
    def kept(device: dict[str, str], run: dict[str, str]) -> tuple[int, int]:
        members = [{"role": "source", "tag": "S"}, {"role": "device", "tag": "PT-1", "area": "S: Unit 1"}]
        cables = [{"tag": "W1", "to_point": "JB-1", "separation": "alone"}]
        data = {"circuits": [{"members": [*members, device], "cables": [*cables, run]}]}
        circuit = without_blank_rows(data)["circuits"][0]
        return len(circuit["members"]), len(circuit["cables"])

    device, run = {"role": "device", "area": "S: Unit 1"}, {"from_point": "JB-1", "tag": ""}
    assert kept(device, run) == (2, 1)
    assert kept(device | {"tag": "PT-2"}, run | {"length_m": "5 m"}) == (3, 2)
    assert kept(device | {"area": "S: Unit 2"}, run | {"from_point": "JB-2"}) == (3, 2)
    assert kept({"role": "inline", "area": "S: Unit 1", "id": "7"}, run | {"id": "9"}) == (3, 2)


def test_the_register_says_what_is_an_inline_item(
    save: Callable[..., Any], device_data: dict[str, Any], loop: Any, client_as: Callable[[str], Any]
) -> None:
    save("equipment", device_data | {"kind": "inline", "type_name": "SG-2"})
    page = client_as("designer").get("/loops/pick/device/").content.decode()
    assert dict(re.findall(r'data-value="([^"]+)"[^>]*data-role="([^"]*)"', page)) == {
        "Sandpiper Instruments SG-2, +/-": "inline",
        TRANSMITTER: "device",
    }


@pytest.mark.parametrize("action", ["", "_preview", "_chain"])
def test_very_many_long_names_and_names_of_hundreds_of_words_are_no_fault(
    action: str, client_as: Callable[[str], Any], loop_data: Callable[..., Any]
) -> None:
    data = loop_data(tag="PT-8")
    names = [f"Maker of many words {n}, type of words {n}, 1 and 2" for n in range(150)]
    names += ["w, " * 300, "a " * 900 + ", 1", BARRIER]
    (device,) = data["circuits"][0]["members"][1:]
    data["circuits"][0]["members"][1:] = [device | {"tag": f"D{n}", "terminals": name} for n, name in enumerate(names)]
    sent = flatten(data)
    if action:
        sent[action] = {"_preview": "live", "_chain": f"circuits.0.members.{len(names) - 1}"}[action]
    headers = {"HX-Request": "true"} if action == "_preview" else {}
    response = client_as("designer").post("/loops/new/", sent, headers=headers)
    assert response.status_code in {200, 400}
    page = response.content.decode()
    assert "Maker of many words 149" in page
    assert action or "w, w, w" in page


@pytest.mark.parametrize("text", ["{}", "Northlight Barriers NB-30, 1, 2", "NB-30, 1, ", "NB-30, 1"])
def test_terminals_whose_name_holds_a_comma_are_found(
    text: str, source_data: dict[str, Any], save: Callable[..., Any], people: Any
) -> None:
    row = source_data["terminals"][0] | {"name": "1, 2"}
    save("equipment", source_data | {"type_name": "NB-30", "terminals": [row, row | {"name": "3, 4"}]})
    name = "Northlight Barriers NB-30, 1, 2"
    found = [pick.name for pick in find_terminals(people["designer"], SOURCE, text.format(name))]
    assert found == [name]
    assert not find_terminals(people["designer"], SOURCE, "NB-30, 5, 6")
