"""The data of the first release, restored by this version: nothing recorded is lost, and the site goes on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.test import Client

from deploy.operations.archive import Archive
from deploy.operations.backing_up import back_up, files_in_store
from deploy.operations.restoring import drop_everything, one_transaction, restore
from tests.architecture.test_frozen import FROZEN, expected, triggers

FIRST = Path(__file__).with_name("first_release.zip")
SHA256 = "c996bbc5d9fb903029171ae9db5a938e98a9603c99738ddfb4a38318fdacb6b2"
LARGEST = 400_000

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def empty_store() -> Iterator[None]:
    yield
    for name in list(files_in_store()):
        default_storage.delete(name)


def test_the_data_of_the_first_release_comes_into_an_empty_database() -> None:
    """Made on SQLite: on PostgreSQL this is the move from one to the other."""
    from loops.models import Approval, Loop
    from registry.models import Certificate, User
    from reports.models import Sheet, SignedInspection

    assert FIRST.stat().st_size < LARGEST
    with one_transaction():
        drop_everything()
    done = restore(FIRST, expected=SHA256)
    assert done.product_version == "0.1.0"
    assert not done.findings.broken
    with Archive(FIRST) as archive:
        counts = archive.manifest["tables"]
    for model in (Approval, Certificate, Loop, Sheet, SignedInspection, User):
        assert model._default_manager.count() == counts[model._meta.db_table] > 0
    number, _, mark = done.log_end.partition(":")
    call_command("verify_store", expect=(int(number), mark), verbosity=0)
    call_command("migrate", check=True, verbosity=0)
    there = triggers()
    for label in FROZEN:
        table = apps.get_model(label)._meta.db_table
        assert expected(table) <= there.get(table, set()), table


def test_people_go_on_with_it(settings: Any) -> None:
    """They log in with the passwords that they had; pages, sheets and saves work; loops are judged again."""
    from loops.models import Loop
    from reports.management.commands.demo import PASSWORD
    from reports.models import Sheet

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    restore(FIRST)
    client = Client()
    answer = client.post("/login/", {"login": "designer", "password": PASSWORD})
    assert answer.status_code == 302
    for path in ("/", "/loops/", "/equipment/", "/certificates/", "/inspections/", "/log/"):
        assert client.get(path).status_code == 200, path
    for loop in Loop.objects.all()[:5]:
        assert client.get(f"/loops/{loop.pk}/").status_code == 200
    call_command("reverify", "--all", "--dry-run")
    assert Sheet.objects.filter(bytes__isnull=False).exists()


def test_an_older_schema_is_brought_up_to_date_after_its_rows_are_in(tmp_path: Path) -> None:
    """The schema of the register one step back, filled, kept, and restored by this version."""
    from registry.models import Terminals

    restore(FIRST)
    executor = MigrationExecutor(connection)
    executor.migrate([("registry", "0023_sealed_factors")])
    older = back_up(tmp_path / "older.zip")
    with Archive(older.path) as archive:
        assert "0024_epl" not in archive.manifest["migrations"]["registry"]
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())
    done = restore(older.path, replace=True, keep_broken=True)
    assert "registry.0024_epl" in done.migrations_after
    assert Terminals.objects.count() > 0
    call_command("migrate", check=True, verbosity=0)
