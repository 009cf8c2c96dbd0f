"""The schema of a database as the migrations tell it: what it has, and models to read and write it with."""

from __future__ import annotations

from typing import Any

from django.apps.registry import Apps
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Model

Node = tuple[str, str]

NOT_KEPT = {"registry_cachedvalue", "registry_keptanswer", "django_session", "usersessions_usersession"}
"""Tables that stay out of a backup: counts and answers to programs of the last day, and what
would let a thief of it in as somebody."""


def applied() -> set[Node]:
    """The migrations that the database has had; none where it has no tables."""
    return set(MigrationRecorder(connection).applied_migrations())


def missing() -> list[str]:
    """The migrations of this version that the database has not had."""
    executor = MigrationExecutor(connection)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def unknown(nodes: set[Node], loader: MigrationLoader) -> list[str]:
    """The migrations among some that this version does not have."""
    known = set(loader.disk_migrations or {})
    return sorted(f"{app}.{name}" for app, name in nodes - known)


def leaves(nodes: set[Node], loader: MigrationLoader) -> list[Node]:
    """Those among some migrations that no other of them rests on."""
    needed = {
        parent.key for node in nodes if node in loader.graph.nodes for parent in loader.graph.node_map[node].parents
    }
    return sorted(node for node in nodes if node in loader.graph.nodes and node not in needed)


def tables_at(nodes: set[Node], loader: MigrationLoader) -> dict[str, type[Model]]:
    """The models as they were after some migrations, by the name of their table, without those that are not kept."""
    state = loader.project_state(leaves(nodes, loader))
    apps: Apps = state.apps
    models: list[Any] = list(apps.get_models(include_auto_created=True))
    return {
        model._meta.db_table: model
        for model in sorted(models, key=lambda model: model._meta.db_table)
        if model._meta.managed and not model._meta.proxy and not model._meta.swapped
    }
