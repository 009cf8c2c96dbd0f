"""Recorded rows stay as they are: the triggers are there after all migrations, on both databases, and they bite."""

from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

FROZEN = {
    "registry.Attachment",
    "registry.AttachmentRetirement",
    "registry.Change",
    "registry.Revision",
    "loops.Verification",
    "loops.BasisChange",
    "loops.Approval",
    "loops.WorkflowEvent",
    "loops.Remark",
    "loops.ReviewRequest",
    "loops.ReviewAnswer",
    "loops.Confirmation",
    "loops.CurveTable",
    "loops.Withdrawal",
    "reports.DefectStep",
    "reports.Sheet",
    "reports.SignedInspection",
}


def triggers() -> dict[str, set[str]]:
    """Names of the triggers of each table."""
    query = (
        "SELECT event_object_table, trigger_name FROM information_schema.triggers WHERE trigger_schema = 'public'"
        if connection.vendor == "postgresql"
        else "SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'"
    )
    found: dict[str, set[str]] = {}
    with connection.cursor() as cursor:
        cursor.execute(query)
        for table, name in cursor.fetchall():
            found.setdefault(table, set()).add(name)
    return found


def expected(table: str) -> set[str]:
    if connection.vendor == "postgresql":
        return {f"{table}_frozen"}
    return {f"{table}_frozen_update", f"{table}_frozen_delete"}


def test_append_only_models_are_the_frozen_ones() -> None:
    """A model that calls itself append-only is frozen, and no other."""
    named = {model._meta.label for model in apps.get_models() if "Append-only" in (model.__doc__ or "")}
    assert named == FROZEN


@pytest.mark.django_db
@pytest.mark.parametrize("label", sorted(FROZEN))
def test_a_frozen_table_has_its_triggers(label: str) -> None:
    table = apps.get_model(label)._meta.db_table
    assert expected(table) <= triggers().get(table, set())


@pytest.mark.django_db
def test_a_signature_is_guarded_by_the_four_eyes_trigger() -> None:
    assert "loops_approval_four_eyes" in triggers()["loops_approval"]


@pytest.mark.parametrize("label", ["registry.Revision", "loops.Verification"])
@pytest.mark.parametrize("deed", ["update", "delete"])
def test_the_database_refuses_to_change_a_recorded_row(label: str, deed: str, loop: Any) -> None:
    model = apps.get_model(label)
    row = model._default_manager.first()
    assert row is not None
    rows = model._default_manager.filter(pk=row.pk)
    column = "label" if label == "registry.Revision" else "limiting"
    with pytest.raises(IntegrityError, match="never changed or deleted"), transaction.atomic():
        rows.update(**{column: "another text"}) if deed == "update" else rows._raw_delete(rows.db)
    assert getattr(model._default_manager.get(pk=row.pk), column) == getattr(row, column)


@pytest.mark.django_db(transaction=True)
def test_a_transactional_test_may_leave_recorded_rows(loop: Any) -> None:
    """The next test shows whether its rows were cleared and the triggers put back."""
    assert apps.get_model("registry.Revision")._default_manager.exists()


@pytest.mark.django_db(transaction=True)
def test_after_a_transactional_test_the_tables_are_empty_and_frozen_again() -> None:
    assert not apps.get_model("registry.Revision")._default_manager.exists()
    for label in FROZEN:
        table = apps.get_model(label)._meta.db_table
        assert expected(table) <= triggers().get(table, set())
