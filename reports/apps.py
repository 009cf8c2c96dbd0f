import logging

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Reports"

    def ready(self) -> None:
        """Have issued sheets and signed inspections proved with the store, lists printed, inspections told of."""
        # The PDF writer tells every step of every sheet, some of them when it is imported.
        logging.getLogger("weasyprint.progress").setLevel(logging.WARNING)
        from loops.views.page import BESIDE
        from registry.printing import PRINTERS
        from registry.services.due import STEPS
        from registry.services.proofs import PROOFS
        from registry.services.works import RUNNERS
        from registry.views.pages import LISTS
        from reports.inspection import rounds
        from reports.inspection.due import on_loop_page, tell_due
        from reports.inspection.kind import DEFECT
        from reports.inspection.proofs import prove_inspections
        from reports.label_views import LABEL
        from reports.lists import list_pdf
        from reports.packs import build
        from reports.proofs import prove_sheets

        PROOFS |= {"sheets": prove_sheets, "inspections": prove_inspections}
        PRINTERS["pdf"] = list_pdf
        LISTS |= {"defect": DEFECT, "label": LABEL}
        if on_loop_page not in BESIDE:
            BESIDE.append(on_loop_page)
        if tell_due not in STEPS:
            STEPS.append(tell_due)
        RUNNERS.update({rounds.KIND: rounds.run_round, build.KIND: build.run})
