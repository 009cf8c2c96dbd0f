from django.db import migrations

from registry.triggers import freezing

forward, backward = freezing("reports_sheet")


class Migration(migrations.Migration):
    dependencies = [("reports", "0001_first")]
    operations = [migrations.RunPython(forward, backward)]
