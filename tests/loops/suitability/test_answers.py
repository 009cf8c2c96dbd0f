"""The answer in one word: what each needs, with the limit and the next step, and that it is what saving would store."""

from __future__ import annotations

from typing import Any

import pytest

from loops.engine.findings import CircuitVerdict, Verdict
from loops.models import Loop
from loops.services.loops import save_loop
from loops.services.suitability.answers import Word, answer, word_of
from loops.services.suitability.positions import Candidate, Plant, Position, certificates_of, fits, part_of
from loops.services.suitability.purpose import differences, purpose_of
from loops.services.suitability.ranking import candidates_for, ranked, with_cures
from loops.services.suitability.spots import with_parts
from registry.models import Equipment
from registry.services.records import Author

pytestmark = pytest.mark.django_db


def plant_of(loop: Loop) -> Plant:
    return Plant.of(Loop.objects.filter(pk=loop.pk))


def position_of(plant: Plant, tag: str) -> Position:
    return next(found for found in plant.positions(plant.loops[0]) if found.tag == tag)


def candidate_of(plant: Plant, position: Position, item: Equipment) -> Candidate:
    plant.contents.load("equipment", [item.pk])
    content = plant.contents.snapshots["equipment", item.pk]
    plant.contents.load("certificate", {row["certificate"]["id"] for row in content["terminals"] if row["certificate"]})
    way = next(fits(position, content))
    return Candidate(item.pk, content, certificates_of(content, plant.contents), way)


@pytest.fixture
def other(save: Any, device_data: dict[str, Any]) -> Any:
    """`other(ci_f="…")`: a further transmitter of the same purpose with some values changed."""

    def make(name: str = "SP-200", item: dict[str, Any] | None = None, **values: str) -> Equipment:
        data = device_data | {"type_name": name} | (item or {})
        return save("equipment", data | {"terminals": [data["terminals"][0] | values]})

    return make


def asked(loop: Loop, tag: str, item: Equipment) -> Any:
    plant = plant_of(loop)
    position = position_of(plant, tag)
    return answer(plant, position, candidate_of(plant, position, item))


# 300 m of 110 pF/m make 33 nF; the source permits 83 nF: 50 nF are left for the device (IEC 60079-25:2020, Annex A).
# Voltage: 17 V at 20 mA less 2 mA * 301 ohm, less 22 mA * 7.26 ohm * 1.0786 (both cores at 40 degC) = 16.22 V.
@pytest.mark.parametrize(
    ("values", "word", "said"),
    [
        ({}, Word.SUITS, ""),
        ({"ci_f": "50 nF", "li_h": "0 H"}, Word.SUITS, ""),
        ({"ci_f": "50.1 nF", "li_h": "0 H"}, Word.DOES_NOT, "above the 83 nF permitted"),
        ({"ui_v": "28 V"}, Word.SUITS, ""),
        ({"ui_v": "27.9 V"}, Word.DOES_NOT, "above the Ui"),
        ({"pi_w": ""}, Word.CANNOT_SAY, "Not known: Pi"),
        ({"ci_f": ""}, Word.CANNOT_SAY, "Ci of PT-1101"),
        ({"needs_v": "16.2 V"}, Word.SUITS, ""),
        ({"needs_v": "16.3 V"}, Word.DOES_NOT, "16.3 V is needed"),
        ({"needs_v": "", "needs_max_a": ""}, Word.CANNOT_SAY, "Whether it will work was judged"),
        ({"level": "ic"}, Word.DOES_NOT, "zone 1 needs ib"),
        ({"gas_group": "IIB"}, Word.DOES_NOT, "does not cover IIC"),
        ({"certificate": ""}, Word.DOES_NOT, "has no certificate"),
        ({"unconfirmed": "on"}, Word.CANNOT_SAY, "Not known: Ui"),
    ],
)
def test_each_word_at_its_limit(loop: Any, other: Any, values: dict[str, str], word: Word, said: str) -> None:
    found = asked(loop, "PT-1101", other(**values))
    assert found.word is word, found.why
    assert said in found.why[0]


def test_a_scheme_that_the_site_does_not_accept_does_not_suit(loop: Any, other: Any, save: Any) -> None:
    paper = save("certificate", {"scheme": "NQ", "number": "NQ 4417 X", "issue": "0", "status": "current"})
    found = asked(loop, "PT-1101", other(certificate=str(paper.pk)))
    assert found.word is Word.DOES_NOT
    assert "the site accepts ATEX, IECEx" in found.why[0]
    assert found.certificates[0]["accepted"] is False


def test_conditions_of_use_are_listed_and_do_not_hinder(loop: Any, other: Any, save: Any) -> None:
    conditions = "1. Keep the lid closed.\n2. Shield it from impact."
    data = {"scheme": "ATEX", "number": "EXB 22 ATEX 0303 X", "issue": "0", "status": "current"}
    paper = save("certificate", data | {"specific_conditions": conditions})
    found = asked(loop, "PT-1101", other(certificate=str(paper.pk)))
    assert found.word is Word.SUITS
    assert [row[1:] for row in found.conditions] == [(1, "Keep the lid closed."), (2, "Shield it from impact.")]
    assert any("ends in X" in text for text in found.confirmations)


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ({"function": "Temperature transmitter, 4–20 mA"}, "The function differs"),
        ({"function": "Pressure transmitter"}, "Nothing says that"),
        ({"function": ""}, "The register does not say what Sandpiper Instruments SP-200 does: add its function there."),
        ({"function": "pressure transmitters, 4 - 20 mA; HART"}, ""),
    ],
)
def test_another_purpose_cannot_be_said_to_suit(loop: Any, other: Any, item: dict[str, str], said: str) -> None:
    found = asked(loop, "PT-1101", other(item=item))
    assert found.word is (Word.CANNOT_SAY if said else Word.SUITS)
    assert said in found.why[0]


def test_hart_that_is_lost_and_another_way_of_working_are_told(loop: Any, other: Any) -> None:
    plant = plant_of(loop)
    position = position_of(plant, "PT-1101")
    plain = candidate_of(plant, position, other())
    with_hart = candidate_of(plant, position, other("SP-300", hart="on"))
    coil = {"needs_kind": "solenoid", "needs_v": "", "needs_max_a": "", "pull_in_a": "20 mA"}
    valve = candidate_of(plant, position, other("SP-400", **coil))
    assert differences(plain, with_hart) == []
    assert "HART is lost" in differences(with_hart, plain)[0]
    assert differences(plain, valve) == []  # nobody entered how the plain one works
    proximity = candidate_of(
        plant, position, other("SP-500", needs_kind="proximity_sensor", needs_v="", needs_max_a="")
    )
    assert "another way" in differences(valve, proximity)[0]


def test_what_an_item_does_is_read_from_its_phrases() -> None:
    assert purpose_of("Two transmitters or switches, 4...20 mA").uses == {"transmitter", "switche", "4...20 ma"}
    assert purpose_of("").uses == frozenset()


@pytest.mark.parametrize("verdict", list(CircuitVerdict))
@pytest.mark.parametrize("function", [Verdict.PASS, Verdict.FAIL, Verdict.INCOMPLETE, Verdict.NOT_APPLICABLE])
@pytest.mark.parametrize("before", [Verdict.PASS, Verdict.FAIL, Verdict.INCOMPLETE, Verdict.NOT_APPLICABLE])
@pytest.mark.parametrize("differs", [False, True])
def test_only_what_complies_and_works_for_the_same_purpose_suits(
    verdict: CircuitVerdict, function: Verdict, before: Verdict, differs: bool
) -> None:
    word = word_of(verdict, function, before, differs=differs)
    works = function is Verdict.PASS or function is before is Verdict.NOT_APPLICABLE
    fails = verdict is CircuitVerdict.DOES_NOT_COMPLY or function is Verdict.FAIL
    assert (word is Word.SUITS) == (verdict is CircuitVerdict.COMPLIES and works and not differs)
    assert (word is Word.DOES_NOT) == fails


def test_the_answer_is_what_saving_would_store(loop: Any, other: Any, people: Any, loop_data: Any) -> None:
    item = other(ci_f="20 nF")
    found = asked(loop, "PT-1101", item)
    text = loop_data()
    text["circuits"][0]["members"][1] |= {"terminals": str(item.terminals.get().pk), "made_on": ""}
    saved = save_loop(text, Author(people["designer"]), loop_id=loop.pk)
    assert saved.verification.inputs == found.inputs
    assert saved.verification.results == found.results
    assert saved.verification.verdict == found.after["verdict"] == "complies"


def test_every_check_stands_beside_what_it_was(loop: Any, other: Any) -> None:
    found = asked(loop, "PT-1101", other(ci_f="20 nF"))
    changed = {row.check["id"]: row for row in found.rows if row.changed}
    row = changed["capacitance"]
    assert row.old and row.new
    assert (row.old["value"], row.new["value"]) == ("38 nF", "53 nF")
    assert "voltage" not in changed
    assert len(found.rows) == len(found.results[0]["checks"])


def test_a_source_is_a_position_too(loop: Any, save: Any, source_data: dict[str, Any]) -> None:
    less = source_data | {"type_name": "NB-26"}
    less["terminals"] = [less["terminals"][0] | {"uo_v": "26 V", "supply_at_20ma_v": "15 V"}]
    found = asked(loop, "PT-1101-B", save("equipment", less))
    assert found.word is Word.SUITS
    starved = save(
        "equipment", less | {"type_name": "NB-9", "terminals": [less["terminals"][0] | {"supply_at_20ma_v": "11 V"}]}
    )
    assert asked(loop, "PT-1101-B", starved).word is Word.DOES_NOT


# ---------------------------------------------------------------------------------------------------- candidates


def test_candidates_stand_by_margin_headroom_family_and_conditions(loop: Any, other: Any, device: Any) -> None:
    names = {
        "SP-9": {"ui_v": "60 V", "ii_a": "200 mA", "pi_w": "2 W", "ci_f": "0 F", "li_h": "0 H"},
        "SP-8": {"ui_v": "28 V"},
        "SP-7": {"ui_v": "27 V"},
    }
    for name, values in names.items():
        other(name, **values)
    other("ZZ-1", item={"maker": "Elsewhere", "function": "Flow transmitter, 4–20 mA"})
    plant = plant_of(loop)
    position = position_of(plant, "PT-1101")
    found = ranked(plant, position, candidates_for(plant, position))
    assert [item.candidate.item["type_name"] for item in found] == ["SP-9", "SP-8", "ZZ-1", "SP-7"]
    assert [item.word for item in found] == [Word.SUITS, Word.SUITS, Word.CANNOT_SAY, Word.DOES_NOT]
    assert found[0].margin and found[1].margin == 0
    assert [item.family for item in found] == [2, 2, 0, 2]


def test_archived_items_and_the_present_one_are_no_candidates(loop: Any, other: Any, author_as: Any) -> None:
    from registry.services.records import set_archived

    set_archived(other("SP-OLD"), True, author_as("keeper"))
    plant = plant_of(loop)
    assert candidates_for(plant, position_of(plant, "PT-1101")) == []


def test_the_one_thing_that_would_make_it_suit(make_loop: Any, other: Any, save: Any, source_data: Any) -> None:
    """Exact to the metre: 60 nF leave 23 nF of 83 nF; at 110 pF/m that is 209 m (209.09), and 210 m fail."""
    loop = make_loop(length="300 m")
    other("SP-C", ci_f="60 nF", li_h="0 H")
    other("SP-G", gas_group="IIB")
    weak = other("SP-U", ui_v="26 V")
    mild = source_data | {"type_name": "NB-24"}
    save("equipment", mild | {"terminals": [mild["terminals"][0] | {"uo_v": "24 V"}]})
    plant = plant_of(loop)
    position = position_of(plant, "PT-1101")
    from loops.views.suits import other_sources

    found = with_cures(
        plant, position, ranked(plant, position, candidates_for(plant, position)), lambda: other_sources(plant)
    )
    cures = {item.candidate.item["type_name"]: item.cure for item in found}
    assert cures["SP-C"] == "It suits with cable W-PT-1101 of at most 209 m."
    assert cures["SP-G"] == "It suits where the area is of group IIB."
    assert cures[weak.type_name] == "It suits with another source: Northlight Barriers NB-24, 1-2."


def test_bare_parts_are_what_the_documents_say(loop: Any, other: Any) -> None:
    """What the quick way judges equals what is read from the documents of the loop with the candidate in place."""
    from loops.casefile import read_document

    plant = plant_of(loop)
    for tag in ("PT-1101", "PT-1101-B"):
        position = position_of(plant, tag)
        candidate = position.standing if tag == "PT-1101-B" else candidate_of(plant, position, other())
        shape = plant.shape(position)
        parts = [part_of(candidate, number, *place) for number, place in enumerate(shape)]
        spot = plant.spot(position)
        assert spot is not None and all(parts)
        quick = with_parts(spot, parts)  # type: ignore[arg-type]
        assert list(quick) == [read_document(document) for document in plant.documents(position, candidate)]
