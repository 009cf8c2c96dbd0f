import logging

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Reports"

    def ready(self) -> None:
        """Have issued sheets proved with the store."""
        from registry.services.proofs import PROOFS
        from reports.proofs import prove_sheets

        PROOFS["sheets"] = prove_sheets
        # The PDF writer tells every step of every sheet, some of them when it is imported.
        logging.getLogger("weasyprint.progress").setLevel(logging.WARNING)
