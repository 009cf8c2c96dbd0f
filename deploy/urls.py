"""Every address of a site."""

from django.contrib.auth import views as auth
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

urlpatterns = [
    path("login/", auth.LoginView.as_view(redirect_authenticated_user=True), name="login"),
    path("logout/", auth.LogoutView.as_view(), name="logout"),
    path("", include("loops.urls")),
    path("", include("registry.urls")),
    path("", include("reports.urls")),
    path("api/v1/", include("loops.api.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/docs/", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="api-docs"),
]
