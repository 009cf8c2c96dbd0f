from django.db import migrations, models

from registry.triggers import freezing

forward, backward = freezing("loops_verification")

DECIDING = {"does_not_comply": "fail", "beyond_simple_rules": "beyond_simple_rules", "incomplete": "incomplete"}
PORTION = 500


def name_checks(apps, schema_editor):
    """Name the check that decides in every stored verification: that with the stored sentence."""
    verifications = apps.get_model("loops", "Verification").objects.using(schema_editor.connection.alias)
    keys = list(verifications.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(keys), PORTION):
        named = []
        rows = verifications.filter(pk__in=keys[start : start + PORTION]).only("verdict", "limiting", "results")
        for row in rows:
            wanted = DECIDING.get(row.verdict)
            for check in (check for result in row.results for check in result["checks"]):
                if check["why"] == row.limiting and wanted in (None, check["verdict"]):
                    row.limiting_check = check["id"][:40]
                    named.append(row)
                    break
        verifications.bulk_update(named, ["limiting_check"], batch_size=100)


class Migration(migrations.Migration):
    dependencies = [("loops", "0008_signed_with")]

    operations = [
        migrations.RunPython(backward, forward),
        migrations.AddField("verification", "limiting_check", models.CharField(blank=True, default="", max_length=40)),
        migrations.RunPython(name_checks, migrations.RunPython.noop),
        migrations.RunPython(forward, backward),
    ]
