"""Addresses of signing, stored sheets and drafts."""

from django.urls import path

from reports import curves, live, views
from reports.packs import views as packs

app_name = "reports"
urlpatterns = [
    path("packs/new/", packs.new_pack, name="pack_new"),
    path("loops/<int:pk>/approve/", views.approve, name="approve"),
    path("loops/<int:pk>/circuits/<int:number>/ignition.svg", curves.ignition, name="ignition"),
    path("loops/<int:pk>/typical/", views.typical, name="typical"),
    path("loops/<int:pk>/typical.pdf", views.typical_print, name="typical_pdf"),
    path("loops/<int:pk>/draft.pdf", views.draft, name="draft"),
    path("s/<slug:short_id>/", live.live, name="live"),
    path("sheets/<int:pk>/", views.sheet, name="sheet"),
]
