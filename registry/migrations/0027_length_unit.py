from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("registry", "0026_api_tokens")]

    operations = [
        migrations.AddField(
            "site",
            "length_unit",
            models.CharField(
                choices=[("m", "metres"), ("ft", "feet")],
                default="m",
                help_text="What somebody typed keeps its unit; this one stands beside it. "
                "Everything is computed in metres.",
                max_length=2,
                verbose_name="lengths shown in",
            ),
        ),
    ]
