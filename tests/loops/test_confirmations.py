"""Conditions of use are confirmed one by one before approval. Rule: IEC 60079-0:2017, clause 29 (from memory)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from loops.models import Confirmation
from loops.services import approvals, confirmations
from loops.services.loops import refresh
from loops.services.refusals import WorkflowRefused
from registry.models import Change, Deed
from registry.selectors import record_text
from registry.services.records import Author

X_NUMBER = "EXB 19 ATEX 0202 X"
TWO = "1. Keep the lid closed.\n2. Shield it from impact."


def conditions_of(loop: Any) -> list[confirmations.Matter]:
    return [matter for matter in confirmations.matters(loop) if matter.kind == "condition"]


@pytest.fixture
def rewrite(device_certificate: Any, save: Callable[..., Any]) -> Callable[..., Any]:
    """`rewrite(specific_conditions="…")`: save the certificate of the device with other words."""
    return lambda **changes: save(
        "certificate", record_text(device_certificate) | changes, record_id=device_certificate.pk
    )


@pytest.fixture
def x_loop(rewrite: Callable[..., Any], make_loop: Callable[..., Any]) -> Any:
    """A loop whose device has a certificate with two conditions of use, written by the designer."""
    rewrite(number=X_NUMBER, specific_conditions=TWO)
    return make_loop()


@pytest.fixture
def confirm(people: Any) -> Callable[..., Any]:
    def by_designer(loop: Any, matter: Any, how: str = "Label at the lid.", by: str = "designer") -> Any:
        return confirmations.confirm(loop.pk, people[by], mark=matter.mark, how=how)

    return by_designer


def approve(loop: Any, people: Any, password: str) -> Any:
    proof = approvals.prove(loop.pk, people["approver"], password=password)
    return approvals.approve(loop.pk, people["approver"], proof)


def test_each_condition_must_be_confirmed_before_approval(
    x_loop: Any, confirm: Callable[..., Any], people: Any, password: str
) -> None:
    first, second = conditions_of(x_loop)
    assert (first.number, first.text, second.number) == (1, "Keep the lid closed.", 2)
    confirm(x_loop, first)
    approvals.submit(x_loop.pk, people["designer"])
    with pytest.raises(WorkflowRefused, match=r"condition 2 .* is not confirmed"):
        approve(x_loop, people, password)
    confirm(x_loop, second)
    assert approve(x_loop, people, password).letter == "A"
    told = Change.objects.filter(verb=Deed.APPROVE).latest("pk")
    assert set(told.detail["confirmed"]) == {first.mark, second.mark}


def test_a_confirmation_lapses_with_the_text_of_its_condition(
    x_loop: Any, confirm: Callable[..., Any], rewrite: Callable[..., Any], people: Any
) -> None:
    for matter in conditions_of(x_loop):
        confirm(x_loop, matter)
    rewrite(number=X_NUMBER, specific_conditions="1. Keep the lid closed.\n2. Shield it from impact and friction.")
    loop = refresh(x_loop.pk, Author(people["designer"]))
    assert [matter.given is not None for matter in conditions_of(loop)] == [True, False]


def test_an_x_without_conditions_in_the_register_is_not_approved(
    rewrite: Callable[..., Any], make_loop: Callable[..., Any], people: Any, password: str
) -> None:
    rewrite(number=X_NUMBER, specific_conditions="")
    loop = make_loop()
    approvals.submit(loop.pk, people["designer"])
    with pytest.raises(WorkflowRefused, match="copy them from the certificate"):
        approve(loop, people, password)


def test_taking_back_is_a_later_row_and_opens_the_condition_again(
    x_loop: Any, confirm: Callable[..., Any], people: Any
) -> None:
    first = conditions_of(x_loop)[0]
    given = confirm(x_loop, first)
    with pytest.raises(WorkflowRefused, match="confirmed this already"):
        confirm(x_loop, first)
    with pytest.raises(WorkflowRefused, match="Say why"):
        confirmations.take_back(given.pk, people["designer"], why=" ")
    confirmations.take_back(given.pk, people["designer"], why="The lid was exchanged.")
    with pytest.raises(WorkflowRefused, match="taken back already"):
        confirmations.take_back(given.pk, people["designer"], why="Again.")
    assert conditions_of(x_loop)[0].given is None
    assert Confirmation.objects.filter(mark=first.mark).count() == 2
    confirm(x_loop, first)
    assert conditions_of(x_loop)[0].given is not None


def test_who_confirms_does_not_approve(x_loop: Any, confirm: Callable[..., Any], people: Any, password: str) -> None:
    first, second = conditions_of(x_loop)
    confirm(x_loop, first, by="approver")
    confirm(x_loop, second)
    approvals.submit(x_loop.pk, people["designer"])
    with pytest.raises(PermissionDenied, match="confirmed a matter of it"):
        approve(x_loop, people, password)


@pytest.mark.parametrize("role", ["reader", "keeper", "neighbour", "superuser"])
def test_others_do_not_confirm(role: str, x_loop: Any, confirm: Callable[..., Any]) -> None:
    with pytest.raises(PermissionDenied):
        confirm(x_loop, conditions_of(x_loop)[0], by=role)
    assert not Confirmation.objects.exists()


def test_the_page_confirms_with_words_and_keeps_what_was_typed(x_loop: Any, client_as: Any) -> None:
    client = client_as("designer")
    address = f"/loops/{x_loop.pk}/"
    mark = conditions_of(x_loop)[0].mark
    page = client.get(address).content.decode()
    assert "Keep the lid closed." in page and "cannot be approved" in page
    empty = client.post(f"{address}confirm/", {"_version": x_loop.version, "mark": mark, f"how-{mark}": " "})
    assert (empty.status_code, "Say how the condition is met" in empty.content.decode()) == (409, True)
    stale = client.post(f"{address}confirm/", {"_version": "999", "mark": mark, f"how-{mark}": "Padlock"})
    assert (stale.status_code, "Padlock" in stale.content.decode()) == (409, True)
    done = client.post(f"{address}confirm/", {"_version": x_loop.version, "mark": mark, f"how-{mark}": "Padlock"})
    assert done.status_code == 302
    page = client.get(address).content.decode()
    assert "Padlock" in page and "The designer" in page


def test_a_general_matter_is_ticked_without_words_and_nobody_signs_before(
    source: Any,
    save: Callable[..., Any],
    make_loop: Callable[..., Any],
    confirm: Callable[..., Any],
    people: Any,
    password: str,
) -> None:
    text = record_text(source)
    text["terminals"][0]["um_v"] = ""
    save("equipment", text, record_id=source.pk)
    loop = make_loop()
    matter = next(item for item in confirmations.matters(loop) if not item.in_words)
    assert matter.kind == "general"
    loop = approvals.submit(loop.pk, people["designer"])
    with pytest.raises(WorkflowRefused, match=r"Um of .* Nobody has confirmed it yet: confirm it on the loop's page"):
        approve(loop, people, password)
    assert confirm(loop, matter, how="").how == ""
    assert not confirmations.open_matters(loop)
    assert approve(loop, people, password).letter == "A"


# What a certificate that is no longer current asks: withdrawn and suspended fail; superseded and ended ask a person,
# with the day of making kept apart from the end for new supply (IEC 60079-14:2013, 4.4, from memory).


@pytest.mark.parametrize(
    ("changes", "asked"),
    [
        ({"status": "superseded"}, "is superseded: confirm that the installed part was made under it"),
        ({"valid_to": "2023-05-01"}, "the part was made on 2022-05-01, while it was valid: confirm"),
        ({"valid_to": "2022-04-30"}, "the part was made later, on 2022-05-01: confirm which certificate covers it"),
    ],
)
def test_a_certificate_that_is_no_longer_current_is_signed_only_once_somebody_said_how_they_know(
    changes: dict[str, str],
    asked: str,
    rewrite: Callable[..., Any],
    make_loop: Callable[..., Any],
    confirm: Callable[..., Any],
    people: Any,
    password: str,
) -> None:
    rewrite(**changes)
    loop = approvals.submit(make_loop().pk, people["designer"])
    with pytest.raises(WorkflowRefused, match=f"{asked}.*Nobody has confirmed it yet"):
        approve(loop, people, password)
    matter = next(item for item in confirmations.matters(loop) if item.in_words)
    with pytest.raises(WorkflowRefused, match="Say how you know"):
        confirm(loop, matter, how=" ")
    confirm(loop, matter, how="Rating plate: made in May 2022.")
    assert approve(loop, people, password).letter == "A"


def test_the_last_day_of_a_certificate_is_valid(
    rewrite: Callable[..., Any], make_loop: Callable[..., Any], people: Any, password: str
) -> None:
    rewrite(valid_to=timezone.localdate().isoformat())
    loop = approvals.submit(make_loop().pk, people["designer"])
    assert approve(loop, people, password).letter == "A"


@pytest.mark.parametrize("status", ["withdrawn", "suspended"])
def test_a_certificate_that_is_withdrawn_or_suspended_blocks_and_no_confirmation_helps(
    status: str, rewrite: Callable[..., Any], make_loop: Callable[..., Any], people: Any, password: str
) -> None:
    loop = make_loop()
    approvals.submit(loop.pk, people["designer"])
    rewrite(status=status)
    with pytest.raises(WorkflowRefused, match="Changed in the register since the loop was judged: EXB 19 ATEX 0202"):
        approve(loop, people, password)
    approvals.take_back(loop.pk, people["designer"])
    loop = refresh(loop.pk, Author(people["designer"]))
    assert loop.verification is not None and loop.verification.verdict == "does_not_comply"
    assert not [item for item in confirmations.matters(loop) if status in item.text]
    with pytest.raises(WorkflowRefused, match=f"The loop does not comply: Certificate EXB 19 ATEX 0202 .* is {status}"):
        approvals.submit(loop.pk, people["designer"])


def test_sheet_and_page_of_signing_say_how_each_condition_is_met(
    x_loop: Any, confirm: Callable[..., Any], people: Any, client_as: Any
) -> None:
    from reports.sheets.build import sheet_content

    for matter in conditions_of(x_loop):
        confirm(x_loop, matter, how=f"Met for {matter.number}")
    loop = approvals.submit(x_loop.pk, people["designer"])
    content = sheet_content(loop, loop.verification.revision, loop.verification, None)
    assert [(row.what, row.how, row.by.split(",")[0]) for row in content.conditions] == [
        ("Keep the lid closed.", "Met for 1", "The designer"),
        ("Shield it from impact.", "Met for 2", "The designer"),
    ]
    page = client_as("approver").get(f"/loops/{loop.pk}/approve/").content.decode()
    assert "Met for 1" in page and "Met for 2" in page


def test_an_x_is_not_asked_as_a_whole_beside_its_conditions(
    x_loop: Any, rewrite: Callable[..., Any], confirm: Callable[..., Any], people: Any
) -> None:
    """With the conditions in the register only those are asked for; without them the whole is."""

    def whole(loop: Any) -> list[str]:
        return [matter.text for matter in confirmations.matters(loop) if "ends in X" in matter.text]

    assert not whole(x_loop)
    for matter in conditions_of(x_loop):
        confirm(x_loop, matter)
    assert all(matter.given for matter in confirmations.matters(x_loop) if "EXB 19" in matter.text + matter.certificate)
    rewrite(number=X_NUMBER, specific_conditions="")
    assert len(whole(refresh(x_loop.pk, Author(people["designer"])))) == 1


def test_several_are_confirmed_at_once_each_with_its_own_words_or_none(x_loop: Any, client_as: Any) -> None:
    client, address = client_as("designer"), f"/loops/{x_loop.pk}/confirm/"
    first, second = (matter.mark for matter in conditions_of(x_loop))
    both = {"_version": x_loop.version, "mark": [first, second], f"how-{first}": "Padlock"}
    lacking = client.post(address, both | {f"how-{second}": " "})
    page = lacking.content.decode()
    assert lacking.status_code == 409 and not Confirmation.objects.exists()
    assert "Shield it from impact. Say how the condition is met" in page  # which of the two it speaks of
    assert "Padlock" in page and page.count(" checked") == 2
    done = client.post(address, both | {f"how-{second}": "Guard"}, follow=True)
    assert "2 confirmations for PT-1101 were recorded." in done.content.decode()
    assert [matter.given.how for matter in conditions_of(x_loop)] == ["Padlock", "Guard"]


def test_words_without_a_tick_and_no_tick_at_all_are_refused(x_loop: Any, client_as: Any) -> None:
    client, address = client_as("designer"), f"/loops/{x_loop.pk}/confirm/"
    first, second = (matter.mark for matter in conditions_of(x_loop))
    sent = {"_version": x_loop.version, f"how-{first}": "Padlock", f"how-{second}": "Guard"}
    page = client.post(address, sent | {"mark": first})
    assert page.status_code == 409 and "not ticked: tick it too" in page.content.decode()
    assert "Guard" in page.content.decode()
    nothing = client.post(address, {"_version": x_loop.version})
    assert nothing.status_code == 409 and "tick each matter that you confirm" in nothing.content.decode()
    assert not Confirmation.objects.exists()
