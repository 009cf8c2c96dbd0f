from django.apps import AppConfig


class RegistryConfig(AppConfig):
    name = "registry"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Register"
