"""A FISCO segment as a record, through the page and through the API: it complies, it fails, or something is missing.

Requirements: IEC 60079-25, FISCO: device Ci at most 5 nF, Li at most 10 uH, Ui at least 17.5 V, Ii 380 mA, Pi 5.32 W;
cable 45 to 200 nF/km; two terminators of 90 to 102 ohm; spurs up to 60 m (as published in the FISCO data of manuals of
field devices, for example EJX930A IM 01C25T02; the spur length from memory).
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from loops.models import Loop
from registry.selectors import record_text
from tests.conftest import CABLE_TYPE

pytestmark = pytest.mark.django_db
TERMINATORS = [
    {"tag": "at the supply", "resistance_ohm": "100 ohm", "capacitance_f": "1 uF"},
    {"tag": "JB-1", "resistance_ohm": "100 ohm", "capacitance_f": "1 uF"},
]


@pytest.fixture
def segment(
    save: Callable[..., Any],
    source_data: dict[str, Any],
    device_data: dict[str, Any],
    loop_data: Callable[..., dict[str, Any]],
) -> Callable[..., dict[str, Any]]:
    """A FISCO segment: 15 V supply, one device, 200 m of trunk and a spur; what differs is given by name."""

    def build(*, spur: str = "30 m", li: str = "1 uH", cable_c: str = "80 nF/km", **circuit: Any) -> dict[str, Any]:
        supply, device = json.loads(json.dumps(source_data)), json.loads(json.dumps(device_data))
        supply |= {"type_name": "Segment supply"}
        supply["terminals"][0] |= {
            "uo_v": "15 V",
            "io_a": "207 mA",
            "po_w": "2 W",
            "output": "rectangular",
            "ro_ohm": "",
        }
        device |= {"type_name": "Segment device"}
        device["terminals"][0] |= {"ui_v": "17.5 V", "ii_a": "380 mA", "pi_w": "5.32 W", "ci_f": "1.76 nF", "li_h": li}
        cable = save("cable_type", CABLE_TYPE | {"name": "Segment cable", "capacitance_f_per_m": cable_c})
        data = loop_data(tag="FB-1")
        only = data["circuits"][0]
        only["members"][0]["terminals"] = str(save("equipment", supply).terminals.get().pk)
        only["members"][1]["terminals"] = str(save("equipment", device).terminals.get().pk)
        run = only["cables"][0] | {"cable_type": str(cable.pk)}
        only["cables"] = [
            run | {"tag": "W1", "length_m": "200 m"},
            run | {"tag": "W2", "length_m": spur, "role": "spur"},
        ]
        only |= {"fisco": "on", "terminators": TERMINATORS} | circuit
        return data

    return build


def posted(data: Any, path: str = "") -> dict[str, str]:
    """Nested text as the fields of a form."""
    if isinstance(data, dict):
        return {k: v for key, value in data.items() for k, v in posted(value, f"{path}.{key}" if path else key).items()}
    if isinstance(data, list):
        return {k: v for index, value in enumerate(data) for k, v in posted(value, f"{path}.{index}").items()}
    return {path: data}


def as_json(data: dict[str, Any]) -> dict[str, Any]:
    """The same as a program writes it: a tick is true or false."""
    ticks = {"on": True, "": False}
    circuits = [
        {
            key: ticks.get(value, value) if key in {"fisco", "two_wise", "no_cable"} else value
            for key, value in circuit.items()
        }
        for circuit in data["circuits"]
    ]
    return data | {"circuits": circuits}


CASES = [
    ({}, "complies", None),
    ({"spur": "60 m"}, "complies", None),
    ({"spur": "61 m"}, "does_not_comply", "61 m"),
    ({"li": "10 uH"}, "complies", None),
    ({"li": "20 uH"}, "does_not_comply", "20 uH"),
    ({"cable_c": "45 nF/km"}, "complies", None),
    ({"cable_c": "40 nF/km"}, "does_not_comply", "40 nF/km"),
    ({"terminators": []}, "incomplete", "terminators"),
    ({"terminators": TERMINATORS[:1]}, "does_not_comply", "terminators"),
    ({"terminators": [TERMINATORS[0], TERMINATORS[1] | {"resistance_ohm": "89 ohm"}]}, "does_not_comply", "89 ohm"),
    ({"terminators": [TERMINATORS[0], TERMINATORS[1] | {"resistance_ohm": ""}]}, "incomplete", "terminator"),
]


def fisco_sentences(loop: Loop) -> str:
    assert loop.verification is not None
    checks = loop.verification.results[0]["checks"]
    return " ".join(c["why"] for c in checks if c["id"] == "fisco" and c["verdict"] in {"fail", "incomplete"})


@pytest.mark.parametrize("door", ["page", "api"])
@pytest.mark.parametrize(("changes", "verdict", "named"), CASES)
def test_a_segment_is_judged(
    door: str, changes: dict[str, Any], verdict: str, named: str | None, segment: Any, client_as: Any
) -> None:
    client, data = client_as("designer"), segment(**changes)
    if door == "page":
        answer = client.post("/loops/new/", posted(data))
        assert answer.status_code == 302, answer.content.decode()
    else:
        answer = client.post("/api/v1/loops/", json.dumps(as_json(data)), content_type="application/json")
        assert answer.status_code == 201, answer.content.decode()
    loop = Loop.objects.get(tag="FB-1")
    assert loop.verification is not None
    assert loop.verification.verdict == verdict, fisco_sentences(loop)
    if named:
        assert named in fisco_sentences(loop)


def test_what_belongs_to_a_fieldbus_is_refused_elsewhere(segment: Any, client_as: Any) -> None:
    client, data = client_as("designer"), segment()
    for changes, path in (
        ({"fisco": ""}, "circuits.0.terminators"),
        ({"two_wise": "on"}, "circuits.0.two_wise"),
        ({"no_cable": "on"}, "circuits.0.no_cable"),
        ({"terminators": [TERMINATORS[0], TERMINATORS[0]]}, "circuits.0.terminators.1.tag"),
    ):
        wrong = data | {"circuits": [data["circuits"][0] | changes]}
        answer = client.post("/api/v1/loops/", json.dumps(as_json(wrong)), content_type="application/json")
        assert answer.status_code == 400
        assert path in answer.json()["errors"]
    assert not Loop.objects.exists()


def test_the_editor_shows_the_terminators_again(segment: Any, client_as: Any) -> None:
    client = client_as("designer")
    client.post("/loops/new/", posted(segment()))
    loop = Loop.objects.get(tag="FB-1")
    page = client.get(f"/loops/{loop.pk}/edit/").content.decode()
    assert 'name="circuits.0.terminators.1.resistance_ohm"' in page
    assert page.count('value="100 ohm"') == 2
    text = record_text(loop)
    assert [row["tag"] for row in text["circuits"][0]["terminators"]] == ["at the supply", "JB-1"]


def test_a_forgotten_cable_is_no_cable_of_no_length(loop_data: Any, client_as: Any) -> None:
    """A cable that nobody entered is unknown; that there is none is said with a tick (common practice, no source)."""
    client = client_as("designer")
    data = loop_data(tag="PT-5")
    data["circuits"][0]["cables"] = []
    client.post("/api/v1/loops/", json.dumps(as_json(data)), content_type="application/json")
    forgotten = Loop.objects.get(tag="PT-5").verification
    assert forgotten is not None
    assert forgotten.verdict == "incomplete"
    data["tag"] = "PT-6"
    data["circuits"][0]["no_cable"] = True
    client.post("/api/v1/loops/", json.dumps(as_json(data)), content_type="application/json")
    stated = Loop.objects.get(tag="PT-6").verification
    assert stated is not None
    assert stated.verdict == "complies"
