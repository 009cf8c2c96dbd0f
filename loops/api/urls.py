"""Addresses of the API."""

from django.urls import path

from loops.api import impact, proofs, studies, suitability, views
from loops.views.kind import LOOP
from registry.api.bulk import bulk_view

urlpatterns = [
    path("verify/", views.VerifyView.as_view(), name="api_verify"),
    path("loops/", views.LoopListView.as_view(), name="api_loops"),
    path("loops/bulk/", bulk_view(LOOP, "Loop", views.TAGS).as_view(), name="api_loop_bulk"),
    path("loops/<int:pk>/", views.LoopOneView.as_view(), name="api_loop"),
    path("loops/<int:pk>/archived/", views.LoopArchivedView.as_view(), name="api_loop_archived"),
    path("loops/<int:pk>/revisions/", views.RevisionsView.as_view(), name="api_loop_revisions"),
    path("loops/<int:pk>/revisions/<int:number>/", views.RevisionView.as_view(), name="api_loop_revision"),
    path("loops/<int:pk>/case/", views.LoopCaseView.as_view(), name="api_loop_case"),
    path("loops/<int:pk>/verifications/", proofs.VerificationsView.as_view(), name="api_loop_verifications"),
    path("verifications/<int:pk>/", proofs.VerificationView.as_view(), name="api_verification"),
    path("approvals/", proofs.ApprovalsView.as_view(), name="api_approvals"),
    path("approvals/<int:pk>/", proofs.ApprovalView.as_view(), name="api_approval"),
    path("loops/<int:pk>/studies/", studies.StudiesView.as_view(), name="api_studies"),
    path("loops/<int:pk>/studies/fields/", studies.StudyFieldsView.as_view(), name="api_study_fields"),
    path("loops/<int:pk>/studies/judge/", studies.StudyJudgeView.as_view(), name="api_study_judge"),
    path("loops/<int:pk>/studies/<int:study_pk>/", studies.StudyView.as_view(), name="api_study"),
    path("impact/", impact.ImpactsView.as_view(), name="api_impacts"),
    path("impact/<int:pk>/", impact.ImpactView.as_view(), name="api_impact"),
    path("suitability/sources/", suitability.SourcesView.as_view(), name="api_suits_sources"),
    path("suitability/substitutions/", suitability.SubstitutionsView.as_view(), name="api_substitutions"),
    path("suitability/substitutions/<int:pk>/", suitability.SubstitutionView.as_view(), name="api_substitution"),
    path("suitability/loops/<int:pk>/", suitability.ItemsView.as_view(), name="api_suits_loop"),
    path(
        "suitability/loops/<int:pk>/items/<int:member_pk>/",
        suitability.CandidatesView.as_view(),
        name="api_suits_item",
    ),
    path(
        "suitability/loops/<int:pk>/items/<int:member_pk>/nameplate/",
        suitability.TypedView.as_view(),
        name="api_suits_typed",
    ),
    path(
        "suitability/loops/<int:pk>/items/<int:member_pk>/<str:way>/",
        suitability.AnswerView.as_view(),
        name="api_suits_check",
    ),
]
