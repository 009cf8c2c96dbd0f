from django.db import migrations

from registry.triggers import freezing

forward, backward = freezing("registry_revision")


class Migration(migrations.Migration):
    dependencies = [("registry", "0001_first")]
    operations = [migrations.RunPython(forward, backward)]
