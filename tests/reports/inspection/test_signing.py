"""An inspection signed with a passkey: what it signs is what stands there, and the proof is checked again."""

from __future__ import annotations

from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.test import Client

from registry.services.proofs import WHOLE
from reports.inspection import services
from reports.inspection.models import SignedInspection
from reports.inspection.proofs import prove_inspections
from reports.inspection.services import LineText
from reports.inspection.signing import evidence_holds
from tests.access.world import picture
from tests.registry.login.authenticator import Passkey
from tests.registry.login.ways import add_passkey, log_in, plain
from tests.reports.inspection.conftest import DEFECT, seen

pytestmark = pytest.mark.django_db


@pytest.fixture
def planner(people: Any) -> tuple[Client, Passkey]:
    """The planner, logged in, with a passkey."""
    client, passkey = Client(), Passkey()
    log_in(client, "planner")
    add_passkey(client, passkey)
    return client, passkey


def asked(client: Client, inspection: Any) -> dict[str, Any]:
    page = client.get(f"/inspections/{inspection.pk}/")
    found: dict[str, Any] = plain(page.context["passkey"].get("request_options", {}))
    return found


def sign(client: Client, inspection: Any, credential: str) -> Any:
    return client.post(f"/inspections/{inspection.pk}/conclude/", {"credential": credential, "remark": "Windy."})


def test_a_passkey_signs_and_its_signature_is_kept(planner: Any, loop: Any, begin: Any, fill: Any) -> None:
    client, passkey = planner
    found = {"result": "defect", "note": "Another plate.", "priority": "1", "found": {"uo_v": "31 V"}}
    inspection = fill(begin(loop, "close"), glands=DEFECT, nameplate=found)
    assert sign(client, inspection, passkey.get(asked(client, inspection))).status_code == 302
    record = SignedInspection.objects.get()
    assert (record.signed_with, record.content["remark"]) == ("passkey", "Windy.")
    assert evidence_holds(record)
    assert list(prove_inspections()) == [WHOLE]
    record.content["lines"][0]["note"] = "Another text"
    assert not evidence_holds(record)


def test_what_was_changed_since_the_page_was_opened_is_not_signed(
    planner: Any, loop: Any, begin: Any, fill: Any, people: Any
) -> None:
    client, passkey = planner
    inspection = fill(begin(loop, "visual"))
    answer = passkey.get(asked(client, inspection))
    line = inspection.lines.get(item="damage")
    services.save_line(inspection.pk, line.pk, people["designer"], LineText("not_checked", "Scaffold."))
    refused = sign(client, inspection, answer)
    assert refused.status_code == 400 and "did not sign what stands here" in refused.content.decode()
    assert not SignedInspection.objects.exists()


def test_an_answer_serves_once_and_for_one_inspection(planner: Any, loop: Any, begin: Any, fill: Any) -> None:
    client, passkey = planner
    one, other = fill(begin(loop, "visual")), fill(begin(loop, "visual"))
    answer = passkey.get(asked(client, one))
    asked(client, other)
    assert sign(client, other, answer).status_code == 400
    assert sign(client, one, answer).status_code == 302
    assert sign(client, one, answer).status_code == 409


def test_who_has_no_password_is_told_how_to_come_to_sign_and_nothing_is_counted(
    people: Any, loop: Any, begin: Any, fill: Any, client_as: Any
) -> None:
    inspection = fill(begin(loop, "visual"))
    people["planner"].set_unusable_password()
    people["planner"].save()
    client = client_as("planner")
    for password in ("", *["anything"] * 7):
        answer = client.post(
            f"/inspections/{inspection.pk}/conclude/", {"password": password, "shown": seen(inspection)}
        )
        assert answer.status_code == 400 and "You have no password here" in answer.content.decode()
    assert not SignedInspection.objects.exists()


def test_nothing_is_asked_while_a_line_has_no_result(planner: Any, loop: Any, begin: Any) -> None:
    client, _passkey = planner
    assert asked(client, begin(loop, "visual")) == {}


def test_an_altered_record_is_told(loop: Any, signed: Any) -> None:
    from django.db import connection

    record = signed(loop, "visual")
    assert list(prove_inspections()) == [WHOLE]
    table = SignedInspection._meta.db_table
    from registry.triggers import freeze, thaw

    with connection.cursor() as cursor:
        for statement in thaw(connection, table):
            cursor.execute(statement)
        SignedInspection.objects.filter(pk=record.pk).update(content=record.content | {"inspector": "Somebody else"})
        for statement in freeze(connection, table):
            cursor.execute(statement)
    assert "was altered" in next(prove_inspections())


def post_password(client: Client, inspection: Any, shown: str, password: str) -> Any:
    return client.post(f"/inspections/{inspection.pk}/conclude/", {"password": password, "shown": shown})


def test_a_password_signs_what_was_shown_and_nothing_else(
    people: Any, loop: Any, begin: Any, fill: Any, client_as: Any, password: str
) -> None:
    client, inspection = client_as("planner"), fill(begin(loop, "visual"))
    page = client.get(f"/inspections/{inspection.pk}/")
    shown = page.context["mark"]
    assert f'name="shown" value="{shown}"' in page.content.decode()
    line = inspection.lines.get(item="damage")
    services.save_line(inspection.pk, line.pk, people["designer"], LineText("not_checked", "Scaffold."))
    for mark in (shown, "", shown.upper(), "0" * 64):
        refused = post_password(client, inspection, mark, password)
        assert refused.status_code == 409 and "not what you were shown" in refused.content.decode()
    assert not SignedInspection.objects.exists()
    # The refusal shows it as it is now, and that may be signed.
    assert post_password(client, inspection, refused.context["mark"], password).status_code == 302
    assert SignedInspection.objects.get().content["lines"][line.position - 1]["note"] == "Scaffold."


def test_a_photo_that_came_later_is_not_signed_unseen(
    people: Any, loop: Any, begin: Any, fill: Any, client_as: Any, password: str
) -> None:
    client, inspection = client_as("planner"), fill(begin(loop, "visual"))
    shown = client.get(f"/inspections/{inspection.pk}/").context["mark"]
    services.add_photo(
        inspection.pk, inspection.lines.first().pk, people["planner"], name="a.png", content=picture() + b"later"
    )
    assert post_password(client, inspection, shown, password).status_code == 409


@pytest.mark.parametrize("with_passkey", [True, False])
def test_a_person_without_a_password_is_asked_for_none(
    with_passkey: bool, planner: Any, people: Any, loop: Any, begin: Any, fill: Any, client_as: Any
) -> None:
    client, passkey = planner
    if not with_passkey:
        Authenticator.objects.filter(user=people["planner"]).delete()
    people["planner"].set_unusable_password()
    people["planner"].save()
    client = client_as("planner")
    inspection = fill(begin(loop, "visual"))
    page = client.get(f"/inspections/{inspection.pk}/").content.decode()
    assert 'name="password"' not in page
    assert ("with my passkey" in page, "You cannot sign yet." in page) == (with_passkey, not with_passkey)
    if with_passkey:
        answer = {"credential": passkey.get(asked(client, inspection))}
        assert client.post(f"/inspections/{inspection.pk}/conclude/", answer).status_code == 302
