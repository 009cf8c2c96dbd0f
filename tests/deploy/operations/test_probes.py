"""/livez, /readyz and /metrics: quick, open to what watches the machine, and without anything for a stranger."""

from __future__ import annotations

from typing import Any
from unittest import mock

import pytest
from django.core.files.storage import default_storage
from django.db import OperationalError
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families

from deploy.operations import health

TOKEN = "Slow-copper-91-lantern-token"


def test_livez_asks_nothing_of_anybody() -> None:
    """No database (this test has none), no host name, no TLS, no log-in, no session."""
    with mock.patch("django.conf.settings.ALLOWED_HOSTS", ["unlit.example.org"]):
        answer = Client().get("/livez", headers={"host": "10.0.0.7:8000"})
    assert (answer.status_code, answer.content) == (200, b"alive\n")
    assert not answer.cookies
    assert "no-store" in answer.headers["Cache-Control"]


@pytest.mark.django_db
def test_readyz_is_ready_and_says_what_it_asked() -> None:
    answer = Client().get("/readyz", headers={"host": "10.0.0.7:8000"})
    assert answer.status_code == 200
    assert answer.json() == {"ready": True, "checks": dict.fromkeys(("database", "migrations", "cache", "files"), "ok")}


@pytest.mark.django_db
def test_readyz_takes_few_queries(django_assert_max_num_queries: Any) -> None:
    Client().get("/readyz")
    with django_assert_max_num_queries(12):
        Client().get("/readyz")


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(health.READY_CHECKS))
def test_readyz_names_what_is_missing_and_nothing_else(name: str, caplog: pytest.LogCaptureFixture) -> None:
    secret = 'connection to server at "db.example.org", user "unlit", password "hunter2" failed'
    with mock.patch.dict(health.READY_CHECKS, {name: mock.Mock(side_effect=OperationalError(secret))}):
        answer = Client().get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["checks"][name] == "failed"
    assert not answer.json()["ready"]
    assert list(answer.json()["checks"].values()).count("failed") == 1
    assert "hunter2" not in answer.content.decode()
    assert "db.example.org" not in answer.content.decode()
    assert name in caplog.text


@pytest.mark.django_db
def test_a_schema_of_another_version_is_not_ready() -> None:
    with (
        mock.patch.object(health, "wanted_migrations", lambda: frozenset({("registry", "9999_later")})),
        pytest.raises(health.NotReady, match="1 migrations are not applied"),
    ):
        health.migrations()
    health.migrations()


@pytest.mark.django_db
def test_a_store_that_cannot_be_used_is_found() -> None:
    health.write_and_read()
    with (
        mock.patch.object(default_storage, "open", side_effect=PermissionError("no")),
        pytest.raises(PermissionError),
    ):
        health.write_and_read()


@pytest.mark.parametrize("path", ["/livez", "/readyz", "/metrics"])
@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_nothing_can_be_sent_there(path: str, method: str) -> None:
    assert getattr(Client(), method)(path).status_code == 405


# ----------------------------------------------------------------------------------------------------------- the counts


def metrics(settings: Any, *, proxies: int = 0, allowed: tuple[str, ...] = (), **extra: Any) -> Any:
    settings.METRICS_ALLOWED = list(allowed)
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = proxies
    return Client().get("/metrics", **extra)


@pytest.mark.django_db
def test_metrics_are_read_by_prometheus(settings: Any, client_as: Any) -> None:
    client_as("reader").get("/loops/")
    settings.METRICS_ALLOWED = ["127.0.0.1/32"]
    text = Client().get("/metrics").content.decode()
    families = {family.name: family for family in text_string_to_metric_families(text)}
    assert {sample.value for sample in families["unlit_database_up"].samples} == {1}
    assert {sample.value for sample in families["unlit_tasks_waiting"].samples} == {0}
    views = {
        sample.labels.get("view") for sample in families["django_http_requests_total_by_view_transport_method"].samples
    }
    assert "loop_list" in views
    assert families["unlit_info"].samples[0].labels["version"]
    # Names of people, tags and addresses of records are no labels.
    assert "The reader" not in text
    assert "NORTH" not in text


@pytest.mark.django_db
@pytest.mark.parametrize(
    "proxies, allowed, remote, forwarded, status",
    [
        (0, ("127.0.0.1/32",), "127.0.0.1", "", 200),
        (0, ("127.0.0.1/32",), "203.0.113.9", "", 404),
        (0, ("10.1.0.0/16",), "10.1.2.3", "", 200),
        (0, ("::1/128",), "::1", "", 200),
        # Without a proxy of one's own what a visitor says of their address counts for nothing.
        (0, ("127.0.0.1/32",), "203.0.113.9", "127.0.0.1", 404),
        # Behind one everybody comes from its address: only what it added tells.
        (1, ("127.0.0.1/32",), "127.0.0.1", "203.0.113.9", 404),
        (1, ("127.0.0.1/32",), "127.0.0.1", "127.0.0.1, 203.0.113.9", 404),
        (1, ("127.0.0.1/32",), "127.0.0.1", "", 200),
        (1, ("10.1.0.0/16",), "127.0.0.1", "203.0.113.9, 10.1.2.3", 200),
        (1, ("127.0.0.1/32",), "127.0.0.1", "nonsense", 404),
        (2, ("127.0.0.1/32",), "127.0.0.1", "127.0.0.1", 404),
        (0, ("127.0.0.1/32",), "", "", 404),
    ],
)
def test_who_may_read_metrics(
    settings: Any, proxies: int, allowed: tuple[str, ...], remote: str, forwarded: str, status: int
) -> None:
    extra = {"REMOTE_ADDR": remote} | ({"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {})
    assert metrics(settings, proxies=proxies, allowed=allowed, **extra).status_code == status


@pytest.mark.django_db
def test_a_token_lets_in_from_anywhere_and_only_the_right_one(settings: Any) -> None:
    away = {"REMOTE_ADDR": "203.0.113.9"}
    settings.METRICS_TOKEN = TOKEN
    assert metrics(settings, **away, headers={"authorization": f"Bearer {TOKEN}"}).status_code == 200
    for wrong in (f"Bearer {TOKEN}x", "Bearer", "Bearer ", TOKEN, f"Basic {TOKEN}", "Bearer ünïcode"):
        assert metrics(settings, **away, headers={"authorization": wrong}).status_code == 404, wrong
    settings.METRICS_TOKEN = ""
    assert metrics(settings, **away, headers={"authorization": "Bearer "}).status_code == 404


@pytest.mark.django_db
def test_metrics_say_that_the_database_is_gone(settings: Any) -> None:
    settings.METRICS_ALLOWED = ["127.0.0.1/32"]
    with mock.patch("deploy.operations.metrics.tasks", side_effect=OperationalError("gone")):
        answer = Client().get("/metrics")
    assert answer.status_code == 200
    assert b"unlit_database_up 0.0" in answer.content


@pytest.mark.django_db
def test_the_page_for_what_nobody_foresaw_shows_the_mark_of_the_request(client_as: Any) -> None:
    client = client_as("reader")
    client.raise_request_exception = False
    mark = "0123456789abcdef0123456789abcdef"
    with mock.patch("loops.views.home.render", side_effect=RuntimeError("broken")):
        answer = client.get("/", headers={"x-request-id": mark})
    assert answer.status_code == 500
    assert mark in answer.content.decode()
    assert answer.headers["X-Request-ID"] == mark
    assert "broken" not in answer.content.decode()
