"""A fieldbus segment from the form and the API to its verdict.

Supply, device and terminators: published FISCO manuals, IM 01C25T02 p. 2-3 and IM 01R04B05 p. 9-8 (15 V, 133 mA,
1.995 W; 17.5 V, 380 mA, 5.32 W, 1.76 nF, 0 H; 90-100 ohm with 0-2.2 uF). Spur and range of the cable: IEC 60079-25,
from memory.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from loops.models import Loop, Terminator
from registry.models import Revision
from tests.conftest import CABLE_TYPE
from tests.loops.pages import form_of
from tests.loops.test_views_editor import sent_text

Change = Callable[[dict[str, Any]], None]


@pytest.fixture
def parts(save: Callable[..., Any], source_data: dict[str, Any], device_data: dict[str, Any]) -> dict[str, str]:
    """Terminals and cable types of a segment by a short name."""
    supply = source_data["terminals"][0]
    supply |= {"output": "rectangular", "uo_v": "15 V", "io_a": "133 mA", "po_w": "1.995 W", "ro_ohm": ""}
    field = device_data["terminals"][0]
    field |= {"ui_v": "17.5 V", "ii_a": "380 mA", "pi_w": "5.32 W", "ci_f": "1.76 nF", "li_h": "0 H"}
    heavy = copy.deepcopy(device_data) | {"type_name": "SP-old"}
    heavy["terminals"][0]["li_h"] = "20 uH"
    found = {"supply": save("equipment", source_data | {"type_name": "FB-15"}).terminals.get()}
    found["device"] = save("equipment", device_data | {"type_name": "SP-fieldbus"}).terminals.get()
    found["heavy"] = save("equipment", heavy).terminals.get()
    cable = CABLE_TYPE | {"resistance_is": "loop", "resistance_ohm_per_m": "44 ohm/km"}
    found["cable"] = save("cable_type", cable | {"name": "Fieldbus A", "capacitance_f_per_m": "80 nF/km"})
    found["thin"] = save("cable_type", cable | {"name": "Fieldbus thin", "capacitance_f_per_m": "44 nF/km"})
    return {name: str(row.pk) for name, row in found.items()}


@pytest.fixture
def segment(parts: dict[str, str], loop_data: Any) -> dict[str, Any]:
    """A FISCO segment that complies: 300 m of trunk, a spur of 60 m, a terminator at each end."""
    data: dict[str, Any] = loop_data(tag="FB-1")
    circuit = data["circuits"][0] | {"fisco": True}
    circuit["members"][0]["terminals"], circuit["members"][1]["terminals"] = parts["supply"], parts["device"]
    trunk = circuit["cables"][0] | {"cable_type": parts["cable"]}
    circuit["cables"] = [trunk, trunk | {"tag": "W-spur", "length_m": "60 m", "role": "spur"}]
    end = {"resistance_ohm": "100 ohm", "capacitance_f": "1 uF"}
    circuit["terminators"] = [{"tag": "T1"} | end, {"tag": "T2"} | end]
    return data | {"circuits": [circuit]}


def first(data: dict[str, Any]) -> dict[str, Any]:
    circuit: dict[str, Any] = data["circuits"][0]
    return circuit


CHANGES: list[tuple[str, str, str, Callable[[dict[str, str]], Change]]] = [
    ("complies", "", "", lambda parts: lambda circuit: None),
    (
        "does_not_comply",
        "W-spur",
        "fail",
        lambda parts: lambda circuit: circuit["cables"][1].update(length_m="61 m"),
    ),
    (
        "does_not_comply",
        "FB-1",
        "fail",
        lambda parts: lambda circuit: circuit["members"][1].update(terminals=parts["heavy"]),
    ),
    (
        "does_not_comply",
        "W-spur",
        "fail",
        lambda parts: lambda circuit: circuit["cables"][1].update(cable_type=parts["thin"]),
    ),
    ("incomplete", "terminators", "incomplete", lambda parts: lambda circuit: circuit.update(terminators=[])),
    ("does_not_comply", "terminators", "fail", lambda parts: lambda circuit: circuit["terminators"].pop()),
]


@pytest.mark.parametrize("door", ["page", "api"])
@pytest.mark.parametrize(("verdict", "subject", "found", "change"), CHANGES)
def test_a_segment_and_its_verdict(
    client_as: Callable[[str], Client],
    segment: dict[str, Any],
    parts: dict[str, str],
    door: str,
    verdict: str,
    subject: str,
    found: str,
    change: Callable[[dict[str, str]], Change],
) -> None:
    change(parts)(first(segment))
    designer = client_as("designer")
    if door == "page":
        assert designer.post("/loops/new/", sent_text(segment)).status_code == 302
    else:
        assert designer.post("/api/v1/loops/", segment, content_type="application/json").status_code == 201
    loop = Loop.objects.get(tag="FB-1")
    assert loop.verification is not None and loop.verification.verdict == verdict
    checks = {row["subject"]: row["verdict"] for row in loop.verification.results[0]["checks"] if row["id"] == "fisco"}
    assert {name: word for name, word in checks.items() if word != "pass"} == ({subject: found} if found else {})
    document = designer.get(f"/api/v1/loops/{loop.pk}/case/").json()
    ends = [{"R": "100 ohm", "C": "1 uF"}] * len(first(segment)["terminators"])
    assert document["fisco"] is True and document.get("terminators", []) == ends
    again = designer.post("/api/v1/verify/", document, content_type="application/json").json()
    assert again["verdict"] == verdict
    page = designer.get(f"/loops/{loop.pk}/").content.decode()
    assert "FISCO segment." in page and page.count("100 Ω, 1 µF") >= len(ends)


def test_two_wise_takes_200_m(client_as: Callable[[str], Client], segment: dict[str, Any]) -> None:
    designer, circuit = client_as("designer"), first(segment)
    circuit |= {"fisco": False, "two_wise": True, "cables": circuit["cables"][:1], "terminators": []}
    for tag, length, verdict in (("FB-2", "200 m", "complies"), ("FB-3", "201 m", "does_not_comply")):
        circuit["cables"][0]["length_m"] = length
        made = designer.post("/api/v1/loops/", segment | {"tag": tag}, content_type="application/json").json()
        assert made["verdict"] == verdict
        document = designer.get(f"/api/v1/loops/{made['id']}/case/").json()
        assert document["two_wise"] is True and "fisco" not in document and "terminators" not in document


def test_a_second_save_keeps_the_terminators(client_as: Callable[[str], Client], segment: dict[str, Any]) -> None:
    designer = client_as("designer")
    designer.post("/loops/new/", sent_text(segment))
    loop, keys = Loop.objects.get(tag="FB-1"), list(Terminator.objects.values_list("pk", flat=True))
    form = form_of(designer.get(f"/loops/{loop.pk}/edit/"))
    assert designer.post(f"/loops/{loop.pk}/edit/", form).status_code == 302
    assert list(Terminator.objects.values_list("pk", flat=True)) == keys
    assert Revision.objects.filter(kind="loop", record_id=loop.pk).count() == 1
