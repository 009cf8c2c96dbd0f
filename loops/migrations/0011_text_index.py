from django.db import migrations

from registry.text_search import drop_all, index_all


def found(apps):
    return {kind: apps.get_model("loops", kind) for kind in ("loop", "member")}


def index_text(apps, schema_editor):
    if refusal := index_all(found(apps)):
        print(f"\n    {refusal}")


def drop_index_of_text(apps, schema_editor):
    drop_all(found(apps))


class Migration(migrations.Migration):
    dependencies = [
        ("loops", "0010_four_eyes"),
        ("registry", "0019_list_orders"),
    ]

    operations = [
        migrations.RunPython(index_text, drop_index_of_text),
    ]
