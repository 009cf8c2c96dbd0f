from django.apps import AppConfig


class LoopsConfig(AppConfig):
    name = "loops"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Loops"

    def ready(self) -> None:
        """Give the register what it cannot know of loops: search, the engine's table, what proves the store."""
        from loops import sentences  # noqa: F401  makes known what is stored, so that it can be said in other languages
        from loops.basis_words import ARROW, changes_said
        from loops.entries import LoopEntry
        from loops.services.first_steps import next_step
        from loops.services.impact import IMPACT, run_impact
        from loops.services.notices import announce
        from loops.services.permitted import permitted_capacitance
        from loops.services.proofs import prove_approvals, prove_verifications
        from loops.services.suitability.substitution import DRAFTS, SUBSTITUTION, run_drafts, run_substitution
        from loops.services.tables import tables_told
        from loops.services.uses import describe, foresee, issued
        from loops.tables import register_loops
        from loops.views.kind import LOOP
        from loops.views.kind_parts import CABLE_RUN, MEMBER
        from loops.views.searching import search_loops
        from registry.plausibility import use_capacitance_table
        from registry.services.changes import LISTENERS
        from registry.services.proofs import PROOFS
        from registry.services.works import RUNNERS
        from registry.stored import READERS
        from registry.uses import USERS
        from registry.views.pages import LISTS
        from registry.views.picking import ENTRY_CLASSES
        from registry.views.searching import SEARCHERS

        if search_loops not in SEARCHERS:
            SEARCHERS.insert(0, search_loops)
        register_loops()
        if LoopEntry not in ENTRY_CLASSES:
            ENTRY_CLASSES.append(LoopEntry)
        LISTS.update({"loop": LOOP, "cable_run": CABLE_RUN, "member": MEMBER})
        use_capacitance_table(permitted_capacitance)
        USERS.update(
            {"describe": describe, "foresee": foresee, "issued": issued, "next": next_step, "notes": tables_told}
        )
        if announce not in LISTENERS:
            LISTENERS.append(announce)
        PROOFS.update({"verifications": prove_verifications, "approvals": prove_approvals})
        READERS[ARROW] = changes_said
        RUNNERS.update({SUBSTITUTION: run_substitution, DRAFTS: run_drafts, IMPACT: run_impact})
