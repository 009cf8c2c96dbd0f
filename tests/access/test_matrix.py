"""Every address x everybody x every method, against the table (table.py); a refused request and a look change nothing.

Anonymous people, the six roles, a superuser, somebody with all roles at another site, somebody without any role, and
somebody whose access was taken away while logged in.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import settings
from django.db import connection, reset_queries, transaction
from django.shortcuts import resolve_url
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.models import Membership, Role
from tests.access import world as worlds
from tests.access.table import TABLE, Open, Own, Row
from tests.architecture.addresses import Address, addresses
from tests.conftest import make_user

METHODS = ("get", "head", "post", "put", "patch", "delete")
LETTERS = {
    "reader": "r",
    "designer": "d",
    "approver": "a",
    "planner": "p",
    "keeper": "k",
    "administrator": "s",
    "superuser": "u",
    "neighbour": "n",
    "outsider": "o",
}
STALE = 999
ASIDE = ("django_session", "registry_cachedvalue")
"""Tables of sessions and of counted tries: no state of the site."""
SAFE = ("get", "head")
WRITES = ("INSERT", "UPDATE", "DELETE", "REPLACE")
# What an address takes that is no key of a record.
WORDS = {
    "suffix": "csv",
    "what": "source",
    "kind": "equipment",
    "name": "TerminalsEntry.certificate",
}
QUANTITY = {"kind": "voltage"}


@pytest.fixture
def everybody(people: Any, site: Any, other_site: Any) -> Any:
    """The people, the neighbour with every role at the other site, and one whose access is taken away."""
    for role in set(Role) - {Role.DESIGNER}:
        Membership.objects.create(user=people["neighbour"], site=other_site, role=role)
    for name, role in (("second approver", Role.APPROVER), ("disabled", Role.DESIGNER)):
        people[name] = make_user(name)
        Membership.objects.create(user=people[name], site=site, role=role)
    return people


@pytest.fixture
def world(everybody: Any, quick_paper: None, request: pytest.FixtureRequest) -> Any:
    return worlds.build(request.getfixturevalue)


def request_of(address: Address, row: Row | Own, method: str, world: Any, **changed: Any) -> tuple[str, dict[str, Any]]:
    """Where a request goes and what it sends; `changed` in place of what the world says of the record."""
    if isinstance(row, Own):
        return "/" + address.route % address.samples, {}
    keys = world.keys.get(row.record, {}) | changed
    words = WORDS | (QUANTITY if address.name == "read_quantity" else {}) | keys
    path = "/" + address.route % {name: words[name] for name in address.samples}
    if method in SAFE or not row.body:
        return path, {}
    body = world.bodies[row.body](keys)
    return path, body if "data" in body and "content_type" in body else {"data": body}


def answer_to(client: Client, method: str, path: str, sent: dict[str, Any]) -> tuple[str, list[str]]:
    """How a request was answered, and what it wrote beside sessions; all of it is rolled back."""
    # The log holds 9,000 queries: it begins anew for each request.
    reset_queries()
    with transaction.atomic(), CaptureQueriesContext(connection) as queries:
        if isinstance(sent.get("data"), dict) and method not in ("post", *SAFE):
            sent = {"data": "", "content_type": "application/x-www-form-urlencoded"}
        answer = getattr(client, method)(path, **sent)
        transaction.set_rollback(True)
    written = [
        query["sql"]
        for query in queries.captured_queries
        if query["sql"].lstrip().upper().startswith(WRITES) and not any(table in query["sql"] for table in ASIDE)
    ]
    status = answer.status_code
    if status == 401 or (
        status == 302 and answer.headers["Location"].startswith(f"{resolve_url(settings.LOGIN_URL)}?")
    ):
        return "login", written
    return "allowed" if status < 400 else str(status), written


def passes(row: Row | Own, got: str, wanted: str) -> bool:
    """Whether an answer is the expected one; the library's own addresses may answer a person anything but a fault."""
    return got == wanted or (isinstance(row, Own) and wanted == "allowed" and not got.startswith("5"))


def expected(row: Row | Own, letter: str, method: str) -> str:
    """What the table says of one person and method; `letter` is empty for who is not logged in."""
    if not letter:
        return "login"
    if isinstance(row, Own):
        return "allowed"
    through = {"get": row.get, "head": row.get, "post": row.post, "put": row.put, "delete": row.delete}.get(method, "")
    if not through:
        return "405"
    return "allowed" if letter in through else "404" if letter in row.hidden else "403"


@pytest.mark.parametrize("name", ["", *LETTERS, "disabled"])
def test_everybody_gets_the_answer_of_the_table(name: str, world: Any, everybody: Any) -> None:
    client = Client(raise_request_exception=False)
    if name:
        client.force_login(everybody[name])
    session = client.cookies.get(settings.SESSION_COOKIE_NAME)
    if name == "disabled":
        everybody[name].is_active = False
        everybody[name].save()
    wrong = []
    for address in addresses():
        row = TABLE.get(address.name)
        if row is None or isinstance(row, Open):
            continue
        for method in METHODS:
            wanted = expected(row, LETTERS.get(name, ""), method)
            requests = [request_of(address, row, method, world)]
            if wanted == "403" and method not in SAFE and row.record:
                # Who may not is told so, whatever version they send.
                requests.append(request_of(address, row, method, world, version=STALE))
            for path, sent in requests:
                client.cookies.clear()
                if session is not None:
                    client.cookies[settings.SESSION_COOKIE_NAME] = session.value
                got, statements = answer_to(client, method, path, sent)
                if not passes(row, got, wanted):
                    wrong.append(f"{method.upper()} {address.name}: {wanted} expected, {got} got")
                if statements and (wanted != "allowed" or method in SAFE):
                    wrong.append(f"{method.upper()} {address.name} wrote: {statements[0]}")
    assert not wrong, "\n".join(wrong)


def test_the_table_lets_somebody_through_everywhere() -> None:
    """A row that refuses everybody proves nothing."""
    rows = {name: row for name, row in TABLE.items() if isinstance(row, Row)}
    assert all(row.get or row.post or row.put or row.delete for row in rows.values())
    assert all(set(row.get + row.post + row.put + row.hidden) <= set(LETTERS.values()) for row in rows.values())
