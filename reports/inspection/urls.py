"""Addresses of inspections and defects."""

from django.urls import path

from reports.inspection.views import defects, due, filling, inspections

urlpatterns = [
    path("inspections/", due.due, name="inspections"),
    path("inspections/due.<str:suffix>", due.export, name="inspections_export"),
    path("inspections/round/", inspections.begin_round, name="inspection_round_begin"),
    path("inspections/round.pdf", inspections.round_paper, name="inspection_round"),
    path("inspections/<int:pk>/", inspections.inspection, name="inspection"),
    path("inspections/<int:pk>/places/<int:number>/", filling.place, name="inspection_place"),
    path("inspections/<int:pk>/lines/<int:line_pk>/", filling.line, name="inspection_line"),
    path("inspections/<int:pk>/photos/<int:photo_pk>/", filling.photo, name="inspection_photo"),
    path("inspections/<int:pk>/photos/<int:photo_pk>/retire/", filling.retire_photo, name="inspection_photo_retire"),
    path("inspections/<int:pk>/conclude/", inspections.sign, name="inspection_sign"),
    path("inspections/<int:pk>/give-up/", inspections.give_up, name="inspection_give_up"),
    path("inspections/<int:pk>/paper.pdf", inspections.paper, name="inspection_paper"),
    path("loops/<int:pk>/inspections/", inspections.of_loop, name="loop_inspections"),
    path("defects/", defects.defect_list, name="defect_list"),
    path("defects/seen.<str:suffix>", defects.export, name="defect_seen"),
    path("defects/<int:pk>/", defects.defect, name="defect"),
]
