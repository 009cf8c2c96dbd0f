"""Log-in through a service: whose account it is, which roles its groups give, and what is refused."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client

from registry.models import Change, Membership, Revision, Role, User
from tests.registry.login.provider import CLIENT, SECRET, Provider, running
from tests.registry.login.ways import log_in, set_up_app

pytestmark = pytest.mark.django_db
ROLES = {
    "ex-designers": ["NORTH:designer"],
    "ex-approvers": ["NORTH:approver", "SOUTH:approver"],
    "ex-admins": ["NORTH:administrator"],
    "ex-old": ["GONE:reader"],
}


@pytest.fixture
def provider(settings: Any, people: Any) -> Iterator[Provider]:
    with running() as found:
        options = {"server_url": found.address, "account_claim": "preferred_username", "groups_claim": "groups"}
        app = {"provider_id": "works", "name": "Works directory", "client_id": CLIENT, "secret": SECRET}
        settings.SOCIALACCOUNT_PROVIDERS = {
            "openid_connect": {"OAUTH_PKCE_ENABLED": True, "APPS": [app | {"settings": options | {"roles": ROLES}}]}
        }
        yield found


def come(provider: Provider, client: Client | None = None, start: str = "/login/with/works/", **claims: Any) -> Any:
    """Log in through the service, which says these claims."""
    client = client or Client()
    provider.claims = claims
    there = client.get(start)
    assert there.status_code == 302, there.content.decode()
    assert there.headers["Location"].startswith(provider.address + "/authorize?")
    answer = client.get("/login/with/works/callback/" + provider.agree(there.headers["Location"]))
    answer.came = client
    return answer


def roles_of(name: str) -> set[tuple[str, str]]:
    return set(Membership.objects.filter(user__username=name).values_list("site__code", "role"))


DESIGNER = {"sub": "d-1", "preferred_username": "designer", "groups": ["ex-designers", "canteen"]}


def test_the_log_in_page_names_the_service(provider: Provider) -> None:
    page = Client().get("/login/?next=/loops/").content.decode()
    assert "Log in with Works directory" in page
    assert "/login/with/works/?" in page


def test_a_person_with_an_account_is_let_in_and_led_on(provider: Provider, people: Any) -> None:
    answer = come(provider, start="/login/with/works/?process=login&next=/loops/", **DESIGNER)
    assert answer.headers["Location"] == "/loops/"
    assert answer.came.get("/loops/").status_code == 200
    assert answer.came.get("/loops/").context["user"] == people["designer"]
    assert Change.objects.filter(verb="factor", detail={"what": "bound to Works directory"}).exists()
    again = come(provider, sub="d-1", preferred_username="renamed-there", groups=["ex-designers"])
    assert again.status_code == 302 and again.came.get("/loops/").status_code == 200, "the service's own key counts now"


def test_groups_give_and_take_roles_and_it_is_recorded(provider: Provider, people: Any, site: Any) -> None:
    Membership.objects.create(user=people["designer"], site=site, role=Role.KEEPER)
    come(provider, **DESIGNER | {"groups": ["ex-approvers", "ex-old"]})
    assert roles_of("designer") == {("NORTH", "keeper"), ("NORTH", "approver"), ("SOUTH", "approver")}, (
        "the role that no group governs stays"
    )
    revision = Revision.objects.filter(kind="person", record_id=people["designer"].pk).latest("number")
    assert (revision.origin, revision.reason) == ("log_in", "Groups told by Works directory")
    assert Change.objects.filter(verb="access", record_id=people["designer"].pk).count() == 1
    come(provider, **DESIGNER | {"groups": ["ex-approvers", "ex-old"]})
    assert Change.objects.filter(verb="access", record_id=people["designer"].pk).count() == 1, "nothing changed"
    come(provider, **DESIGNER | {"groups": []})
    assert roles_of("designer") == {("NORTH", "keeper")}


def test_the_last_administrator_stays_whatever_the_groups(provider: Provider, people: Any, site: Any) -> None:
    come(provider, sub="a-1", preferred_username="administrator", groups=[])
    assert ("NORTH", "administrator") in roles_of("administrator")
    Membership.objects.create(user=people["keeper"], site=site, role=Role.ADMINISTRATOR)
    come(provider, sub="a-1", preferred_username="administrator", groups=[])
    assert roles_of("administrator") == set()


REFUSED = [
    ({"preferred_username": "stranger"}, "There is no account “stranger” here"),
    ({"preferred_username": ""}, "There is no account “?” here"),
    ({"preferred_username": "superuser"}, "The administrator of the installation logs in with a password"),
    ({"groups": None}, "did not say your groups (claim groups)"),
    ({"groups": {"a": 1}}, "did not say your groups"),
    ({"groups": [1]}, "did not say your groups"),
]


@pytest.mark.parametrize("claims, why", REFUSED)
def test_who_is_not_let_in_is_told_why(claims: dict[str, Any], why: str, provider: Provider, people: Any) -> None:
    before = roles_of("designer")
    answer = come(provider, **DESIGNER | claims)
    assert answer.status_code == 403
    assert why in answer.content.decode()
    assert answer.came.get("/loops/").status_code == 302
    assert roles_of("designer") == before
    assert not User.objects.filter(username="stranger").exists()


def test_a_name_that_was_given_to_somebody_else_opens_no_old_account(provider: Provider, people: Any) -> None:
    come(provider, **DESIGNER)
    answer = come(provider, **DESIGNER | {"sub": "d-2"})
    assert answer.status_code == 403
    assert "belongs to somebody else at Works directory" in answer.content.decode()


def test_who_was_deactivated_here_stays_out(provider: Provider, people: Any) -> None:
    User.objects.filter(username="designer").update(is_active=False)
    for _ in range(2):
        answer = come(provider, **DESIGNER | {"groups": ["ex-approvers"]})
        assert answer.headers["Location"] == "/login/inactive/"
        assert answer.came.get("/loops/").status_code == 302
    assert ("NORTH", "approver") not in roles_of("designer")


def test_a_second_factor_is_asked_for_here_too(provider: Provider, people: Any) -> None:
    client = Client()
    log_in(client, "designer")
    set_up_app(client)
    answer = come(provider, **DESIGNER)
    assert answer.headers["Location"] == "/login/second/"
    assert answer.came.get("/loops/").status_code == 302


def test_whoever_is_logged_in_does_not_bind_another_account(provider: Provider, people: Any, client_as: Any) -> None:
    answer = come(provider, client_as("reader"), "/login/with/works/?process=connect", **DESIGNER)
    assert answer.status_code == 403
    assert "by logging in with it" in answer.content.decode()


def test_a_token_for_another_client_or_two_people_in_one_lets_nobody_in(provider: Provider, people: Any) -> None:
    provider.audience = "another"
    answer = come(provider, **DESIGNER)
    assert answer.status_code in (401, 403)
    assert answer.came.get("/loops/").status_code == 302
    provider.audience = CLIENT
    provider.info = {"sub": "x-9", "preferred_username": "approver", "groups": []}
    answer = come(provider, **DESIGNER)
    assert answer.status_code == 403
    assert "two different people" in answer.content.decode()


def test_a_way_back_that_nobody_went_is_refused(provider: Provider) -> None:
    for query in ("", "?code=x", "?code=x&state=y", "?error=access_denied&state=y"):
        answer = Client().get("/login/with/works/callback/" + query)
        assert answer.status_code in (302, 401, 403), query
        assert Client().get("/loops/").status_code == 302


def test_a_service_that_is_down_is_told(provider: Provider, people: Any) -> None:
    provider.down = True
    answer = Client().get("/login/with/works/")
    assert answer.status_code == 503
    assert "does not answer as it should" in answer.content.decode()
    provider.down = False
    client = Client()
    there = client.get("/login/with/works/").headers["Location"]
    query = provider.agree(there)
    provider.down = True
    answer = client.get("/login/with/works/callback/" + query)
    assert answer.status_code in (401, 403, 503)
    assert "You were not logged in" in answer.content.decode()


def test_without_services_there_is_none(people: Any) -> None:
    assert "Log in with Works" not in Client().get("/login/").content.decode()
    assert Client().get("/login/with/works/").status_code == 404
