"""Addresses of the home page and of the loops' pages."""

from django.urls import include, path

from loops.views import (
    actions,
    confirmations,
    editor,
    home,
    impact,
    lists,
    overview,
    page,
    picking,
    reviews,
    schedules,
    series,
    studies,
)
from loops.views.kind import LOOP
from loops.views.kind_parts import CABLE_RUN, MEMBER
from registry.views.exchanging import export_seen
from registry.views.lists import record_list
from registry.views.many import many

urlpatterns = [
    path("schedules/", schedules.schedules, name="schedules"),
    path("schedules/cables/", record_list, {"kind": CABLE_RUN}, name="cable_run_list"),
    path("schedules/cables/seen.<str:suffix>", export_seen, {"kind": CABLE_RUN}, name="cable_run_seen"),
    path("schedules/items/", record_list, {"kind": MEMBER}, name="member_list"),
    path("schedules/items/seen.<str:suffix>", export_seen, {"kind": MEMBER}, name="member_seen"),
    path("", home.home, name="home"),
    path("loops/", lists.loop_list, name="loop_list"),
    path("loops/export.<str:suffix>", lists.export, name="loop_export"),
    path("loops/many/", many, {"kind": LOOP}, name="loop_many"),
    path("overview/", overview.overview, name="overview"),
    path("loops/seen.<str:suffix>", lists.export_shown, name="loop_seen"),
    path("loops/pick/<str:what>/", picking.pick, name="loop_pick"),
    path("loops/new/", editor.new, name="loop_new"),
    path("loops/<int:pk>/", page.loop_page, name="loop"),
    path("loops/<int:pk>/edit/", editor.edit, name="loop_edit"),
    path("loops/<int:pk>/duplicate/", editor.duplicate, name="loop_duplicate"),
    path("loops/<int:pk>/series/", series.series, name="loop_series"),
    path("loops/<int:pk>/studies/", studies.studies, name="loop_studies"),
    path("loops/<int:pk>/studies/<int:study_pk>/", studies.studies, name="loop_study"),
    path("loops/<int:pk>/revisions/<int:number>/", page.revision_page, name="loop_revision"),
    path("loops/<int:pk>/compare/", page.compare, name="loop_compare"),
    path("loops/<int:pk>/submit/", actions.submit, name="loop_submit"),
    path("loops/<int:pk>/take-back/", actions.take_back, name="loop_take_back"),
    path("loops/<int:pk>/return/", actions.return_loop, name="loop_return"),
    path("loops/<int:pk>/judge-again/", actions.judge_again, name="loop_judge_again"),
    path("loops/<int:pk>/reviewers/", reviews.ask, name="loop_ask"),
    path("loops/<int:pk>/reviewers/<int:request_pk>/", reviews.answer, name="loop_review"),
    path("loops/<int:pk>/remarks/", reviews.remark, name="loop_remark"),
    path("loops/<int:pk>/remarks/<int:thread_pk>/", reviews.reply, name="loop_reply"),
    path("loops/<int:pk>/issues/<int:approval_pk>/withdraw/", reviews.withdraw, name="loop_withdraw"),
    path("loops/<int:pk>/confirm/", confirmations.confirm, name="loop_confirm"),
    path("loops/<int:pk>/confirmations/<int:confirmation_pk>/", confirmations.take_back, name="loop_unconfirm"),
    path("loops/<int:pk>/archive/", actions.archive, name="loop_archive"),
    path("impact/", impact.impact, name="impact"),
    path("impact/answers/<int:pk>/", impact.answer, name="impact_answer"),
    path("impact/answers/<int:pk>/export.<str:suffix>", impact.export, name="impact_export"),
    path("impact/<str:kind>/<int:pk>/", impact.ask, name="impact_ask"),
    path("suits/", include("loops.suits_urls")),
]
