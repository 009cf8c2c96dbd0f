"""The same answers by the API, the shell and a nameplate typed by hand; none of them saves but what is sent."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from loops.models import Loop, Remark
from registry.models import Notice, Revision, Work
from tests.loops.suitability.test_answers import other  # noqa: F401  a fixture
from tests.loops.suitability.test_pages import member

pytestmark = pytest.mark.django_db


def items_url(loop: Loop, name: str, *more: Any) -> str:
    return reverse(name, args=[loop.pk, member(loop).pk, *more])


def post(client: Any, url: str, data: Any, **headers: str) -> Any:
    return client.post(url, json.dumps(data), content_type="application/json", headers=headers)


# ---------------------------------------------------------------------------------------------------------------- API


def test_the_api_goes_from_the_loop_to_the_answer(loop: Any, other: Any, client_as: Any) -> None:  # noqa: F811
    item = other("SP-GOOD")
    client = client_as("planner")
    items = client.get(reverse("api_suits_loop", args=[loop.pk])).json()
    assert [row["tag"] for row in items] == ["PT-1101-B", "PT-1101"]
    rows = client.get(items_url(loop, "api_suits_item"), {"q": "good"}).json()
    assert [(row["word"], row["equipment"]) for row in rows] == [("suits", item.pk)]
    answer = client.get(items_url(loop, "api_suits_check", rows[0]["way"])).json()
    assert answer["word"] == "suits"
    assert {"voltage", "capacitance", "certificate"} <= {row["id"] for row in answer["checks"]}
    assert answer["after"]["verdict"] == "complies"
    assert any("Loop drawing LD-1101" in text for text in answer["documents"])


def test_the_api_sends_a_draft_with_the_version_that_was_read(
    loop: Any,
    other: Any,  # noqa: F811
    client_as: Any,
) -> None:
    url = items_url(loop, "api_suits_check", str(other("SP-NEW").terminals.get().pk))
    client = client_as("planner")
    mark = client.get(url)["ETag"]
    assert post(client, url, {"reason": "Failed"}).status_code == 428
    assert post(client, url, {"reason": "Failed"}, **{"If-Match": '"99"'}).status_code == 412
    assert post(client, url, {}, **{"If-Match": mark}).status_code == 400
    assert Loop.objects.get(pk=loop.pk).version == loop.version
    answer = post(client, url, {"reason": "Failed"}, **{"If-Match": mark})
    assert (answer.status_code, answer.json()["verdict"]) == (201, "complies")
    assert member(loop).terminals.equipment.type_name == "SP-NEW"


def test_the_api_proposes_sources(source: Any, device: Any, area: Any, site: Any, client_as: Any) -> None:
    question = {"devices": [f"{device}, +/-"], "area": f"{site.code}: {area.name}", "length_m": "300 m"}
    answer = post(client_as("planner"), reverse("api_suits_sources"), question).json()
    assert [row["name"] for row in answer["serving"]] == ["Northlight Barriers NB-28"]
    wrong = post(client_as("planner"), reverse("api_suits_sources"), question | {"length_m": "300"})
    assert wrong.status_code == 400
    assert list(wrong.json()["errors"]) == ["length_m"]


def test_the_api_begins_and_reads_a_matrix(loop: Any, device: Any, other: Any, client_as: Any) -> None:  # noqa: F811
    other("SP-NEW")
    client = client_as("planner")
    begun = post(client, reverse("api_substitutions"), {"equipment": device.pk})
    assert begun.status_code == 202
    found = client.get(reverse("api_substitution", args=[begun.json()["id"]])).json()
    assert (found["state"], found["result"]["rows"][0]["words"]) == ("done", "s")
    for wrong in ({}, {"equipment": "x"}, {"equipment": True}, {"equipment": -1}):
        assert post(client, reverse("api_substitutions"), wrong).status_code == 400


# ---------------------------------------------------------------------------------------------------------- nameplate

PLATE = {
    "maker": "Elsewhere",
    "type_name": "EL-1",
    "function": "Pressure transmitter, 4–20 mA",
    "paper.scheme": "ATEX",
    "paper.number": "EXB 24 ATEX 0007 X",
    "paper.specific_conditions": "Keep it dry.",
    "terminals.0.name": "+/-",
    "terminals.0.level": "ia",
    "terminals.0.gas_group": "IIC",
    "terminals.0.isolation": "isolated",
    "terminals.0.ui_v": "30 V",
    "terminals.0.ii_a": "100 mA",
    "terminals.0.pi_w": "1 W",
    "terminals.0.ci_f": "50 nF",
    "terminals.0.li_h": "0 H",
    "terminals.0.ambient_min_degc": "-40 degC",
    "terminals.0.needs_v": "11 V",
    "terminals.0.needs_max_a": "22 mA",
    "terminals.0.temperature_classes.0.temperature_class": "T4",
    "terminals.0.temperature_classes.0.ambient_max_degc": "70 degC",
}


@pytest.mark.parametrize(
    ("changes", "word", "said"),
    [
        ({}, "Suits", "Keep it dry."),
        ({"terminals.0.certificate": "x"}, "", "There is no certificate"),
        ({"terminals.0.ci_f": "50.1 nF"}, "Does not suit", "above the 83 nF permitted"),
        ({"terminals.0.pi_w": ""}, "Cannot say", "Not known: Pi"),
        ({"terminals.0.pi_w": "not stated"}, "Suits", ""),
        ({"paper.number": "", "paper.specific_conditions": ""}, "Does not suit", "has no certificate"),
        ({"paper.scheme": "NQ"}, "Does not suit", "certified under NQ"),
        ({"terminals.0.ui_v": "30"}, "", "30 V"),
        ({"type_name": ""}, "", "This is required"),
    ],
)
def test_a_nameplate_is_read_and_judged_and_not_saved(
    loop: Any, client_as: Any, changes: dict[str, str], word: str, said: str
) -> None:
    before = Revision.objects.count()
    answer = client_as("planner").post(items_url(loop, "suits_typed"), PLATE | changes)
    page = answer.content.decode()
    assert answer.status_code == (200 if word else 400)
    assert said in page
    if word:
        assert f"</svg>{word}</span>" in page[page.index("verdict-large") :][:900]
    assert 'value="EL-1"' in page or changes.get("type_name") == ""
    assert Revision.objects.count() == before


def test_a_nameplate_equals_the_item_that_is_entered_from_it(
    loop: Any,
    other: Any,  # noqa: F811
    client_as: Any,
) -> None:
    """Typed by hand or saved in the register: the same word, the same checks."""
    item = other("SP-NEW", ci_f="50 nF", li_h="0 H")
    client = client_as("planner")
    stored = client.get(items_url(loop, "api_suits_check", str(item.terminals.get().pk))).json()
    text = {name.split(".")[-1]: value for name, value in PLATE.items() if name.startswith("terminals.0.")}
    rows = {"temperature_class": text.pop("temperature_class"), "ambient_max_degc": text.pop("ambient_max_degc")}
    data = {"maker": "Sandpiper Instruments", "type_name": "SP-NEW", "function": PLATE["function"]}
    data |= {"terminals": [text | {"temperature_classes": [rows]}]}  # type: ignore[dict-item]
    data |= {"paper": {"scheme": "ATEX", "number": "EXB 19 ATEX 0202"}}  # type: ignore[dict-item]
    typed = post(client, items_url(loop, "api_suits_typed"), data).json()
    assert (typed["word"], typed["why"], typed["checks"]) == (stored["word"], stored["why"], stored["checks"])


def test_what_is_in_no_register_goes_to_the_engineer_as_a_remark(loop: Any, client_as: Any, people: Any) -> None:
    client = client_as("planner")
    url = items_url(loop, "suits_typed")
    assert client.post(url, PLATE | {"_send": "1"}).status_code == 400
    assert client_as("reader").post(url, PLATE | {"_send": "1", "_reason": "Try"}).status_code == 403
    assert not Remark.objects.exists()
    client.post(url, PLATE | {"_send": "1", "_reason": "It lies in the store."})
    remark = Remark.objects.get()
    assert (remark.about, remark.author) == ("PT-1101", people["planner"])
    assert "Elsewhere EL-1 suits" in remark.text and "Ui 30 V" in remark.text and "It lies in the store." in remark.text
    assert Notice.objects.get(person=people["designer"]).subject.startswith("PT-1101 in PT-1101: Elsewhere EL-1")
    assert Loop.objects.get(pk=loop.pk).version == loop.version


# -------------------------------------------------------------------------------------------------------------- shell


def run(*words: str) -> Any:
    output = io.StringIO()
    call_command("suitability", *words, "--user", "planner", stdout=output, stderr=io.StringIO())
    return output.getvalue()


def test_the_shell_says_what_the_pages_say(loop: Any, other: Any, tmp_path: Any) -> None:  # noqa: F811
    other("SP-GOOD"), other("SP-BAD", ui_v="20 V")
    assert [row["tag"] for row in json.loads(run("PT-1101"))] == ["PT-1101-B", "PT-1101"]
    rows = json.loads(run("pt-1101", "--item", "PT-1101"))
    assert [(row["name"].split()[-1], row["word"]) for row in rows] == [
        ("SP-GOOD", "suits"),
        ("SP-BAD", "does_not_suit"),
    ]
    answer = json.loads(run("PT-1101", "--item", "PT-1101", "--candidate", "Sandpiper Instruments SP-BAD"))
    assert "above the Ui of PT-1101, 20 V" in answer["why"][0]
    path = tmp_path / "matrix.csv"
    assert "SP-GOOD serves 1 of 1 places" in run("--substitute", "Sandpiper Instruments SP-100", "--output", str(path))
    assert path.read_text("utf-8-sig").splitlines()[1].startswith("NORTH,PT-1101,PT-1101,draft,,suits (")
    offers = json.loads(run("--device", "Sandpiper Instruments SP-100, +/-", "--area", "NORTH: Reactor bay"))
    assert offers["serving"][0]["name"] == "Northlight Barriers NB-28"
    assert not Work.objects.exists()


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["XX-1"],
        ["PT-1101", "--item", "XX-1"],
        ["PT-1101", "--item", "PT-1101", "--candidate", "Nobody N-1"],
        ["PT-1101", "--item", "PT-1101", "--candidate", "Northlight Barriers NB-28"],
        ["--substitute", "Nobody N-1"],
        ["--device", "Nobody N-1, 1-2", "--area", "NORTH: Reactor bay"],
    ],
)
def test_the_shell_refuses_in_a_sentence(loop: Any, words: list[str]) -> None:
    with pytest.raises(CommandError, match=r"\w{3}"):
        run(*words)


def test_the_shell_asks_as_somebody(loop: Any) -> None:
    with pytest.raises(CommandError, match="0 loops"):
        call_command("suitability", "PT-1101", "--user", "neighbour")
    with pytest.raises(CommandError, match="no log-in"):
        call_command("suitability", "PT-1101", "--user", "nobody")
