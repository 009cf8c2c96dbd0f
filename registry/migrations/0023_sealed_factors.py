"""Secrets of authenticator apps and recovery codes that were kept in clear are sealed."""

from typing import Any

from django.db import migrations

from registry.sealing import seal, unseal

SECRETS = ("secret", "seed")


def seal_all(apps: Any, schema_editor: Any) -> None:
    change_all(apps, seal)


def unseal_all(apps: Any, schema_editor: Any) -> None:
    change_all(apps, unseal)


def change_all(apps: Any, change: Any) -> None:
    for factor in apps.get_model("mfa", "Authenticator").objects.filter(type__in=("totp", "recovery_codes")):
        factor.data |= {name: change(factor.data[name]) for name in SECRETS if name in factor.data}
        if "migrated_codes" in factor.data:
            factor.data["migrated_codes"] = [change(code) for code in factor.data["migrated_codes"]]
        factor.save(update_fields=["data"])


class Migration(migrations.Migration):
    dependencies = [("registry", "0022_proposed"), ("mfa", "0003_authenticator_type_uniq")]
    operations = [migrations.RunPython(seal_all, unseal_all)]
