from django.db import migrations

from registry.triggers import allow_insert, refuse_insert

SINCE_ITS_APPROVAL = """NOT EXISTS (
        SELECT 1 FROM loops_approval AS earlier WHERE earlier.loop_id = NEW.loop_id AND earlier.approved_at >= {moment})"""

FOUR_EYES = f"""
EXISTS (
    SELECT 1 FROM registry_revision AS saved
    WHERE saved.kind = 'loop' AND saved.record_id = NEW.loop_id AND saved.author_id = NEW.approved_by_id
    AND saved.number > COALESCE((
        SELECT MAX(signed.number) FROM loops_approval AS earlier
        JOIN registry_revision AS signed ON signed.id = earlier.revision_id
        WHERE earlier.loop_id = NEW.loop_id), 0)
) OR EXISTS (
    SELECT 1 FROM loops_workflowevent AS step
    WHERE step.loop_id = NEW.loop_id AND step.verb = 'submit' AND step.actor_id = NEW.approved_by_id
    AND {SINCE_ITS_APPROVAL.format(moment="step.created_at")}
) OR EXISTS (
    SELECT 1 FROM loops_confirmation AS confirmed
    WHERE confirmed.loop_id = NEW.loop_id AND confirmed.person_id = NEW.approved_by_id
    AND {SINCE_ITS_APPROVAL.format(moment="confirmed.confirmed_at")}
) OR EXISTS (
    SELECT 1 FROM registry_revision AS basis
    JOIN registry_revision AS first_save ON first_save.kind = 'loop' AND first_save.record_id = NEW.loop_id
        AND first_save.number = 1 AND first_save.created_at < basis.created_at
    WHERE basis.author_id = NEW.approved_by_id
    AND {SINCE_ITS_APPROVAL.format(moment="basis.created_at")}
    AND (EXISTS (
        SELECT 1 FROM loops_member AS member
        JOIN loops_circuit AS circuit ON circuit.id = member.circuit_id AND circuit.loop_id = NEW.loop_id
        JOIN registry_revision AS pin ON pin.id IN (member.equipment_revision_id, member.certificate_revision_id)
        WHERE (pin.kind = basis.kind AND pin.record_id = basis.record_id AND pin.number >= basis.number)
        OR (basis.kind = 'area' AND basis.record_id = member.area_id)
    ) OR EXISTS (
        SELECT 1 FROM loops_cablerun AS run
        JOIN loops_circuit AS circuit ON circuit.id = run.circuit_id AND circuit.loop_id = NEW.loop_id
        JOIN registry_revision AS pin ON pin.id = run.cable_type_revision_id
        WHERE pin.kind = basis.kind AND pin.record_id = basis.record_id AND pin.number >= basis.number
    ))
)
"""  # nosec B608 - constants of this file alone


def add_four_eyes(apps, schema_editor):
    for statement in refuse_insert(
        schema_editor.connection,
        "loops_approval",
        "loops_approval_four_eyes",
        FOUR_EYES,
        "the approver had a hand in this loop since its last approval",
    ):
        schema_editor.execute(statement, params=None)


def drop_four_eyes(apps, schema_editor):
    for statement in allow_insert(schema_editor.connection, "loops_approval", "loops_approval_four_eyes"):
        schema_editor.execute(statement, params=None)


def add_earlier(apps, schema_editor):
    """The trigger as it was before: who saved the loop."""
    from importlib import import_module

    import_module("loops.migrations.0002_frozen").add_four_eyes(apps, schema_editor)


class Migration(migrations.Migration):
    dependencies = [("loops", "0009_limiting_check"), ("registry", "0014_usual_schemes")]
    operations = [
        migrations.RunPython(drop_four_eyes, add_earlier),
        migrations.RunPython(add_four_eyes, drop_four_eyes),
    ]
