"""Tokens: shown once, kept as a digest, narrowed, ended; what no token does whatever its person may."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test import Client
from django.utils import timezone

from loops.models import Approval, Loop
from loops.services import approvals
from registry import access
from registry.models import ApiToken, Change, Membership, Role, User
from registry.services.tokens import MOST, make_token, token_in_force
from reports.services import issue
from tests.registry.api.asking import check_refusal, send, token_client
from tests.registry.login.ways import show_password

pytestmark = pytest.mark.django_db
LOOPS, EQUIPMENT, VERIFY = "/api/v1/loops/", "/api/v1/equipment/", "/api/v1/verify/"
ASKED = {"name": "nightly", "scope": "write", "days": "30"}


def test_the_page_makes_a_token_and_shows_it_once(client_as: Callable[[str], Any], people: Any, loop: Loop) -> None:
    client = client_as("designer")
    assert client.post("/account/tokens/new/", ASKED).status_code == 302, "the password is asked for once more"
    assert not ApiToken.objects.exists()
    show_password(client)
    page = client.post("/account/tokens/new/", ASKED)
    assert page.status_code == 200 and "no-store" in page["Cache-Control"]
    text = re.search(r"unlit_[\w-]{43}", page.content.decode())
    assert text
    assert text[0] not in client.get("/account/tokens/").content.decode()
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM registry_apitoken")
        assert text[0] not in str(cursor.fetchall())
    program = Client(headers={"Authorization": f"Bearer {text[0]}"})
    assert program.get(LOOPS).json()["results"][0]["id"] == loop.pk
    token = ApiToken.objects.get()
    assert token.last_used_at is not None
    assert Change.objects.filter(kind="person", record_id=people["designer"].pk, verb="access").count() == 1
    assert client_as("reader").post(f"/account/tokens/{token.pk}/revoke/").status_code == 404
    assert client.post(f"/account/tokens/{token.pk}/revoke/").status_code == 302
    check_refusal(program.get(LOOPS), 401, "authentication_failed")


@pytest.mark.parametrize(
    ("typed", "field"),
    [({"name": ""}, "name"), ({"scope": "approve"}, "scope"), ({"days": "9999"}, "days"), ({"site": "SOUTH"}, "site")],
)
def test_a_faulty_form_makes_nothing(client_as: Callable[[str], Any], typed: dict[str, str], field: str) -> None:
    client = client_as("designer")
    show_password(client)
    page = client.post("/account/tokens/new/", ASKED | typed)
    assert page.status_code == 400 and f'id="f-{field}-errors"' in page.content.decode()
    assert not ApiToken.objects.exists()


@pytest.mark.parametrize(
    "header", ["Bearer", "Bearer x", "Bearer unlit_" + "a" * 43, "Bearer é", "bearer " + "x" * 999]
)
def test_what_is_no_token_gets_nothing(db: None, people: Any, header: str) -> None:
    check_refusal(Client(headers={"Authorization": header}).get(LOOPS), 401, "authentication_failed")


def test_an_end_is_an_end(people: Any) -> None:
    text = make_token(people["designer"], ASKED)[1]
    program = Client(headers={"Authorization": f"Bearer {text}"})
    assert program.get(LOOPS).status_code == 200
    ApiToken.objects.update(expires_at=timezone.now())
    check_refusal(program.get(LOOPS), 401)
    ApiToken.objects.update(expires_at=timezone.now() + dt.timedelta(days=1))
    people["designer"].is_active = False
    people["designer"].save()
    check_refusal(program.get(LOOPS), 401)


def test_the_last_use_is_noted_at_most_once_a_minute(people: Any, django_assert_num_queries: Any) -> None:
    text = make_token(people["reader"], ASKED)[1]
    token_in_force(text)
    first = ApiToken.objects.get().last_used_at
    with django_assert_num_queries(1):
        token_in_force(text)
    assert ApiToken.objects.get().last_used_at == first
    ApiToken.objects.update(last_used_at=timezone.now() - dt.timedelta(minutes=2))
    token_in_force(text)
    assert ApiToken.objects.get().last_used_at > first


def test_nobody_gathers_tokens_without_end(people: Any) -> None:
    from registry.services.records import EntryRefused

    for _ in range(MOST):
        make_token(people["reader"], ASKED)
    with pytest.raises(EntryRefused, match="revoke one"):
        make_token(people["reader"], ASKED)


def test_a_token_that_reads_writes_nothing(people: Any, loop_data: Any, loop: Loop, area: Any) -> None:
    program = token_client(people["designer"], "read")
    assert program.get(LOOPS).status_code == 200
    check_refusal(send(program, LOOPS, loop_data(tag="PT-9")), 403, "permission_denied")
    record = program.get(f"{LOOPS}{loop.pk}/").json()["record"]
    check_refusal(send(program, f"{LOOPS}{loop.pk}/", record, "put", **{"If-Match": '"1"'}), 403)
    assert Loop.objects.get().version == loop.version
    assert send(program, VERIFY, loop.verification.inputs[0]).status_code == 200, "a question stores nothing"
    person = token_in_force(make_token(people["designer"], ASKED | {"scope": "read"})[1]).person
    assert access.may(person, "loop.view", loop.site) and not access.may(person, "loop.edit", loop.site)


def test_a_token_of_one_site_knows_no_other(
    people: Any, site: Any, other_site: Any, loop: Loop, loop_data: Any, area: Any
) -> None:
    Membership.objects.create(user=people["designer"], site=other_site, role=Role.DESIGNER)
    designer = User.objects.get(pk=people["designer"].pk)
    there, here = token_client(designer, site=other_site), token_client(designer, site=site)
    assert here.get(f"{LOOPS}{loop.pk}/").status_code == 200
    check_refusal(there.get(f"{LOOPS}{loop.pk}/"), 404)
    assert there.get(LOOPS).json()["results"] == []
    assert [row["record"]["code"] for row in there.get("/api/v1/sites/").json()["results"]] == ["SOUTH"]
    check_refusal(there.get(f"/api/v1/areas/{area.pk}/"), 404)
    check_refusal(send(there, LOOPS, loop_data(tag="PT-9")), 403)
    assert there.get(EQUIPMENT).status_code == 200, "the register is shared"


def test_a_token_of_one_site_narrows_a_superuser_too(people: Any, site: Any, other_site: Any, loop: Loop) -> None:
    program = token_client(people["superuser"], site=other_site)
    check_refusal(program.get(f"{LOOPS}{loop.pk}/"), 404)
    assert [row["record"]["code"] for row in program.get("/api/v1/sites/").json()["results"]] == ["SOUTH"]
    refused = send(program, "/api/v1/sites/", {"code": "X", "name": "X"})
    check_refusal(refused, 403)


def test_a_second_factor_that_is_required_is_required_of_programs(people: Any, site: Any, loop: Loop) -> None:
    program = token_client(people["designer"])
    type(site).objects.filter(pk=site.pk).update(second_factor=True)
    check_refusal(program.get(LOOPS), 403)


def test_a_token_never_approves(people: Any, loop: Loop, password: str) -> None:
    """Not even where its person is the approver, and by the services themselves."""
    approvals.submit(loop.pk, people["designer"])
    Membership.objects.create(user=people["approver"], site=loop.site, role=Role.ADMINISTRATOR)
    token = token_in_force(make_token(people["approver"], ASKED)[1])
    assert token is not None
    for action in access.BY_NO_TOKEN:
        assert not access.may(token.person, action, loop.site)
    with pytest.raises(PermissionDenied, match="A token may not do this"):
        issue(loop.pk, token.person, password, None)
    assert not Approval.objects.exists()
    person = people["approver"]
    del person._roles_by_site
    assert issue(loop.pk, person, password, None).number


def test_long_work_of_a_narrowed_token_stays_narrowed(people: Any, site: Any, other_site: Any, loop: Loop) -> None:
    from registry.services import works

    seen: list[list[int]] = []
    works.RUNNERS["sites"] = lambda work, progress: (
        seen.append(access.sites_of(work.person)),
        works.Outcome("Seen."),
    )[1]
    Membership.objects.create(user=people["designer"], site=other_site, role=Role.DESIGNER)
    designer = User.objects.get(pk=people["designer"].pk)
    try:
        token = token_in_force(make_token(designer, ASKED | {"site": other_site.code})[1])
        assert token is not None
        work = works.begin(token.person, "sites", "Sites", {})
        whole = works.begin(designer, "sites", "Sites", {})
    finally:
        del works.RUNNERS["sites"]
    assert seen == [[other_site.pk], sorted(seen[1])] and len(seen[1]) == 2
    assert list(works.works_of(token.person)) == [work]
    assert set(works.works_of(designer)) == {work, whole}
