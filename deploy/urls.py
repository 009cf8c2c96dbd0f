"""Every address of a site."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from deploy.operations import probes

handler404 = "registry.api.errors.not_found"
handler500 = "deploy.operations.errors.server_error"

urlpatterns = [
    path("livez", probes.livez, name="livez"),
    path("readyz", probes.readyz, name="readyz"),
    path("metrics", probes.metrics, name="metrics"),
    path("", include("registry.login.urls")),
    path("", include("loops.urls")),
    path("", include("registry.urls")),
    path("", include("reports.urls")),
    path("", include("reports.inspection.urls")),
    path("", include("reports.label_urls")),
    path("api/v1/", include("registry.api.urls")),
    path("api/v1/", include("loops.api.urls")),
    path("api/v1/", include("reports.api.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="schema"),
    path("api/v1/docs/", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="api-docs"),
]
