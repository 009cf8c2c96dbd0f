import logging

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Reports"

    def ready(self) -> None:
        """Have issued sheets proved with the store, and lists printed."""
        # The PDF writer tells every step of every sheet, some of them when it is imported.
        logging.getLogger("weasyprint.progress").setLevel(logging.WARNING)
        from registry.printing import PRINTERS
        from registry.services.proofs import PROOFS
        from reports.lists import list_pdf
        from reports.proofs import prove_sheets

        PROOFS["sheets"] = prove_sheets
        PRINTERS["pdf"] = list_pdf
