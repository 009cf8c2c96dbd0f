"""Maker, type and holder behind their labels: read right, in doubt, or told as not read. All names are invented; the
layouts are common practice, no source."""

import pytest

from registry.exchange.pasted_result import Found
from registry.exchange.pasted_text import equipment_text, read_pasted_text

SURE = [
    # text, what goes into a form
    ("Manufacturer: Vessarik GmbH\nType: SP-100", {"maker": "Vessarik GmbH", "type_name": "SP-100"}),
    ("[4] Type designation: SP 100-A\n[5] Manufacturer : Vessarik GmbH",
     {"maker": "Vessarik GmbH", "type_name": "SP 100-A"}),
    ("(5)   Hersteller: Vessarik GmbH\n(4) Typ: SP-100", {"maker": "Vessarik GmbH", "type_name": "SP-100"}),
    ("Fabricant : Vessarik S.A.\nModèle : SP-100", {"maker": "Vessarik S.A.", "type_name": "SP-100"}),
    ("Manufacturer / Hersteller: Vessarik GmbH", {"maker": "Vessarik GmbH"}),
    ("Manufacturer\tVessarik\nModel No.\tSP-100", {"maker": "Vessarik", "type_name": "SP-100"}),
    ("| Manufacturer | Vessarik |\n| Type | SP-100 |", {"maker": "Vessarik", "type_name": "SP-100"}),
    ("Manufacturer: Vessarik Ltd    Type: SP-100", {"maker": "Vessarik Ltd", "type_name": "SP-100"}),
    # the address on the lines under it, which has numbers
    ("Manufacturer: Vessarik\n12 Example Road\nExampleton", {"maker": "Vessarik"}),
    ("Applicant: Tarquessen Ltd\n1 Example Road\nManufacturer: Vessarik Inc.\n2 Example Road",
     {"holder": "Tarquessen Ltd", "maker": "Vessarik Inc."}),
    ("MANUFACTURER: Vessarik, Inc.\nMANUFACTURER: Vessarik, Inc.", {"maker": "Vessarik, Inc."}),
    ("Certificate holder: Vessarik GmbH", {"holder": "Vessarik GmbH"}),
    ("(4) Product: Isolating driver, type VI-24\n(5) Manufacturer: Vessarik GmbH",
     {"maker": "Vessarik GmbH", "type_name": "VI-24"}),
    # of what is in doubt in one place and sure in another, the sure one counts
    ("Equipment: Transmitter type SP-100 with display\nType: SP-100", {"type_name": "SP-100"}),
]  # fmt: skip

DOUBTFUL = [
    # text, what a person has to tick, a word of the doubt
    ("Manufacturer:\nVessarik GmbH", {"maker": "Vessarik GmbH"}, "under its label"),
    ("Manufacturer:\n\nVessarik GmbH\n1 Example Road", {"maker": "Vessarik GmbH"}, "under its label"),
    ("Manufacturer: Vessarik GmbH, Example Road 1, Exampleton", {"maker": "Vessarik GmbH"}, "as an address"),
    ("Manufacturer: Vessarik, Inc., 1 Example Road", {"maker": "Vessarik, Inc."}, "as an address"),
    ("Name and address of the manufacturer: Vessarik GmbH", {"maker": "Vessarik GmbH"}, "address too"),
    ("Manufacturer: Vessarik Process Instruments and\nControl Systems GmbH",
     {"maker": "Vessarik Process Instruments and"}, "next line"),
    ("Manufacturer: Vessarik GmbH\n& Co. KG", {"maker": "Vessarik GmbH"}, "next line"),
    ("Manufacturer: Vessarik Process\nInstruments", {"maker": "Vessarik Process"}, "next line"),
    ("Manufacturer: Vessarik and Tarquessen", {"maker": "Vessarik and Tarquessen"}, "several names"),
    ("Manufacturer\tPlace\nVessarik\tExampleton", {"maker": "Place"}, "heading of a table"),
    ("Manufacturer    Vessarik", {"maker": "Vessarik"}, "no colon"),
    ("Type: SP-100, SP-200", {"type_name": "SP-100, SP-200"}, "several types"),
    ("Type: SP-100 series", {"type_name": "SP-100 series"}, "several types"),
    ("Types: SP-1** and SP-2**", {"type_name": "SP-1** and SP-2**"}, "several types"),
    ("Type: SP-100\nSP-200", {"type_name": "SP-100"}, "next line"),
    ("Type: Pressure transmitter SP-100", {"type_name": "Pressure transmitter SP-100"}, "Words stand beside"),
    ("Type: Barrier", {"type_name": "Barrier"}, "what kind"),
    ("(4) Equipment: Pressure transmitter, type SP-100 with display", {"type_name": "SP-100"}, "Words stand beside"),
    ("(4) Equipment: Pressure transmitter, type SP-100\nand type SP-200", {"type_name": "SP-100"}, "next line"),
    ("Product: Level switch type Alpha", {"type_name": "Alpha"}, "what kind"),
    ("Produkt: Messumformer Typ SP-100 und SP-200", {"type_name": "SP-100"}, "several types"),
]  # fmt: skip

NOTHING = [
    # text, a word of what is said of it
    ("Manufacturer: see applicant", "is no name"),
    ("Manufacturer: —", "is no name"),
    ("Hersteller: siehe Antragsteller", "is no name"),
    ("Type: see annex", "is no name"),
    ("Manufacturer:", "not read as a value"),
    ("Manufacturer:\nAddress:\nVessarik GmbH\n1 Example Road", "not read as a value"),
    ("Equipment:\nManufacturer:\nTransmitter SP-100\nVessarik GmbH", "not read as a value"),
    ("Manufacturer\tType\nVessarik\tSP-100", "not read as a value"),
    (f"Manufacturer: {'Vessarik ' * 12}", "longer than a name"),
    # no labels, or labels of something else
    ("Type of protection: Ex ia", ""),
    ("EU-TYPE EXAMINATION CERTIFICATE", ""),
    ("Type: Ex ia IIC", ""),
    ("Type   of   protection", ""),
    ("The manufacturer shall inform the body of changes: none were told.", ""),
    ("is to be told by the\nmanufacturer: in writing", ""),
    ("Manufacturer's address: 1 Example Road", ""),
    ("Manufacturing location: Exampleton", ""),
    ("Equipment: Pressure transmitter", ""),
    ("Serial number: 12", ""),
]  # fmt: skip


def parted(text: str) -> tuple[dict[str, str], dict[str, str], list[Found]]:
    found = read_pasted_text(text).names
    sure = {item.column: item.text for item in found if item.is_plain}
    return sure, {item.column: item.text for item in found if not item.is_plain}, list(found)


@pytest.mark.parametrize("text, expected", SURE, ids=[row[0][:40] for row in SURE])
def test_a_name_behind_its_label_is_read(text: str, expected: dict[str, str]) -> None:
    sure, doubtful, found = parted(text)
    assert (sure, doubtful) == (expected, {})
    assert len(found) == len(expected)
    data = equipment_text(read_pasted_text(text))
    assert {name: data[name] for name in ("maker", "type_name") if name in data} == {
        name: value for name, value in expected.items() if name != "holder"
    }


@pytest.mark.parametrize("text, expected, word", DOUBTFUL, ids=[row[0][:40] for row in DOUBTFUL])
def test_what_may_be_half_of_a_name_is_in_doubt(text: str, expected: dict[str, str], word: str) -> None:
    sure, doubtful, found = parted(text)
    assert (sure, doubtful) == ({}, expected)
    assert any(word in item.note for item in found)


@pytest.mark.parametrize("text, word", NOTHING, ids=[row[0][:40] for row in NOTHING])
def test_where_there_is_no_name_none_is_read(text: str, word: str) -> None:
    pasted = read_pasted_text(text)
    reasons = " ".join(entry.reason for entry in pasted.unread if entry.reason)
    assert not pasted.names
    assert word in reasons and bool(word) == bool(reasons)


def test_two_makers_are_both_shown_and_neither_goes_into_a_form() -> None:
    pasted = read_pasted_text("Manufacturer: Vessarik GmbH\nType: SP-100\nManufacturer: Tarquessen Ltd")
    assert [(item.text, item.contradictory) for item in pasted.names if item.column == "maker"] == [
        ("Vessarik GmbH", True),
        ("Tarquessen Ltd", True),
    ]
    assert "maker" not in equipment_text(pasted)
    assert equipment_text(pasted)["type_name"] == "SP-100"


def test_lines_that_were_read_are_not_told_as_unread_and_values_stand_where_they_say() -> None:
    pasted = read_pasted_text("An introduction.\n(5)  Manufacturer: Vessarik GmbH\nType:  SP-100\nUi = 30 V")
    assert [entry.line_number for entry in pasted.unread] == [1]
    assert [item.line[slice(*item.span)] for item in pasted.all_found()] == ["Vessarik GmbH", "SP-100", "30 V"]
