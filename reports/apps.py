import logging

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Reports"

    def ready(self) -> None:
        # The PDF writer tells every step of every sheet, some of them when it is imported.
        logging.getLogger("weasyprint.progress").setLevel(logging.WARNING)
