"""`check_install`: each thing that is wrong is a line with its cure, and the code says so."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from deploy.operations import checking
from deploy.operations.checking import LOOK, OK, STOP, Line, check_all
from registry.models import Change, User
from tests.registry.login.ways import log_in, set_up_app

pytestmark = pytest.mark.django_db


def lines(check: Any) -> list[tuple[str, str]]:
    found = list(check())
    assert all(line.cure for line in found if line.state != OK), found
    return [(line.state, line.name) for line in found]


def test_a_site_that_is_well(superuser: Any, settings: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings.STATIC_ROOT = tmp_path
    (tmp_path / "staticfiles.json").write_text("{}")
    call_command("check_install", "--json")
    found = json.loads(capsys.readouterr().out)
    assert not [line for line in found if line["state"] == STOP]
    names = {line["name"] for line in found}
    assert {"mode", "TLS", "secret key", "database", "schema", "cache table", "clock", "files", "disk"} <= names
    assert {"static files", "paper", "mail", "people", "sealed", "worker"} <= names
    with pytest.raises(CommandError) as caught:
        call_command("check_install", "--strict")
    assert caught.value.returncode == 1
    assert "→ " in capsys.readouterr().out


def test_an_empty_site_wants_somebody_who_may(settings: Any) -> None:
    assert (STOP, "people") in lines(checking.check_people)


def test_people_of_the_demo_are_found_in_production(settings: Any) -> None:
    from reports.management.commands.demo import PASSWORD

    User.objects.create_user("admin", "a@unlit.example", PASSWORD, is_superuser=True)
    assert lines(checking.check_people) == [(OK, "people")]
    settings.PRODUCTION = True
    assert lines(checking.check_people) == [(OK, "people"), (STOP, "people")]


def test_a_schema_that_is_older_or_newer(db: None) -> None:
    assert (OK, "schema") in lines(checking.check_database)
    with mock.patch.object(checking, "missing", return_value=["registry.0099_more"]):
        assert (STOP, "schema") in lines(checking.check_database)
    with mock.patch.object(checking, "unknown", return_value=["registry.0099_more"]):
        assert (STOP, "schema") in lines(checking.check_database)


def test_the_unit_that_a_cure_names_is_there() -> None:
    units = {path.name for path in (Path(__file__).resolve().parents[3] / "deploy" / "systemd").iterdir()}
    named = re.findall(r"systemctl start (unlit-\w+)@1", Path(checking.__file__).read_text())
    assert named
    assert {f"{name}@.service" for name in named} <= units


def test_a_clock_behind_the_log_is_found(site: Any) -> None:
    assert lines(checking.check_clock) == [(OK, "clock")]
    assert Change.objects.exists()
    with mock.patch.object(timezone, "now", return_value=timezone.now() - dt.timedelta(days=1)):
        assert (STOP, "clock") in lines(checking.check_clock)


def test_secrets_under_another_key_are_found(people: Any, settings: Any) -> None:
    """As after a restore beside another secret_key; the key that they were sealed under mends it."""
    client = Client()
    log_in(client, "designer")
    set_up_app(client)
    assert lines(checking.check_sealed) == [(OK, "sealed")]
    former, settings.SECRET_KEY = settings.SECRET_KEY, "another-key-of-this-site-with-enough-characters-0123456789"
    (line,) = checking.check_sealed()
    # The secret of the app and the seed of the recovery codes.
    assert (line.state, line.found[:2]) == (STOP, "2 ")
    assert former not in line.cure
    settings.SECRET_KEY_FALLBACKS = [former]
    assert lines(checking.check_sealed) == [(OK, "sealed")]


def test_a_disk_that_is_full(monkeypatch: pytest.MonkeyPatch) -> None:
    usage = mock.Mock(total=10**12, free=10**8)
    monkeypatch.setattr(checking.shutil, "disk_usage", lambda place: usage)
    assert (STOP, "disk") in lines(checking.check_disk)
    usage.free = 10**10
    assert (LOOK, "disk") in lines(checking.check_disk)


def test_a_mail_server_that_does_not_answer(settings: Any) -> None:
    assert lines(checking.check_mail) == [(LOOK, "mail")]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", 1, 2
    assert lines(checking.check_mail) == [(STOP, "mail")]


@pytest.mark.django_db
def test_mail_that_is_held_is_told() -> None:
    from registry.services.notices import hold_mail

    hold_mail("https://unlit.example.org")
    found = list(checking.check_mail())
    assert (found[0].state, "resume_mail" in found[0].cure) == (LOOK, True)
    assert "from https://unlit.example.org" in found[0].found


@pytest.mark.django_db(transaction=True)
def test_a_worker_that_is_not_there_and_one_that_is(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from django_tasks_db.models import DBTaskResult

    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    monkeypatch.setattr(checking, "WORKER_PATIENCE_S", 0.5)
    assert lines(checking.check_worker) == [(STOP, "worker")]
    # What nobody did is not left to be done one day.
    assert not DBTaskResult.objects.exists()
    slept = checking.time.sleep

    def work(seconds: float) -> None:
        call_command("db_worker", batch=True, interval=0, startup_delay=False, verbosity=0)
        slept(0)

    monkeypatch.setattr(checking, "WORKER_PATIENCE_S", 20.0)
    monkeypatch.setattr(checking.time, "sleep", work)
    assert lines(checking.check_worker) == [(OK, "worker")]


def test_a_server_without_the_libraries_of_paper() -> None:
    assert checking.CHECKS["paper"] is checking.check_paper
    assert lines(checking.check_paper)[0][0] in {OK, LOOK}
    with mock.patch("reports.pdf.render", side_effect=OSError("cannot load library 'libpango'")):
        (line,) = checking.check_paper()
    assert line.state == STOP
    assert "libpango" in line.cure


def test_a_check_that_fails_itself_is_a_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checking, "CHECKS", {"odd": mock.Mock(side_effect=RuntimeError("broken\nsecond line"))})
    (line,) = check_all()
    assert line == Line(STOP, "odd", "it could not be checked: broken", line.cure)


def test_no_line_shows_a_secret(settings: Any, superuser: Any) -> None:
    told = " ".join(f"{line.found} {line.cure}" for line in check_all())
    assert settings.SECRET_KEY not in told
