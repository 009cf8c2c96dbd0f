"""Failed attempts are counted together by all workers, and keep out nobody else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache, caches
from django.core.cache.backends.db import DatabaseCache
from django.db import connection
from django.test import Client

from registry.models import CachedValue
from tests.architecture.files import ROOT
from tests.registry.login.ways import PASSWORD, log_in, set_up_app

pytestmark = pytest.mark.django_db
ALLOWED = 5


def refused(answer: Any) -> bool:
    return answer.status_code == 200 and "wait five minutes" in answer.content.decode()


def guess(name: str, times: int, address: str = "192.0.2.7") -> None:
    for _ in range(times):
        log_in(Client(), name, "wrong", REMOTE_ADDR=address)


def test_the_sixth_attempt_is_refused_even_with_the_right_password(people: Any) -> None:
    guess("designer", ALLOWED - 1)
    assert log_in(Client(), "designer", REMOTE_ADDR="192.0.2.7").status_code == 302, "four failures are forgiven"
    guess("designer", 1)
    assert refused(log_in(Client(), "designer", REMOTE_ADDR="192.0.2.7"))
    assert refused(log_in(Client(), "DESIGNER", REMOTE_ADDR="192.0.2.7")), "another spelling is the same account"


def test_a_lockout_spares_the_same_person_elsewhere_and_others_here(people: Any) -> None:
    guess("designer", ALLOWED)
    assert refused(log_in(Client(), "designer", REMOTE_ADDR="192.0.2.7"))
    assert log_in(Client(), "designer", REMOTE_ADDR="192.0.2.8").status_code == 302
    assert log_in(Client(), "approver", REMOTE_ADDR="192.0.2.7").status_code == 302


def test_behind_a_proxy_of_ones_own_the_address_is_what_the_proxy_tells(people: Any, settings: Any) -> None:
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1

    def attempt(told: str, password: str = PASSWORD) -> Any:
        return log_in(Client(), "designer", password, REMOTE_ADDR="127.0.0.1", HTTP_X_FORWARDED_FOR=told)

    for number in range(ALLOWED):
        attempt(f"198.51.100.{number}, 192.0.2.7", "wrong")
    assert refused(attempt("203.0.113.1, 192.0.2.7")), "what a client writes into the header itself counts for nothing"
    assert attempt("192.0.2.8").status_code == 302
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 2
    assert attempt("192.0.2.9").status_code == 302, "a header that is too short is no fault of the person"


def test_codes_are_limited_too_app_and_recovery_alike(people: Any) -> None:
    client = Client()
    log_in(client, "designer")
    set_up_app(client)
    codes = client.get("/account/codes/").context["unused_codes"]
    other = Client()
    log_in(other, "designer")
    for number in range(ALLOWED):
        other.post("/login/second/", {"code": f"00000{number}"})
    answer = other.post("/login/second/", {"code": codes[0]})
    assert refused(answer), "a right code comes too late"
    assert other.get("/loops/").status_code == 302
    assert log_in(Client(), "approver").status_code == 302


def test_the_password_once_more_is_limited(people: Any) -> None:
    client = Client()
    log_in(client, "designer")
    statuses = [
        client.post("/account/again/", {"password": "wrong", "next": "/account/"}).status_code for _ in range(12)
    ]
    assert 429 in statuses or refused(client.post("/account/again/", {"password": PASSWORD}))


def test_guessing_the_present_password_of_an_open_browser_is_limited(people: Any, client_as: Any) -> None:
    client, new = client_as("designer"), {"new_password1": "Another-lantern-7", "new_password2": "Another-lantern-7"}
    for _ in range(ALLOWED):
        assert client.post("/password/", new | {"old_password": "wrong"}).status_code == 200
    assert client.post("/password/", new | {"old_password": PASSWORD}).status_code == 429
    assert log_in(Client(), "designer").status_code == 302, "the password is the old one"


def test_all_workers_count_in_one_place(people: Any) -> None:
    assert isinstance(caches["default"], DatabaseCache)
    guess("designer", ALLOWED)
    other_worker = DatabaseCache(caches["default"]._table, {})
    key = next(
        key.split(":", 2)[2] for key in _keys() if "login_failed" in key and key.split(":")[-1] and ":ip:" not in key
    )
    assert len(other_worker.get(key)) == len(cache.get(key)) == ALLOWED


def _keys() -> list[str]:
    return list(CachedValue.objects.values_list("cache_key", flat=True))


RACE = """
import sys, django
django.setup()
from registry.login.limits import TooManyAttempts, attempt
allowed = 0
for _ in range(12):
    try:
        attempt("sign", "race")
        allowed += 1
    except TooManyAttempts:
        pass
print(allowed)
"""


def race(database: str) -> int:
    """How many attempts two processes are allowed together that try at the same time."""
    environ = os.environ | {"DJANGO_SETTINGS_MODULE": "deploy.settings.test", "DATABASE_URL": database}
    command = [sys.executable, "-c", RACE]
    running = [subprocess.Popen(command, env=environ, stdout=subprocess.PIPE, cwd=ROOT, text=True) for _ in range(2)]
    return sum(int(process.communicate(timeout=120)[0]) for process in running)


def test_two_processes_count_together_on_sqlite(tmp_path: Path) -> None:
    database = f"sqlite:///{tmp_path}/cache.sqlite3"
    environ = os.environ | {"DJANGO_SETTINGS_MODULE": "deploy.settings.test", "DATABASE_URL": database}
    subprocess.run([sys.executable, "manage.py", "createcachetable"], env=environ, cwd=ROOT, check=True)
    assert race(database) == ALLOWED


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_processes_count_together_on_postgresql() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL")
    at = connection.settings_dict
    server = f"{at['HOST'] or 'localhost'}:{at['PORT'] or 5432}"
    assert race(f"postgresql://{at['USER']}:{at['PASSWORD']}@{server}/{at['NAME']}") == ALLOWED
