from importlib import import_module

from django.db import migrations, models

from registry.triggers import freezing

four_eyes = import_module("loops.migrations.0002_frozen")
forward, backward = freezing("loops_approval")


class Migration(migrations.Migration):
    dependencies = [("loops", "0007_confirmations")]
    operations = [
        migrations.RunPython(backward, forward),
        migrations.RunPython(four_eyes.drop_four_eyes, four_eyes.add_four_eyes),
        migrations.AddField(
            model_name="approval",
            name="signed_with",
            field=models.CharField(
                choices=[("password", "password"), ("passkey", "passkey")], default="password", max_length=10
            ),
        ),
        migrations.AddField(
            model_name="approval",
            name="evidence",
            field=models.JSONField(
                default=dict, help_text="The signature of a passkey, to be checked again at any time."
            ),
        ),
        migrations.RunPython(four_eyes.add_four_eyes, four_eyes.drop_four_eyes),
        migrations.RunPython(forward, backward),
    ]
