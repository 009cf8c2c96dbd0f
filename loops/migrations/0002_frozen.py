from django.db import migrations

from registry.triggers import allow_insert, freezing, refuse_insert

forward, backward = freezing("loops_verification", "loops_approval", "loops_workflowevent")

FOUR_EYES = """
EXISTS (
    SELECT 1 FROM registry_revision AS saved
    WHERE saved.kind = 'loop' AND saved.record_id = NEW.loop_id AND saved.author_id = NEW.approved_by_id
    AND saved.number > COALESCE((
        SELECT MAX(signed.number) FROM loops_approval AS earlier
        JOIN registry_revision AS signed ON signed.id = earlier.revision_id
        WHERE earlier.loop_id = NEW.loop_id), 0)
)
"""


def add_four_eyes(apps, schema_editor):
    for statement in refuse_insert(
        schema_editor.connection,
        "loops_approval",
        "loops_approval_four_eyes",
        FOUR_EYES,
        "the approver changed this loop since its last approval",
    ):
        schema_editor.execute(statement, params=None)


def drop_four_eyes(apps, schema_editor):
    for statement in allow_insert(schema_editor.connection, "loops_approval", "loops_approval_four_eyes"):
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("loops", "0001_first"), ("registry", "0002_frozen")]
    operations = [
        migrations.RunPython(forward, backward),
        migrations.RunPython(add_four_eyes, drop_four_eyes),
    ]
