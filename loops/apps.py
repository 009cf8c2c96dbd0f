from django.apps import AppConfig


class LoopsConfig(AppConfig):
    name = "loops"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Loops"
