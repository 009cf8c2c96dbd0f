from django.apps import AppConfig


class LoopsConfig(AppConfig):
    name = "loops"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Loops"

    def ready(self) -> None:
        """Let the site's search ask for loops first, and the register doubt a Co by the engine's table."""
        from loops.services.permitted import permitted_capacitance
        from loops.views.searching import search_loops
        from registry.plausibility import use_capacitance_table
        from registry.views.searching import SEARCHERS

        if search_loops not in SEARCHERS:
            SEARCHERS.insert(0, search_loops)
        use_capacitance_table(permitted_capacitance)
