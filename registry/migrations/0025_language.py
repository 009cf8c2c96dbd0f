from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0024_epl"),
    ]

    operations = [
        migrations.AddField(
            model_name="user",
            name="language",
            field=models.CharField(blank=True, max_length=8),
        ),
    ]
