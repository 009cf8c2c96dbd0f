from django.apps import AppConfig


class RegistryConfig(AppConfig):
    name = "registry"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Register"

    def ready(self) -> None:
        """Make known what is stored or said in English, so that it can be said in other languages; have other systems
        told of what was done."""
        from registry import sentences  # noqa: F401
        from registry.services.changes import LISTENERS
        from registry.services.webhooks import announce

        if announce not in LISTENERS:
            LISTENERS.append(announce)
