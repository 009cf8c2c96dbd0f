"""Every migration can be taken back, or says why not; a linter reads what each does to a site that runs."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations import RunPython, RunSQL
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation

OURS = ("registry", "loops", "reports")

ONE_WAY: dict[tuple[str, str], str] = {}
"""Migrations that cannot be taken back, and why."""

STOPPED = (
    "A new column without a default in the database: a process of the version before cannot add rows any more. The "
    "site is stopped while migrations run (deploy/server.md), so there is none."
)
EXPLAINED = {
    "loops.0008_signed_with": STOPPED,
    "loops.0009_limiting_check": STOPPED,
    "registry.0003_live_pages": STOPPED,
    "registry.0008_unconfirmed": STOPPED,
    "registry.0010_function_inputs": STOPPED,
    "registry.0011_hart_resistance": STOPPED,
    "registry.0012_log_in": STOPPED,
    "registry.0013_schemes": STOPPED + " One column becomes longer, which no process minds.",
    "registry.0021_inspection": STOPPED,
    "registry.0024_epl": STOPPED,
    "registry.0025_language": STOPPED,
    "registry.0027_length_unit": STOPPED,
    "reports.0004_signed_with": STOPPED,
}
"""What the linter finds, and why it may be so."""


def operations() -> list[tuple[str, str, Operation]]:
    migrations: dict[tuple[str, str], Any] = MigrationLoader(None).disk_migrations or {}  # type: ignore[assignment]
    return [
        (app, name, operation)
        for (app, name), migration in sorted(migrations.items())
        if app in OURS
        for operation in migration.operations
    ]


def test_every_step_can_be_taken_back_or_says_why_not() -> None:
    found = operations()
    steps = [(app, name, step) for app, name, step in found if isinstance(step, RunPython | RunSQL)]
    assert len(steps) > 10
    one_way = {(app, name) for app, name, step in found if not step.reversible}
    assert one_way == set(ONE_WAY)
    assert all(len(reason) > 20 for reason in ONE_WAY.values())


@pytest.mark.django_db(transaction=True)
def test_migrations_go_back_and_forth() -> None:
    """Of loops and reports all the way, with an empty register."""
    executor = MigrationExecutor(connection)
    executor.migrate([("reports", None), ("loops", None)])
    tables = set(connection.introspection.table_names())
    assert not {name for name in tables if name.startswith(("loops_", "reports_"))}
    executor = MigrationExecutor(connection)
    executor.migrate(executor.loader.graph.leaf_nodes())
    assert {"loops_approval", "reports_sheet"} <= set(connection.introspection.table_names())


@pytest.mark.django_db
def test_the_plan_is_shown_before_anything_is_done(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("migrate", plan=True)
    assert "No planned migration operations" in capsys.readouterr().out
    for page in ("deploy/server.md", "deploy/containers.md"):
        text = (Path(__file__).resolve().parents[2] / page).read_text()
        backup, plan = (re.search(rf"manage\.(py|sh) {command}", text) for command in ("backup", "migrate --plan"))
        assert (
            backup and plan and backup.start() < plan.start() < text.rindex("up -d" if "podman" in text else "migrate")
        )


@pytest.mark.postgresql
@pytest.mark.django_db
def test_the_linter_finds_only_what_is_explained() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("the linter reads the statements for PostgreSQL")
    from django_migration_linter import MigrationLinter

    linter = MigrationLinter(include_apps=list(OURS), no_cache=True, no_output=True, analyser_string="postgresql")
    bad: set[str] = set()
    for migration in linter._gather_all_migrations():
        before = linter.nb_erroneous
        if not linter.should_ignore_migration(migration.app_label, migration.name):
            linter.lint_migration(migration)
        if linter.nb_erroneous > before:
            bad.add(f"{migration.app_label}.{migration.name}")
    assert linter.nb_total > 30
    assert bad == set(EXPLAINED)
