"""Addresses of the API."""

from django.urls import path

from loops.api import suitability, views

urlpatterns = [
    path("verify/", views.VerifyView.as_view(), name="api_verify"),
    path("loops/", views.LoopListView.as_view(), name="api_loops"),
    path("loops/<int:pk>/", views.LoopView.as_view(), name="api_loop"),
    path("loops/<int:pk>/case/", views.LoopCaseView.as_view(), name="api_loop_case"),
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
