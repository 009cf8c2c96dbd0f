"""Addresses of the API."""

from django.urls import path

from loops.api import views

urlpatterns = [
    path("verify/", views.VerifyView.as_view(), name="api_verify"),
    path("loops/", views.LoopListView.as_view(), name="api_loops"),
    path("loops/<int:pk>/", views.LoopView.as_view(), name="api_loop"),
    path("loops/<int:pk>/case/", views.LoopCaseView.as_view(), name="api_loop_case"),
]
