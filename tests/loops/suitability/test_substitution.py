"""An obsolete type: the matrix, the type that serves most, what needs something else and why, and drafts to sign."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from loops.models import Loop, LoopState
from loops.services import approvals, confirmations
from loops.services.suitability.substitution import SUBSTITUTION, loops_with, used_types
from registry.exchange.csv_xlsx import read_table
from registry.models import Notice, NoticeKind, Revision, Work, WorkState
from registry.services import works
from reports.services import issue
from tests.loops.suitability.test_answers import other  # noqa: F401  a fixture

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(make_loop: Any, other: Any) -> dict[str, Any]:  # noqa: F811
    """Three loops of 100, 300 and 600 m, and candidates: one for all of them, one for the short ones, others."""
    loops = [make_loop(tag=f"PT-{length}", length=f"{length} m") for length in (100, 300, 600)]
    return {
        "loops": loops,
        "all": other("SP-ALL", ci_f="1 nF", li_h="0 H"),
        # 83 nF less 110 pF/m * 300 m are 50 nF: enough for 100 and 300 m, too much for 600 m.
        "short": other("SP-SHORT", ci_f="45 nF", li_h="0 H"),
        "none": other("SP-NONE", ui_v="20 V"),
        "flow": other("FL-1", item={"function": "Flow transmitter, 4–20 mA"}),
    }


def matrix(people: Any, device: Any, person: str = "designer") -> Work:
    work = works.begin(people[person], SUBSTITUTION, "In place of it", {"equipment": device.pk})
    return Work.objects.get(pk=work.pk)


def test_the_type_that_serves_most_stands_first(plant: Any, device: Any, people: Any) -> None:
    work = matrix(people, device)
    assert work.state == WorkState.DONE, work.words
    names = [(item["name"].split()[-1], item["serves"]) for item in work.result["candidates"]]
    assert names == [("SP-ALL", 3), ("SP-SHORT", 2), ("SP-NONE", 0)]
    assert [(row["tag"], row["words"]) for row in work.result["rows"]] == [
        ("PT-100", "ssd"),
        ("PT-300", "ssd"),
        ("PT-600", "sdd"),
    ]
    assert "SP-ALL serves 3 of 3 places" in work.words


def test_what_the_best_leaves_over_is_told(plant: Any, device: Any, people: Any, make_loop: Any) -> None:
    make_loop(tag="PT-900", length="760 m")  # 83.6 nF of cable alone: nothing serves it
    work = matrix(people, device)
    row = next(row for row in work.result["rows"] if row["tag"] == "PT-900")
    assert row["words"] == "ddd"
    assert "above the 83 nF permitted" in row["why"]


def test_the_words_of_the_matrix_are_those_of_the_pages(plant: Any, device: Any, people: Any, client_as: Any) -> None:
    work = matrix(people, device)
    client = client_as("designer")
    words = {"s": "Suits", "d": "Does not suit", "c": "Cannot say"}
    for row in work.result["rows"]:
        for letter, way in zip(row["words"], row["ways"], strict=True):
            page = client.get(reverse("suits_check", args=[row["loop"], row["member"], way])).content.decode()
            stamp = page[page.index("verdict-large") :][:900]
            assert f"</svg>{words[letter]}</span>" in stamp


def test_a_head_transmitter_is_one_item_at_two_places(
    save: Any, loop_data: Any, device_data: Any, people: Any, source: Any
) -> None:
    """What gives to its sensor goes with what takes from its supply: both sets are of the same new item."""
    from loops.services.loops import save_loop
    from loops.services.suitability.positions import Plant
    from registry.services.records import Author

    def head(name: str, uo: str) -> Any:
        out = {
            "name": "3-4",
            "side": "source",
            "level": "ia",
            "output": "linear",
            "isolation": "isolated",
            "certificate": device_data["terminals"][0]["certificate"],
            "uo_v": uo,
            "io_a": "10 mA",
            "po_w": "15 mW",
            "permitted": [{"group": "IIC", "co_f": "1 uF", "lo_h": "100 mH"}],
        }
        item = {"type_name": name, "function": "Temperature transmitter, 4–20 mA"}
        return save("equipment", device_data | item | {"terminals": [device_data["terminals"][0], out]})

    sensor = save(
        "equipment", device_data | {"type_name": "RT-1", "terminals": [device_data["terminals"][0] | {"ui_v": "7 V"}]}
    )
    old, good, bad = head("HT-1", "6.5 V"), head("HT-2", "7 V"), head("HT-3", "7.1 V")
    text = loop_data(tag="TT-1")
    first = text["circuits"][0]
    first["members"][1] |= {"terminals": str(old.terminals.get(side="device").pk)}
    area = first["members"][1]["area"]
    text["circuits"].append(
        {
            "name": "Sensor",
            "members": [
                {"role": "source", "tag": "TT-1", "terminals": str(old.terminals.get(side="source").pk), "area": area},
                {"role": "device", "tag": "TE-1", "terminals": str(sensor.terminals.get().pk), "area": area},
            ],
            "cables": [{"tag": "W-2", "length_m": "5 m", "separation": "single_circuit", "role": "trunk"}],
        }
    )
    loop = save_loop(text, Author(people["designer"]))
    found = Plant.of(Loop.objects.filter(pk=loop.pk))
    position = next(item for item in found.positions(found.loops[0]) if item.tag == "TT-1")
    assert [place.role for place in position.places] == ["device", "source"]
    work = matrix(people, old)
    names = [item["name"].split()[-1] for item in work.result["candidates"]]
    words = dict(zip(names, work.result["rows"][0]["words"], strict=True))
    assert words["HT-3"] == "d"
    assert words["HT-2"] != "d"
    assert good.pk in {item["key"] for item in work.result["candidates"]} and bad.pk != good.pk


def test_drafts_of_the_chosen_loops_can_be_signed_by_an_approver(
    plant: Any, device: Any, people: Any, client_as: Any, password: str
) -> None:
    """From the obsolete type to an issued sheet: by a designer with one reason, signed by somebody else."""
    client = client_as("designer")
    answer = client.post(reverse("substitutions"), {"equipment": device.pk})
    work = Work.objects.get(kind=SUBSTITUTION)
    assert answer["Location"] == reverse("substitution", args=[work.pk])
    page = client.get(answer["Location"]).content.decode()
    assert "SP-ALL" in page and "licensed practice decide" in page
    chosen = plant["loops"][:2]
    sent = {"candidate": plant["all"].pk, "loop": [loop.pk for loop in chosen], "reason": "SP-100 is no longer made"}
    done = client.get(client.post(answer["Location"], sent)["Location"]).content.decode()
    assert "2 drafts were made." in done
    for loop in chosen:
        loop = Loop.objects.get(pk=loop.pk)
        assert loop.circuits.get().members.get(role="device").terminals.equipment == plant["all"]
        assert loop.state == LoopState.DRAFT
        revision = Revision.objects.filter(kind="loop", record_id=loop.pk).order_by("-number").first()
        assert revision and revision.reason == "SP-100 is no longer made"
        for matter in confirmations.matters(loop):
            if matter.given is None and matter.kind == "condition":
                confirmations.confirm(loop.pk, people["designer"], mark=matter.mark, how="A guard.")
        approvals.submit(loop.pk, people["designer"])
        sheet = issue(loop.pk, people["approver"], password, None)
        assert sheet.number
    assert Loop.objects.get(pk=plant["loops"][2].pk).version == plant["loops"][2].version


def test_a_planner_may_draft_and_the_designers_get_one_line(
    plant: Any, device: Any, people: Any, client_as: Any
) -> None:
    work = matrix(people, device, "planner")
    sent = {"candidate": plant["all"].pk, "loop": [loop.pk for loop in plant["loops"]], "reason": "No longer made"}
    client_as("planner").post(reverse("substitution", args=[work.pk]), sent)
    lines = Notice.objects.filter(kind=NoticeKind.PROPOSED)
    assert [line.person for line in lines] == [people["designer"]]
    assert "3 loops have a draft" in lines[0].subject


def test_a_loop_that_changed_since_is_left_alone_and_the_others_are_not_hindered(
    plant: Any, device: Any, people: Any, client_as: Any, make_loop: Any
) -> None:
    from loops.services.loops import refresh
    from registry.services.records import Author

    work = matrix(people, device)
    changed, review = plant["loops"][:2]
    refresh(changed.pk, Author(people["designer"], reason="Again"))
    approvals.submit(review.pk, people["designer"])
    sent = {"candidate": plant["all"].pk, "loop": [loop.pk for loop in plant["loops"]], "reason": "No longer made"}
    client = client_as("designer")
    page = client.get(client.post(reverse("substitution", args=[work.pk]), sent)["Location"]).content.decode()
    assert "1 draft was made; 2 loops were left alone." in page
    assert page.count("changed since the matrix was made") == 2


@pytest.mark.parametrize("changes", [{"reason": ""}, {"loop": []}, {"candidate": "0"}])
def test_what_is_not_chosen_is_asked_for(
    plant: Any, device: Any, people: Any, client_as: Any, changes: dict[str, Any]
) -> None:
    work = matrix(people, device)
    sent = {"candidate": plant["all"].pk, "loop": [plant["loops"][0].pk], "reason": "No longer made"} | changes
    before = Revision.objects.count()
    answer = client_as("designer").post(reverse("substitution", args=[work.pk]), sent)
    assert answer.status_code in (400, 404)
    assert Revision.objects.count() == before


def test_the_matrix_is_exported_as_a_table(plant: Any, device: Any, people: Any, client_as: Any) -> None:
    work = matrix(people, device)
    for suffix in ("csv", "xlsx"):
        answer = client_as("designer").get(reverse("substitution_export", args=[work.pk, suffix]))
        found = read_table(answer.content)
        assert found.headings[5:] == tuple(item["name"] for item in work.result["candidates"])
        assert found.rows[2].cells[1] == "PT-600"
        assert found.rows[2].cells[5].startswith("suits (")
        assert found.rows[2].cells[6] == "does not suit"
    assert client_as("designer").get(reverse("substitution_export", args=[work.pk, "pdf"])).status_code == 404


def test_types_stand_by_how_often_they_are_used(plant: Any, device: Any, source: Any, people: Any) -> None:
    rows = used_types(people["planner"])
    assert {(row["item"], row["count"]) for row in rows} == {(device, 3), (source, 3)}
    assert used_types(people["planner"], "NB-28")[0]["item"] == source
    assert used_types(people["neighbour"]) == []
    assert loops_with(people["neighbour"], device.pk).count() == 0


def test_a_matrix_can_be_cancelled(plant: Any, device: Any, people: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(works, "TOLD_EVERY_S", 0)
    plain = works.Progress.tell

    def tell(self: Any) -> None:
        Work.objects.filter(pk=self.work.pk).update(cancel_asked=True)
        plain(self)

    monkeypatch.setattr(works.Progress, "tell", tell)
    work = matrix(people, device)
    assert work.state == WorkState.CANCELLED
    assert work.result == {}


@pytest.fixture
def twice(loop_data: Any, people: Any, device: Any) -> Any:
    """A loop in which the obsolete type stands at two tags."""
    from loops.services.loops import save_loop
    from registry.services.records import Author

    data = loop_data(tag="PT-2X", length="20 m")
    members = data["circuits"][0]["members"]
    members.append(dict(members[1]) | {"tag": "PT-2Y"})
    # What each draws is not entered, so that two of them on one line suit as one does.
    return save_loop(data, Author(people["designer"]))


def drafted(client: Any, work: Work, candidate: Any, places: list[str]) -> str:
    sent = {"candidate": candidate.pk, "loop": places, "reason": "No longer made"}
    answer = client.post(reverse("substitution", args=[work.pk]), sent)
    assert answer.status_code == 302, answer.content.decode()
    page: str = client.get(answer["Location"]).content.decode()
    return page


def test_a_loop_with_two_places_counts_once_and_each_place_is_chosen_by_itself(
    twice: Any,
    device: Any,
    people: Any,
    client_as: Any,
    other: Any,  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from loops.views import suits_substitution

    monkeypatch.setattr(suits_substitution, "MOST_DRAFTS", 1)
    new = other("SP-ALL", ci_f="1 nF", li_h="0 H", needs_v="4 V", needs_max_a="4 mA")
    work = matrix(people, device)
    rows = work.result["rows"]
    assert [row["item"] for row in rows] == ["PT-2X", "PT-2Y"]
    best = next(n for n, item in enumerate(work.result["candidates"]) if item["key"] == new.pk)
    assert [row["words"][best] for row in rows] == ["s", "s"], rows
    places = [f"{row['loop']}-{row['member']}" for row in rows]
    client = client_as("designer")
    assert all(
        f'value="{place}"' in client.get(reverse("substitution", args=[work.pk])).content.decode() for place in places
    )
    one = drafted(client, work, new, places[:1])
    assert "1 draft was made." in one
    used = {row.tag: row.terminals.equipment for row in Loop.objects.get(pk=twice.pk).circuits.get().members.all()}
    assert (used["PT-2X"], used["PT-2Y"]) == (new, device)


def test_both_places_of_a_loop_are_drafted_one_after_the_other(
    twice: Any,
    device: Any,
    people: Any,
    client_as: Any,
    other: Any,  # noqa: F811
) -> None:
    new = other("SP-ALL", ci_f="1 nF", li_h="0 H", needs_v="4 V", needs_max_a="4 mA")
    work = matrix(people, device)
    places = [f"{row['loop']}-{row['member']}" for row in work.result["rows"]]
    assert "1 draft was made." in drafted(client_as("designer"), work, new, places)
    used = {row.tag: row.terminals.equipment for row in Loop.objects.get(pk=twice.pk).circuits.get().members.all()}
    assert (used["PT-2X"], used["PT-2Y"]) == (new, new)


def test_a_type_of_which_the_register_does_not_say_what_it_does_cannot_be_said(
    loop: Any,
    device: Any,
    device_data: Any,
    save: Any,
    people: Any,
    other: Any,  # noqa: F811
) -> None:
    other("SP-ALL", ci_f="1 nF", li_h="0 H")
    other("SP-DUMB", item={"function": ""})
    assert matrix(people, device).result["unsaid"] == 1
    save("equipment", device_data | {"function": ""}, record_id=device.pk)
    work = matrix(people, device)
    assert work.state == WorkState.FAILED
    assert "The register does not say what Sandpiper Instruments SP-100 does: add its function there." in work.words
