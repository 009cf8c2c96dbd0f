"""What the editor offers to pick: by type, maker, marking, certificate, value and tag; and how its rows are moved."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from loops.entries import MemberEntry
from loops.picks import facts_by_name, find_cables, find_terminals
from loops.views.editor_form import row_command
from registry.models import Terminals
from registry.querysets import MAX_TEXT
from registry.views.forms import closed_path
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
    assert found[0].facts == "Ui 30 V · Ii 100 mA · Pi 1 W · Ci 5 nF · Li 10 uH · ia IIC"
    source = find_terminals(people["designer"], SOURCE, "NB")[0]
    assert "Uo 28 V" in source.facts and "IIC: Co 83 nF, Lo 4.2 mH" in source.facts
    assert find_cables("1.5 larkfield")[0].facts == "C 110 nF/km · L 0.65 mH/km · L/R 25 uH/ohm"
    assert facts_by_name([BARRIER, ""], ["Pair 1.5 mm2"]).keys() == {BARRIER, "Pair 1.5 mm2"}


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
