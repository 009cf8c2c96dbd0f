"""Nobody gets anything without logging in, and no address is left out of the table of who gets what answer."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.test import Client

from tests.access.table import TABLE, Open, Own, Row
from tests.architecture.addresses import addresses
from tests.architecture.files import ROOT

# What anybody may open, by route, and why.
OPEN = {
    "livez": "whether the process answers (tests/deploy/operations/test_probes.py)",
    "readyz": "whether the site can answer, without saying why not",
    "metrics": "counts, for allowed addresses or whoever has the token",
    "login/": "the way in",
    "login/cancelled/": "leads back to the log-in",
    "login/with/%(provider_id)s/": "leads to a log-in service that the environment names",
    "login/with/%(provider_id)s/callback/": "the way back from there",
    "login/inactive/": "says that an account is deactivated, to whoever knew its password",
    "login/passkey/": "the way in with a passkey",
    "login/second/": "the second step of the way in; without a first one it leads to the log-in",
    "login/reset/": "a mail for who forgot the password, where there is a mail server",
    "login/reset/sent/": "says that it was sent, if it was",
    "login/reset/%(uidb36)s-%(key)s/": "a new password, by the link of the mail",
    "login/reset/done/": "leads back to the log-in",
    "logout/": "ends a session; without one it leads to the log-in",
    "s/%(short_id)s/": "the state of an issued sheet, where its site allows that (tests/reports/test_live.py)",
}


def test_the_walk_finds_the_addresses() -> None:
    routes = [address.route for address in addresses()]
    assert {"", "login/", "loops/", "loops/%(pk)s/", "api/v1/schema/"} <= set(routes)
    assert len(routes) > 20


def test_every_address_has_a_row_in_the_table_and_no_row_is_left_over() -> None:
    """tests/access/test_matrix.py asks every address for the answer that its row expects."""
    assert {address.name for address in addresses()} == set(TABLE)


def test_what_the_table_calls_open_is_proved_elsewhere() -> None:
    rows = [row for row in TABLE.values() if not isinstance(row, Row)]
    assert all((Path(ROOT) / row.proof).is_file() for row in rows)
    assert all(row.why for row in rows if isinstance(row, Open))
    assert any(isinstance(row, Own) for row in rows)


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete"])
def test_nobody_gets_in_without_logging_in(method: str) -> None:
    client = Client(raise_request_exception=False)
    found = {}
    for address in addresses():
        if address.route in OPEN:
            continue
        answer = getattr(client, method)("/" + address.route % address.samples)
        if answer.status_code in (401, 403):
            continue
        if answer.status_code == 302 and answer.headers["Location"].startswith("/login/?next="):
            continue
        found[address.route] = answer.status_code
    assert not found


def test_what_is_open_exists() -> None:
    assert set(OPEN) <= {address.route for address in addresses()}
