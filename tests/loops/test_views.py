"""The pages of loops: what they show, to whom, and that a look changes nothing."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from loops.models import Loop, LoopState, Verb, WorkflowEvent
from loops.services.approvals import submit
from registry.models import Revision
from tests.loops.pages import form_of, row_counts

pytestmark = pytest.mark.django_db

SEEN = ("/", "/loops/", "/loops/{}/", "/loops/{}/revisions/1/")
EDITED = ("/loops/new/", "/loops/{}/edit/", "/loops/{}/duplicate/")
STEPS = ("submit", "take-back", "return", "judge-again", "archive")


def text_of(response: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", response.content.decode()))


def test_nobody_sees_a_page_without_logging_in(client_as: Callable[[str], Any], loop: Loop) -> None:
    for address in SEEN + EDITED:
        response = client_as("").get(address.format(loop.pk))
        assert response.status_code == 302
        assert response["Location"].startswith("/login/")
    for step in STEPS:
        assert client_as("").post(f"/loops/{loop.pk}/{step}/").status_code == 302


@pytest.mark.parametrize("stranger", ["neighbour", "outsider"])
def test_a_loop_of_another_site_is_not_there(client_as: Callable[[str], Any], loop: Loop, stranger: str) -> None:
    client = client_as(stranger)
    for address in (*SEEN[2:], *EDITED[1:]):
        assert client.get(address.format(loop.pk)).status_code == 404, address
    for step in STEPS:
        assert client.post(f"/loops/{loop.pk}/{step}/", {"_version": loop.version}).status_code == 404, step
    for address in ("/loops/", "/loops/?q=PT", "/"):
        assert f"/loops/{loop.pk}/" not in client.get(address).content.decode()


def test_the_editor_offers_no_area_of_another_site(
    client_as: Callable[[str], Any], area: Any, loop_data: Any, other_site: Any, save: Any
) -> None:
    response = client_as("neighbour").get("/loops/new/")
    assert response.status_code == 200
    assert area.name not in response.content.decode()
    assert area.name in client_as("designer").get("/loops/new/").content.decode()


def test_a_look_changes_nothing(client_as: Callable[[str], Any], loop: Loop, failing_loop: Loop) -> None:
    client = client_as("designer")
    client.get("/")
    before = row_counts(), Loop.objects.order_by("pk").values_list("version", "changed_at", "state")[0]
    for address in SEEN + EDITED:
        assert client.get(address.format(loop.pk)).status_code == 200, address
        assert client.head(address.format(failing_loop.pk)).status_code == 200, address
    assert before == (row_counts(), Loop.objects.order_by("pk").values_list("version", "changed_at", "state")[0])


@pytest.mark.parametrize("step", STEPS)
def test_a_step_is_no_link(client_as: Callable[[str], Any], loop: Loop, step: str) -> None:
    assert client_as("designer").get(f"/loops/{loop.pk}/{step}/").status_code == 405


def test_the_loop_page_answers_in_order(client_as: Callable[[str], Any], loop: Loop) -> None:
    text = text_of(client_as("reader").get(f"/loops/{loop.pk}/"))
    order = [
        "Complies",
        "Owner",
        "How much is left",
        "What is connected",
        "What a person must confirm",
        "Longest cable",
        "Checks",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    # 5 nF of the device and 300 m of 110 nF/km, of the 83 nF of the certificate (arithmetic of the fixtures)
    assert "38 nF of 83 nF permitted" in text
    # (83 - 5) nF / 110 nF/km = 709.09 m, rounded down
    assert "709 m , limited by capacitance" in text
    assert "aid to a competent person" in text


def test_a_reader_is_offered_no_step(client_as: Callable[[str], Any], loop: Loop) -> None:
    page = client_as("reader").get(f"/loops/{loop.pk}/").content.decode()
    for step in (*STEPS, "edit", "duplicate"):
        assert f"/loops/{loop.pk}/{step}/" not in page, step


def test_a_failing_loop_says_why_it_cannot_be_submitted(client_as: Callable[[str], Any], failing_loop: Loop) -> None:
    client = client_as("designer")
    text = text_of(client.get(f"/loops/{failing_loop.pk}/"))
    assert "It cannot be submitted yet" in text
    # 5 nF and 1 km of 110 nF/km
    assert "115 nF" in text and "83 nF" in text
    response = client.post(
        f"/loops/{failing_loop.pk}/submit/", {"_version": failing_loop.version, "text": "Please look at it"}
    )
    assert response.status_code == 409
    assert "does not comply" in text_of(response)
    assert "Please look at it" in response.content.decode()
    failing_loop.refresh_from_db()
    assert failing_loop.state == LoopState.DRAFT


def test_the_way_there_and_back(client_as: Callable[[str], Any], loop: Loop) -> None:
    designer, approver = client_as("designer"), client_as("approver")

    def post(client: Any, step: str, **data: str) -> Any:
        loop.refresh_from_db()
        return client.post(f"/loops/{loop.pk}/{step}/", {"_version": loop.version, **data})

    assert post(approver, "submit").status_code == 403
    assert post(designer, "submit", text="First issue").status_code == 302
    assert post(designer, "return", text="no").status_code == 403
    refused = post(approver, "return", text="  ")
    assert refused.status_code == 409
    assert "Say why you return the loop" in text_of(refused)
    assert post(approver, "return", text="The cable is longer").status_code == 302
    loop.refresh_from_db()
    assert loop.state == LoopState.RETURNED
    assert "The cable is longer" in text_of(designer.get(f"/loops/{loop.pk}/"))
    assert post(designer, "submit").status_code == 302
    assert post(designer, "edit").status_code == 400
    assert post(designer, "take-back").status_code == 302
    loop.refresh_from_db()
    assert loop.state == LoopState.DRAFT
    verbs = list(WorkflowEvent.objects.filter(loop=loop).order_by("pk").values_list("verb", flat=True))
    assert verbs == [Verb.SUBMIT, Verb.RETURN, Verb.SUBMIT, Verb.TAKE_BACK]


@pytest.mark.parametrize("version", ["", "0", "99", "x", "1" * 30])
def test_a_step_on_another_version_is_refused(client_as: Callable[[str], Any], loop: Loop, version: str) -> None:
    response = client_as("designer").post(f"/loops/{loop.pk}/submit/", {"_version": version, "text": "My note"})
    assert response.status_code == 409
    assert "changed this loop" in text_of(response)
    assert "My note" in response.content.decode()
    loop.refresh_from_db()
    assert loop.state == LoopState.DRAFT


def test_who_changed_a_loop_is_told_that_another_must_approve(
    client_as: Callable[[str], Any], people: Any, loop: Loop
) -> None:
    from registry.models import Membership, Role

    Membership.objects.create(user=people["designer"], site=loop.site, role=Role.APPROVER)
    submit(loop.pk, people["designer"])
    page = client_as("designer").get(f"/loops/{loop.pk}/")
    assert "somebody else must approve it" in text_of(page)
    assert f"/loops/{loop.pk}/approve/" not in page.content.decode()
    assert f"/loops/{loop.pk}/approve/" in client_as("approver").get(f"/loops/{loop.pk}/").content.decode()
    home = text_of(client_as("designer").get("/"))
    assert "You changed it: somebody else must approve it." in home


def test_archiving_and_bringing_back(client_as: Callable[[str], Any], loop: Loop) -> None:
    client = client_as("designer")
    client.post(f"/loops/{loop.pk}/archive/", {"_version": loop.version, "archived": "1", "text": "Demolished"})
    loop.refresh_from_db()
    assert loop.is_archived
    assert f"/loops/{loop.pk}/" not in client.get("/loops/").content.decode()
    assert f"/loops/{loop.pk}/" in client.get("/loops/?archived=only").content.decode()
    page = client.get(f"/loops/{loop.pk}/")
    assert "Bring this loop back" in text_of(page)
    assert "Demolished" in text_of(page)
    client.post(f"/loops/{loop.pk}/archive/", {"_version": loop.version, "archived": "0"})
    loop.refresh_from_db()
    assert not loop.is_archived


def test_a_change_in_the_register_is_told_and_taken_over(
    client_as: Callable[[str], Any], loop: Loop, device: Any, device_data: dict[str, Any], save: Any
) -> None:
    client = client_as("designer")
    assert "Judge again" not in text_of(client.get(f"/loops/{loop.pk}/"))
    device_data["terminals"][0]["ci_f"] = "60 nF"
    save("equipment", device_data, record_id=device.pk)
    text = text_of(client.get(f"/loops/{loop.pk}/"))
    assert "Changed in the register since this loop was judged: Sandpiper Instruments SP-100" in text
    loop.refresh_from_db()
    assert client.post(f"/loops/{loop.pk}/judge-again/", {"_version": loop.version}).status_code == 302
    loop.refresh_from_db()
    # 60 nF and 300 m of 110 nF/km make 93 nF of 83 nF
    assert loop.verification is not None and loop.verification.verdict == "does_not_comply"
    text = text_of(client.get(f"/loops/{loop.pk}/"))
    assert "Changed in the register" not in text and "93 nF" in text
    difference = text_of(client.get(f"/loops/{loop.pk}/revisions/2/"))
    assert "as registered" in difference and "revision 2" in difference


# ------------------------------------------------------------------------------------------------------------- lists


def test_filters_of_the_list(client_as: Callable[[str], Any], loop: Loop, failing_loop: Loop, area: Any) -> None:
    client = client_as("designer")

    def listed(query: str) -> set[str]:
        page = client.get(f"/loops/?{query}")
        assert page.status_code == 200, query
        return {row[0]["text"] for row in page.context["rows"]}

    both = {"PT-1101", "PT-1102"}
    assert listed("") == both
    assert listed("verdict=complies") == {"PT-1101"}
    assert listed("failing=1") == {"PT-1102"}
    assert listed("state=draft") == both and listed("state=issued") == set()
    assert listed(f"area={area.pk}") == both
    assert listed("q=1102") == {"PT-1102"} and listed("q=PT-1101-B") == {"PT-1101"}
    assert listed("q=reactor++pressure") == both
    assert listed("owner=me") == both and client_as("reader").get("/loops/?owner=me").context["rows"] == []
    assert client_as("reader").get("/loops/?owner=designer").context["page_obj"].paginator.count == 2
    assert listed("site=NORTH") == both
    # 45 nF of 83 nF are left of the one, 115 nF are too much for the other
    assert listed("quantity1=margin&from1=0 %") == {"PT-1101"} and listed("quantity1=margin&to1=0") == {"PT-1102"}
    # of the one that complies least is left of the voltage: 28 V of 30 V
    assert listed("check=capacitance") == {"PT-1102"} and listed("check=voltage") == {"PT-1101"}
    assert listed("quantity1=length_m&from1=0.9 km") == {"PT-1102"}
    assert listed("uses=NB-28") == both and listed(f"uses=NB-28&area={area.pk}") == set(), "the source is not there"
    assert listed("verdict=complies&failing=1") == set()
    assert listed("page=zzz&sort=-;drop") == both


@pytest.mark.parametrize(
    "query", ["site=SOUTH", "area=999999", "area=x", "state=%00", "q=%00", "owner=neighbour", "apples=1", "from1=1"]
)
def test_what_a_filter_does_not_know_is_told_and_shows_nothing(
    query: str, client_as: Callable[[str], Any], loop: Loop, other_site: Any
) -> None:
    page = client_as("designer").get(f"/loops/?{query}")
    assert page.status_code == 400
    assert page.context["rows"] == [] and page.context["faults"]
    assert client_as("designer").get(f"/loops/export.csv?{query}").status_code == 400


def test_sorting_of_the_list(client_as: Callable[[str], Any], loop: Loop, failing_loop: Loop) -> None:
    client = client_as("designer")

    def order(sort: str) -> list[str]:
        return [row[0]["text"] for row in client.get(f"/loops/?sort={sort}").context["rows"]]

    assert order("tag") == ["PT-1101", "PT-1102"]
    assert order("-tag") == ["PT-1102", "PT-1101"]
    assert order("verdict") == order("margin") == ["PT-1102", "PT-1101"]
    for name in ("service", "state", "letter", "owner", "changed", "-changed"):
        assert len(order(name)) == 2


def queries(client: Any, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as context:
        assert client.get(address).status_code == 200
    return len(context)


def test_lists_take_as_many_queries_for_a_thousand_loops_as_for_ten(
    client_as: Callable[[str], Any], make_loop: Callable[..., Loop]
) -> None:
    client = client_as("designer")
    first = make_loop(tag="LT-000")
    copies(first, 9)
    few = [queries(client, address) for address in ("/", "/loops/", "/loops/?sort=-verdict")]
    copies(first, 990, start=9)
    many = [queries(client, address) for address in ("/", "/loops/", "/loops/?sort=-verdict")]
    assert Loop.objects.count() == 1_000
    assert few == many
    assert max(many) <= 12
    assert "1–50 of 1000 loops" in text_of(client.get("/loops/"))


def copies(loop: Loop, number: int, start: int = 0) -> None:
    """Bare copies of a loop with its members, as fast as rows can be written."""
    circuit = loop.circuits.get()
    members, cables = list(circuit.members.all()), list(circuit.cables.all())
    verification = loop.verification
    for index in range(start + 1, start + number + 1):
        loop.pk, loop.tag = None, f"LT-{index:03}"
        loop._state.adding = True
        loop.verification = verification
        loop.save()
        circuit.pk, circuit.loop = None, loop
        circuit.save()
        for row in (*members, *cables):
            row.pk, row.circuit = None, circuit
            row.save()


def test_a_loop_page_takes_as_many_queries_for_six_devices_as_for_one(
    client_as: Callable[[str], Any], loop_data: Callable[..., dict[str, Any]], author_as: Any
) -> None:
    from loops.services.loops import save_loop

    client = client_as("reader")
    one = save_loop(loop_data(tag="GD-1"), author_as("designer"))
    data = loop_data(tag="GD-6")
    members = data["circuits"][0]["members"]
    members += [members[1] | {"tag": f"GD-6{index}"} for index in range(5)]
    six = save_loop(data, author_as("designer"))
    assert queries(client, f"/loops/{one.pk}/") == queries(client, f"/loops/{six.pk}/")


# -------------------------------------------------------------------------------------------------------------- home


def test_home_counts_lead_to_the_lists_that_they_count(
    client_as: Callable[[str], Any], people: Any, loop: Loop, failing_loop: Loop, make_loop: Callable[..., Loop]
) -> None:
    submit(make_loop(tag="PT-1103").pk, people["designer"])
    page = client_as("designer").get("/")
    counted = re.findall(r'<a href="(/loops/\?[^"]*)">(\d+)', page.content.decode())
    assert len(counted) >= 7
    for address, number in counted:
        listed = client_as("designer").get(address.replace("&amp;", "&"))
        assert listed.context["page_obj"].paginator.count == int(number), address
    waiting = client_as("approver").get("/")
    assert [row["loop"].tag for row in waiting.context["waiting"]["rows"]] == ["PT-1103"]


def test_home_shows_the_longest_waiting_first(
    client_as: Callable[[str], Any], people: Any, make_loop: Callable[..., Loop]
) -> None:
    second, first = make_loop(tag="A-2"), make_loop(tag="B-1")
    submit(first.pk, people["designer"])
    submit(second.pk, people["designer"])
    page = client_as("approver").get("/").content.decode()
    assert page.index("B-1") < page.index("A-2")


def test_home_by_role(client_as: Callable[[str], Any], loop: Loop, save: Any) -> None:
    save("certificate", {"scheme": "ATEX", "number": "EXC 18 ATEX 0303", "issue": "0", "valid_to": "2020-01-01"})
    assert "EXC 18 ATEX 0303" in text_of(client_as("keeper").get("/"))
    assert "EXC 18 ATEX 0303" not in text_of(client_as("reader").get("/"))
    assert 'name="q"' in client_as("planner").get("/").content.decode()
    assert "Find an item by its tag" in text_of(client_as("planner").get("/"))
    assert "Find an item by its tag" not in text_of(client_as("reader").get("/"))
    assert "not a member of any site" in text_of(client_as("outsider").get("/"))


def test_a_revision_that_never_was_is_not_there(client_as: Callable[[str], Any], loop: Loop) -> None:
    client = client_as("reader")
    for number in (0, 2, 10**9, 10**30):
        assert client.get(f"/loops/{loop.pk}/revisions/{number}/").status_code == 404
    assert client.get(f"/loops/{10**30}/").status_code == 404


def test_the_editor_shows_what_is_stored(client_as: Callable[[str], Any], loop: Loop) -> None:
    sent = form_of(client_as("designer").get(f"/loops/{loop.pk}/edit/"))
    assert sent["tag"] == "PT-1101" and sent["site"] == "NORTH"
    assert sent["circuits.0.cables.0.length_m"] == "300 m"
    assert sent["circuits.0.members.1.area"] == "NORTH: Reactor bay"
    assert sent["circuits.0.members.0.terminals"] == "Northlight Barriers NB-28, 1-2"
    assert sent["circuits.0.members.1.made_on"] == "2022-05-01"
    # sent back as it is, it is the same loop: no new revision
    response = client_as("designer").post(f"/loops/{loop.pk}/edit/", sent)
    assert response.status_code == 302
    assert Revision.objects.filter(kind="loop", record_id=loop.pk).count() == 1


def test_the_search_of_the_site_finds_loops(client_as: Callable[[str], Any], loop: Loop, failing_loop: Loop) -> None:
    whole = client_as("reader").get("/search/?q=pt-1101")
    assert (whole.status_code, whole["Location"]) == (302, f"/loops/{loop.pk}/")
    part = client_as("reader").get("/search/?q=PT-11")
    assert f"/loops/{loop.pk}/" in part.content.decode() and f"/loops/{failing_loop.pk}/" in part.content.decode()
    member = client_as("reader").get("/search/?q=PT-1101-B")
    assert f"/loops/{loop.pk}/" in member.content.decode()
    assert f"/loops/{loop.pk}/" not in client_as("neighbour").get("/search/?q=PT-1101").content.decode()


def test_what_stands_in_the_way_leads_to_what_would_suit(client_as: Callable[[str], Any], failing_loop: Loop) -> None:
    """1000 m of cable are too much for the source: the source is the item that may be replaced."""
    source = failing_loop.circuits.get().members.get(role="source")
    page = client_as("designer").get(f"/loops/{failing_loop.pk}/").content.decode()
    assert f'href="/suits/loops/{failing_loop.pk}/items/{source.pk}/">What suits in place of {source.tag}?' in page


def test_the_note_to_the_approver_is_beside_the_next_step(
    client_as: Callable[[str], Any], loop: Loop, people: Any
) -> None:
    submit(loop.pk, people["designer"], text="Look at the cable first.")
    address = f"/loops/{loop.pk}/"
    step = text_of(client_as("approver").get(address)).partition("Next step Draft")[2].partition("Reviewers")[0]
    assert "Look at the cable first." in step and "signs it next" not in step
    assert "An approver of this site signs it next" in text_of(client_as("designer").get(address))
    assert "Look at the cable first." in text_of(client_as("approver").get(f"{address}approve/"))
