from django.db import migrations, models


class Migration(migrations.Migration):
    """Words of choices alone: no column changes, so that the frozen table is left as it is."""

    dependencies = [("reports", "0004_signed_with")]

    operations = [
        migrations.AlterField(
            "defectstep",
            "verb",
            models.CharField(
                choices=[
                    ("found", "Found"),
                    ("assign", "Assigned"),
                    ("done", "Reported as remedied"),
                    ("verify", "Verified"),
                    ("reopen", "Not remedied: open again"),
                    ("remark", "Remark"),
                ],
                max_length=8,
            ),
        ),
    ]
