"""Signing a loop with password or passkey: what the passkey signs is what stands there, and guessing is limited."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client

from loops.models import Approval, Loop, LoopState
from loops.services import approvals
from loops.services.loops import save_loop
from loops.services.signing import evidence_holds
from registry.models import Change, Membership
from registry.services.records import Author
from reports.models import Sheet
from tests.registry.login.authenticator import Passkey
from tests.registry.login.ways import PASSWORD, add_passkey, log_in, plain

pytestmark = pytest.mark.django_db


@pytest.fixture
def approver(submitted: Any) -> tuple[Client, Passkey]:
    """The approver, logged in, with a passkey."""
    client, passkey = Client(), Passkey()
    log_in(client, "approver")
    add_passkey(client, passkey)
    return client, passkey


def open_page(client: Client, loop: Any) -> dict[str, Any]:
    """What the page asks of a passkey."""
    page = client.get(f"/loops/{loop.pk}/approve/")
    return plain(page.context["passkey"].get("request_options", {}))


def sign(client: Client, loop: Any, credential: str, **more: str) -> Any:
    loop.refresh_from_db()
    return client.post(f"/loops/{loop.pk}/approve/", {"_version": str(loop.version), "credential": credential} | more)


def refused(answer: Any) -> bool:
    return answer.status_code == 400 and "did not sign what stands here" in answer.content.decode()


def test_a_passkey_signs_and_its_signature_is_kept(approver: Any, submitted: Any) -> None:
    client, passkey = approver
    answer = passkey.get(open_page(client, submitted))
    assert sign(client, submitted, answer, text="Seen").headers["Location"] == f"/loops/{submitted.pk}/"
    approval = Approval.objects.get()
    assert approval.signed_with == "passkey"
    assert approval.evidence["signature"] == json.loads(answer)["response"]["signature"]
    assert Change.objects.get(verb="approve").detail["signed_with"] == "passkey"
    call_command("verify_store")


def test_a_password_signs_and_is_told_so(approver: Any, submitted: Any) -> None:
    client, _ = approver
    client.post(f"/loops/{submitted.pk}/approve/", {"_version": str(submitted.version), "password": PASSWORD})
    assert (Approval.objects.get().signed_with, Approval.objects.get().evidence) == ("password", {})
    call_command("verify_store")


def test_who_has_no_passkey_is_asked_for_none(submitted: Any, client_as: Any) -> None:
    page = client_as("approver").get(f"/loops/{submitted.pk}/approve/").content.decode()
    assert "passkey" not in page


def test_who_logs_in_through_a_service_alone_is_told_how_to_come_to_sign(
    submitted: Any, people: Any, client_as: Any
) -> None:
    people["approver"].set_unusable_password()
    people["approver"].save()
    client, address = client_as("approver"), f"/loops/{submitted.pk}/approve/"
    page = client.get(address).content.decode()
    assert "You cannot sign yet." in page and "Add a passkey and sign with it" in page
    assert "/account/passkeys/add/" in page and 'type="password"' not in page
    for _ in range(7):
        answer = client.post(address, {"_version": str(submitted.version), "password": "anything"})
        assert answer.status_code == 400 and "You have no password here" in answer.content.decode()
    assert not Approval.objects.exists()


def test_an_answer_serves_once_and_only_for_the_page_that_asked(approver: Any, submitted: Any) -> None:
    client, passkey = approver
    first = passkey.get(open_page(client, submitted))
    open_page(client, submitted)
    assert refused(sign(client, submitted, first)), "the page was opened again since"
    assert Loop.objects.get(pk=submitted.pk).state == LoopState.IN_REVIEW


def test_an_answer_for_one_loop_signs_no_other(approver: Any, submitted: Any, make_loop: Any, submit: Any) -> None:
    client, passkey = approver
    other = submit(make_loop(tag="PT-2202"))
    answer = passkey.get(open_page(client, submitted))
    open_page(client, other)
    assert refused(sign(client, other, answer))
    session = client.session
    session["signing"] = dict.fromkeys(map(str, (submitted.pk, other.pk)), session["signing"][str(submitted.pk)])
    session.save()
    assert refused(sign(client, other, answer)), "even with the nonce of the first"
    assert not Approval.objects.exists()


def test_an_answer_is_bound_to_what_was_shown(approver: Any, submitted: Any, loop_data: Any, people: Any) -> None:
    """The loop is taken back, changed and submitted again while the answer is on its way."""
    client, passkey = approver
    answer = passkey.get(open_page(client, submitted))
    approvals.take_back(submitted.pk, people["designer"])
    loop = Loop.objects.get(pk=submitted.pk)
    save_loop(loop_data(length="310 m"), Author(people["designer"]), loop_id=loop.pk, opened_version=loop.version)
    approvals.submit(loop.pk, people["designer"])
    assert refused(sign(client, submitted, answer)), "the version of the form was made to fit, the digest does not"
    assert not Approval.objects.exists()
    answer = passkey.get(open_page(client, submitted))
    assert sign(client, submitted, answer).status_code == 302, "what stands there now can be signed"


def test_a_passkey_of_somebody_else_or_without_verification_signs_nothing(approver: Any, submitted: Any) -> None:
    client, passkey = approver
    assert refused(sign(client, submitted, Passkey().get(open_page(client, submitted))))
    passkey.verifies = False
    assert refused(sign(client, submitted, passkey.get(open_page(client, submitted))))
    passkey.verifies = True
    passkey.origin = "https://elsewhere.example"
    assert refused(sign(client, submitted, passkey.get(open_page(client, submitted))))


@pytest.mark.parametrize("broken", ["x", "{}", "[]", "null", "[" * 3000, '{"id": "a", "rawId": "a", "response": {}}'])
def test_an_answer_that_is_none_is_refused(broken: str, approver: Any, submitted: Any) -> None:
    client, _ = approver
    open_page(client, submitted)
    assert refused(sign(client, submitted, broken, text="My remark"))
    assert "My remark" in sign(client, submitted, broken, text="My remark").content.decode()


def test_four_eyes_hold_for_a_passkey_too(loop: Any, people: Any, submit: Any, site: Any) -> None:
    Membership.objects.create(user=people["designer"], site=site, role="approver")
    client, passkey = Client(), Passkey()
    log_in(client, "designer")
    add_passkey(client, passkey)
    submitted = submit(loop)
    assert open_page(client, submitted) == {}, "the page asks for no signature"
    answer = sign(client, submitted, passkey.get({"publicKey": {"challenge": "AAAA"}}))
    assert answer.status_code == 403
    assert "somebody else must approve it" in answer.content.decode()


def test_guessing_the_password_to_sign_is_limited(submitted: Any, client_as: Any, people: Any) -> None:
    client = client_as("approver")
    address = f"/loops/{submitted.pk}/approve/"
    for _ in range(5):
        wrong = client.post(address, {"_version": str(submitted.version), "password": "guess"})
        assert wrong.status_code == 400 and "password is not right" in wrong.content.decode()
    late = client.post(address, {"_version": str(submitted.version), "password": PASSWORD, "text": "My remark"})
    assert late.status_code == 429
    assert "wait five minutes" in late.content.decode() and "My remark" in late.content.decode()
    assert not Approval.objects.exists()
    other = client_as("approver")
    assert other.post(address, {"_version": str(submitted.version), "password": PASSWORD}).status_code == 429


def test_refusals_for_other_reasons_do_not_count(submitted: Any, client_as: Any) -> None:
    client = client_as("approver")
    address = f"/loops/{submitted.pk}/approve/"
    for _ in range(8):
        assert client.post(address, {"_version": "99", "password": PASSWORD}).status_code == 409
    assert client.post(address, {"_version": str(submitted.version), "password": PASSWORD}).status_code == 302


def test_altered_evidence_is_found(approver: Any, submitted: Any) -> None:
    """The row itself is frozen (tests/architecture/test_frozen.py); a copy with another meaning does not hold."""
    client, passkey = approver
    sign(client, submitted, passkey.get(open_page(client, submitted)))
    approval = Approval.objects.get()
    assert evidence_holds(approval)
    for name, value in (("meaning", "I have not"), ("revision_digest", "0" * 64), ("letter", "B"), ("loop_id", 99)):
        altered = Approval.objects.get()
        setattr(altered, name, value)
        assert not evidence_holds(altered), name
    altered = Approval.objects.get()
    altered.evidence = altered.evidence | {"signature": Approval.objects.get().evidence["client_data"]}
    assert not evidence_holds(altered)
    altered.evidence = {}
    assert not evidence_holds(altered)


def pressed_at_once(people: Any, forms: list[tuple[int, dict[str, str]]]) -> list[int]:
    """The answers to the pages of signing of some loops, posted at the same moment by the approver."""
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL: SQLite has one writer at a time")
    start = Barrier(len(forms))

    def press(form: tuple[int, dict[str, str]]) -> int:
        try:
            client = Client(raise_request_exception=False)
            client.force_login(people["approver"])
            start.wait(timeout=60)
            return client.post(f"/loops/{form[0]}/approve/", form[1]).status_code
        finally:
            connection.close()

    with ThreadPoolExecutor(len(forms)) as pool:
        return list(pool.map(press, forms))


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twenty_presses_at_once_make_one_signature_and_one_sheet(submitted: Any, people: Any) -> None:
    form = {"_version": str(submitted.version), "password": PASSWORD}
    statuses = pressed_at_once(people, [(submitted.pk, form)] * 20)
    assert statuses.count(302) == 1
    assert set(statuses) <= {302, 409}, "nobody is told of failures who made none"
    assert (Approval.objects.count(), Sheet.objects.count()) == (1, 1)


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_one_person_signs_many_loops_at_once(make_loop: Any, submit: Any, people: Any) -> None:
    """More of them than failures are allowed."""
    loops = [submit(make_loop(tag=f"PT-30{number:02}")) for number in range(8)]
    forms = [(loop.pk, {"_version": str(loop.version), "password": PASSWORD}) for loop in loops]
    assert pressed_at_once(people, forms) == [302] * 8


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_guesses_at_once_get_no_further_than_guesses_in_turn(make_loop: Any, submit: Any, people: Any) -> None:
    """Twenty guesses at two loops: five are looked at, the rest are not, the right one among them or not."""
    loops = [submit(make_loop(tag=f"PT-30{number:02}")) for number in range(2)]
    forms = [(loop.pk, {"_version": str(loop.version), "password": f"guess {n}"}) for n in range(10) for loop in loops]
    statuses = pressed_at_once(people, forms)
    assert (statuses.count(400), statuses.count(429)) == (5, 15)
    late = Client()
    late.force_login(people["approver"])
    right = forms[0][1] | {"password": PASSWORD}
    assert late.post(f"/loops/{loops[0].pk}/approve/", right).status_code == 429
    assert not Approval.objects.exists()
